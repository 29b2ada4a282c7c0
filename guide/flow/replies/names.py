"""Families, tags and free words."""

import re
from typing import Any

from guide.field.families import EITHER, FAMILIES, everyday
from guide.field.tags import block, is_valid
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import plain
from guide.flow.replies.kind import Kind
from guide.flow.replies.match import beginning, near

LONGEST_TEXT = 480
SHORTEST_FAMILY = 4
_FAMILY_NAMES = {
    name: family.latin for family in FAMILIES for name in (plain(family.latin), family.everyday, *family.words)
}
_UNSURE = frozenset(
    ("unsure", "not sure", "dunno", "dont know", "do not know", "idk", "no idea", "unknown", "cant tell", "not known",
     "not certain", "uncertain", "unclear")
)  # fmt: skip
_KEY = frozenset(("key", "family key", "the key", "key please"))
_DAMSELFLY = frozenset(
    "damsel damsels damselfly damselflies zygoptera zygopteran dancer dancers bluet bluets forktail forktails "
    "spreadwing spreadwings jewelwing jewelwings rubyspot rubyspots coenagrionidae lestidae calopterygidae".split()
)
_NEAR = {
    **{name: latin for name, latin in _FAMILY_NAMES.items() if " " not in name},
    **dict.fromkeys(("unsure", "dunno", "uncertain", "unknown"), "unsure"),
    **dict.fromkeys(_DAMSELFLY, "damselfly"),
}
_STARTS = {name: latin for name, latin in _NEAR.items() if latin not in (EITHER, "unsure", "damselfly")}
_DENIED = frozenset("no not nor never neither isnt without".split())
_FILLERS = frozenset("a an the its it is fam family dragonfly dragonflies larva nymph probably maybe think i".split())
_MIXED = re.compile(r"\bor\b|/|\band\b|,|\?")


class FamilyKind(Kind):
    """A larva's family: the everyday or the Latin word, UNSURE, or KEY."""

    name = "family"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text)
        if words in _UNSURE or words in _KEY:
            return Reading("unsure" if words in _UNSURE else "key", sure=True)
        words = " ".join(word for word in words.split() if word not in _FILLERS)
        joined = words.replace(" ", "")
        if joined in _DAMSELFLY:
            return self.unclear(text, "damselfly")
        latin = _FAMILY_NAMES.get(words) or _FAMILY_NAMES.get(joined)
        if latin:
            return Reading(latin, sure=True)
        if not (joined.isalpha() and _DENIED.isdisjoint(words.split())):
            return self.unclear(text)
        return self._several(text) or self._roughly(text, joined)

    def _several(self, text: str) -> Reading | None:
        """Two families in one text: the pair that can't be told apart is an answer, any other is asked."""
        parts = [_FAMILY_NAMES.get(plain(part)) for part in _MIXED.split(text) if plain(part)]
        if len(parts) != 2 or parts[0] is None or parts[1] is None or parts[0] == parts[1]:
            return None
        if {parts[0], parts[1]} == set(EITHER.split("/")):
            return Reading(EITHER, sure=True)
        return self.ask(parts[0], text, "which", **_both([parts[0], parts[1]]))

    def _roughly(self, text: str, word: str) -> Reading:
        started = beginning(word, _STARTS, SHORTEST_FAMILY)
        if len(started) == 1:
            return Reading(started[0], sure=True)
        found = started or near(word, _NEAR)
        if "damselfly" in found:
            return self.unclear(text, "damselfly")
        if not found:
            return self.unclear(text)
        if len(found) > 1:
            return self.ask(found[0], text, "which", **_both(found))
        if found[0] == "unsure":
            return Reading("unsure", phrase="family.took_unsure")
        return Reading(found[0], phrase="family.echo", blanks={"latin": found[0], "answer": everyday(found[0])})

    def show(self, value: Any) -> str:
        return everyday(value).upper() if value in _FAMILY_NAMES.values() else str(value).upper()

    def _outcomes(self) -> tuple[str, ...]:
        return ("family", "unsure", "key")

    def _outcome(self, value: Any) -> str:
        return value if value in ("unsure", "key") else "family"

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return ("DARNER", "SKIMMER", "CLUBTAIL", "UNSURE", "KEY")


def _both(found: list[str]) -> dict[str, str]:
    return {"answer": everyday(found[0]).upper(), "other": everyday(found[1]).upper()}


_TAG_WORDS = re.compile(r"\b(?:tag|tags|no|nr|number|code|is|slip|its|it's|and|or)\b|[#:;.,/&!?'\"\n\-]", re.IGNORECASE)
DIGIT_LETTERS = str.maketrans({"o": "0", "O": "0", "l": "1", "L": "1", "I": "1", "i": "1"})
_DIGITS = re.compile(r"[0-9oOlLIi]+")


class Tag(Kind):
    """A tag's digits as text, leading zeros kept. Its check digit is proved here, the pool by the talk."""

    name = "tag"

    def _read(self, text: str, asked: Asked) -> Reading:
        parts = _TAG_WORDS.sub(" ", text).split()
        if not parts or not all(_DIGITS.fullmatch(part) for part in parts) or not any(c.isdecimal() for c in text):
            return self.unclear(text)
        codes = [part.translate(DIGIT_LETTERS) for part in parts]
        if len(codes) > 1 and all(len(code) == asked.tag_width for code in codes):
            valid = [code for code in dict.fromkeys(codes) if is_valid(code)]
            if valid and len(set(codes)) > 1:
                return self.ask(valid[0], text, "which", answer=valid[0])
            parts, codes = parts[:1], codes[:1]
        code = "".join(codes)
        if len(code) != asked.tag_width:
            return self.unclear(text, "width", width=str(asked.tag_width))
        if not is_valid(code):
            return self.unclear(text, "check", tag=code)
        if "".join(parts) != code:
            return Reading(code, phrase="tag.echo", blanks={"tag": code})
        return Reading(code, sure=True)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return (block(0, 1, asked.tag_width)[0],)


class Text(Kind):
    """Any words with something to see in them."""

    name = "text"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = " ".join(text.split())[:LONGEST_TEXT]
        return Reading(words, sure=True) if words else self.unclear(text)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return ("NONE",)
