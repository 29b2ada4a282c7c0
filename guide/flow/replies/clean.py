"""Makes a text safe and even: what a phone, its autocorrect and its emoji add never matters to how it is read."""

import re
import unicodedata
from functools import lru_cache

from guide.talk.sms import BASIC

LONGEST = 2000
"""Characters that are looked at; the raw text is kept whole elsewhere."""

LONGEST_QUOTE = 20

_MARKS = str.maketrans({
    "‘": "'", "’": "'", "‚": "'", "′": "'", "“": '"', "”": '"', "„": '"', "″": '"',
    "–": "-", "—": "-", "−": "-", "‐": "-", "…": "...", "\r": "\n", "\u2028": "\n", "\u2029": "\n",
    "º": "°", "˚": "°", "½": " 1\u20442", "¼": " 1\u20444", "¾": " 3\u20444",
})  # fmt: skip
_SPACES = re.compile(r"[^\S\n]+")
_LINES = re.compile(r" ?\n[ \n]*")
_THUMB_UP, _THUMB_DOWN = "\U0001f44d\U0001f44c\U0001f197✅✔✓☑", "\U0001f44e\U0001f6ab❌✖✗"
_PICTURES, _KEPT = ("So", "Sk", "Mn", "Me"), f"°\ufffd{_THUMB_DOWN}"
THUMBS_DOWN = frozenset(_THUMB_DOWN)
_NOT_A_WORD = re.compile(r"[^\w\s]|_")


@lru_cache(maxsize=16)  # one text is looked at from several sides
def clean(text: str) -> str:
    """The text without control and format characters, in one form of each letter and digit, with single spaces.

    Newlines stay, as single ones: they part samples. Never raises, whatever the characters.
    """
    text = text[:LONGEST]
    if not (text.isascii() and text.isprintable()):
        text = unicodedata.normalize("NFKC", text.translate(_MARKS))[:LONGEST]  # one letter may have become 18
        text = text.translate(_MARKS)
        text = "".join(map(_safe, text))
    return _LINES.sub("\n", _SPACES.sub(" ", text)).strip()


def _safe(char: str) -> str:
    category = unicodedata.category(char)
    if category == "Nd":
        return str(unicodedata.decimal(char))
    if category[0] != "C" or char == "\n":
        return char
    return " " if category == "Cc" else ""


def quote(text: str) -> str:
    """A person's words, short and in plain SMS letters, for saying back what was not understood."""
    words = " ".join(clean(text).split())[:LONGEST_QUOTE]
    return "".join(char if char in BASIC and char.isprintable() else "?" for char in words)


def bare(text: str) -> str:
    """The text without pictures, such as a thumb behind a number; a thumb down stays, for it takes words back."""
    if text.isascii():
        return text
    return "".join(char for char in text if char in _KEPT or unicodedata.category(char) not in _PICTURES)


def plain(text: str) -> str:
    """The bare words of a text in small letters: no punctuation, thumbs as yes or no, ``don't`` as ``dont``."""
    for thumbs, word in ((_THUMB_UP, " yes "), (_THUMB_DOWN, " no ")):
        for thumb in thumbs:
            if thumb in text:
                text = text.replace(thumb, word)
    return " ".join(_NOT_A_WORD.sub(" ", text.casefold().replace("'", "")).split())
