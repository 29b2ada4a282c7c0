"""Families, tags and free words."""

import re
from typing import Any

from guide.field.families import EITHER, FAMILIES, everyday
from guide.field.tags import block, is_valid
from guide.flow.replies.agree import ALL
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import THUMBS_DOWN, bare, plain
from guide.flow.replies.kind import Kind
from guide.flow.replies.lab_code import SAMPLE_CODE, as_code, find_codes
from guide.flow.replies.match import beginning, near

LONGEST_TEXT = 480
SHORTEST_FAMILY = 4
_FAMILY_NAMES = {
    name: family.latin for family in FAMILIES for name in (plain(family.latin), family.everyday, *family.words)
}
_UNSURE = frozenset(
    ("unsure", "not sure", "dunno", "dont know", "do not know", "idk", "no idea", "no clue", "unknown", "cant tell",
     "cannot tell", "cant say", "hard to say", "hard to tell", "who knows", "not known", "not certain", "uncertain",
     "unclear", "un sure")
)  # fmt: skip
_SHRUG = "\U0001f937"
_KEY = frozenset(
    ("key", "keys", "keey", "kye", "key pls", "family key", "the key", "key please", "use key", "use the key")
)
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
_FILLERS = frozenset(
    "a an the its it is fam family dragonfly dragonflies larva nymph probably prob maybe think i im we were looks like "
    "definitely pretty sure for really at all yes yep yeah ok okay thanks please larvae".split()
)
_PRONOUNS = frozenset("i im we are were really at all".split())
_MIXED = re.compile(r"\bor\b|\band\b|[/,?;\n()=]")


class FamilyKind(Kind):
    """A larva's family: the everyday or the Latin word, UNSURE, or KEY."""

    name = "family"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text)
        said = " ".join(word for word in words.split() if word not in _PRONOUNS)
        if said in _UNSURE or (not words and _SHRUG in text):
            return Reading("unsure", sure=True)
        if words in _KEY:
            return Reading("key", sure=True)
        words = _told(text)
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
        parts = [told for part in _MIXED.split(text.casefold()) if (told := _told(part).removeprefix("either ")) != ""]
        if len(parts) == 1 and all(word in _FAMILY_NAMES for word in parts[0].split()):
            parts = parts[0].split()
        if len(parts) < 2:
            return None
        found = [self._roughly(part, part.replace(" ", "")) for part in parts]
        families = list(dict.fromkeys(one.value for one in found))
        if len(families) > 2 or any(one.ask or one.value in (None, "unsure") for one in found):
            return self.unclear(text)
        if len(families) == 2 and set(families) != set(EITHER.split("/")):
            return self.ask(families[0], text, "which", **_both(families))
        value = EITHER if len(families) == 2 else families[0]
        if all(one.sure for one in found):
            return Reading(value, sure=True)
        return Reading(value, phrase="family.echo", blanks={"latin": value, "answer": everyday(value)})

    def _roughly(self, text: str, word: str) -> Reading:
        if word in _FAMILY_NAMES:
            return Reading(_FAMILY_NAMES[word], sure=True)
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


def _told(text: str) -> str:
    """The words of a text that may name a family."""
    if THUMBS_DOWN.intersection(text):
        return plain(text)
    return " ".join(word for word in plain(bare(text)).split() if word not in _FILLERS)


_TAG_WORDS = re.compile(
    r"\bi think\b|\b(?:tags?|no|nr|number|code|is|slip|its|it's|and|or|the|it|says|bag|larva|sample|label|id|ok|okay"
    r"|yes|done|please|thanks|maybe)\b|\b(?:tag|no|nr)(?=\d)|[#:;.,/&!?'\"\n()=+*_\[\]-]",
    re.IGNORECASE,
)
DIGIT_LETTERS = str.maketrans({"o": "0", "O": "0", "l": "1", "L": "1", "I": "1", "i": "1"})
_DIGITS = re.compile(r"[0-9oOlLIi]+")
_DECIMAL = re.compile(r"\d\d+[.,]\d|\d[.,]\d\d")
_DIGIT_WORDS = {word: str(n) for n, word in enumerate("zero one two three four five six seven eight nine".split())} | {
    "oh": "0"
}


class Tag(Kind):
    """A tag's digits as text, leading zeros kept. Its check digit is proved here, the pool by the talk."""

    name = "tag"

    def _read(self, text: str, asked: Asked) -> Reading:
        if not asked.tag_check:
            return self._code(text)
        parts = _TAG_WORDS.sub(" ", bare(text)).split()
        digits = [_DIGIT_WORDS.get(part.casefold(), part) for part in parts]
        if not parts or not all(_DIGITS.fullmatch(part) for part in digits):
            return self.unclear(text)
        if not any(char.isdecimal() for char in "".join(digits)):
            return self.unclear(text)
        codes = [part.translate(DIGIT_LETTERS) for part in digits]
        if len(codes) > 1 and all(len(code) == asked.tag_width for code in codes):
            valid = [code for code in dict.fromkeys(codes) if is_valid(code)]
            if valid and len(set(codes)) > 1:
                return self.ask(valid[0], text, "which", answer=valid[0])
            parts, codes = parts[:1], codes[:1]
        return self._one(text, "".join(codes), "".join(parts), asked.tag_width)

    def _code(self, text: str) -> Reading:
        """A lab's own code: nothing in it can be proved, the pool knows it or not."""
        codes = list(dict.fromkeys(as_code(found[0]) for found in find_codes(bare(text))))
        if not codes:
            return self.unclear(text, "code")
        return Reading(codes[0], sure=True) if len(codes) == 1 else self.ask(codes[0], text, "which", answer=codes[0])

    def _one(self, text: str, code: str, written: str, width: int) -> Reading:
        """One tag; a dropped first zero or a point between its digits is asked."""
        doubtful = _DECIMAL.search(text) is not None
        if len(code) == width - 1 and len(code) > 2 and is_valid(f"0{code}"):
            code, doubtful = f"0{code}", True
        if len(code) != width:
            return self.unclear(text, "width", width=str(width))
        if not is_valid(code):
            return self.unclear(text, "check", tag=code)
        if doubtful:
            return self.ask(code, text, "mean", tag=code, width=str(width))
        if written != code:
            return Reading(code, phrase="tag.echo", blanks={"tag": code})
        return Reading(code, sure=True)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return (sample_tag(asked),)


def sample_tag(asked: Asked) -> str:
    """A tag as such a step takes it."""
    return block(0, 1, asked.tag_width)[0] if asked.tag_check else SAMPLE_CODE


_SAYS_NOTHING = ALL - {"none"}
"""Words sent out of habit where something was to be told: asked back once."""


class Text(Kind):
    """Any words with something to see in them."""

    name = "text"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = " ".join(text.split())[:LONGEST_TEXT]
        if plain(words) in _SAYS_NOTHING or (len(words) == 1 and words.isdecimal()):
            return self.ask(words, text, "bare")
        return Reading(words, sure=True) if words else self.unclear(text)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return ("NONE",)
