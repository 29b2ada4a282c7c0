"""A whole larva in one text, or several: length, family and tag in any order, parted by semicolons or lines."""

import re
from dataclasses import dataclass, replace
from typing import Any

from guide.field.tags import is_valid
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import clean, plain
from guide.flow.replies.kind import Kind
from guide.flow.replies.names import FamilyKind
from guide.flow.replies.numbers import Length

FIELDS = ("length_mm", "family", "tag")
PROBLEMS = (
    "not_a_sample",
    "missing_length",
    "unclear_family",
    "missing_family",
    "missing_tag",
    "check_digit",
    "odd_length",
)
_PARTS = re.compile(r"[;\n]")
_LENGTH = re.compile(r"(?<![\w.,])(~?\d+(?:[.,]\d+)?)(?:\s*(mm|cm|in|inch|inches|millimet(?:re|er)s?|mil)\b)?", re.I)
_length, _family = Length(), FamilyKind()


@dataclass(frozen=True)
class SampleReading:
    """One part of a text: its words, what was understood of it, and what is wrong (one of PROBLEMS, or empty).

    ``phrase`` and ``blanks`` are the question or echo that the family or length brings.
    """

    text: str
    fields: dict[str, Any]
    problem: str = ""
    phrase: str = ""
    blanks: tuple[tuple[str, str], ...] = ()


def read_samples(text: str, asked: Asked) -> list[SampleReading]:
    """Each part of a text, read as a sample; a good one among bad ones is still good."""
    return [_read_one(part.strip(), asked) for part in _PARTS.split(clean(text)) if part.strip(" .,")]


def _read_one(text: str, asked: Asked) -> SampleReading:
    fields: dict[str, Any] = {}
    words = text
    tag = re.search(rf"(?:\btag\s*:?\s*|#\s*)?(?<!\d)(\d{{{asked.tag_width}}})(?!\d)", text, re.I)
    if tag:
        fields["tag"] = tag[1]
        words = text[: tag.start()] + " " + text[tag.end() :]
    measured = _LENGTH.search(words)
    reading = Reading()
    if measured:
        reading = _length.read(measured[0], replace(asked, options=()))
        words = words[: measured.start()] + " " + words[measured.end() :]
        if reading.value is not None:
            fields["length_mm"] = reading.value
    words = re.sub(r"\b(?:tag|length|long|mm|cm|family)\b|[#:,+&]", " ", words, flags=re.I)
    named = _family.read(words, replace(asked, options=())) if plain(words) else Reading()
    if named.value is not None and named.value != "key" and not named.ask:
        fields["family"] = named.value
    problem = _problem(fields, bool(plain(words)), reading, asked)
    said = reading if problem == "odd_length" else named
    return SampleReading(text, fields, problem, said.phrase, tuple(said.blanks.items()))


def _problem(fields: dict[str, Any], has_words: bool, length: Reading, asked: Asked) -> str:
    if "length_mm" not in fields and "tag" not in fields:
        return "not_a_sample" if "family" not in fields or len(asked.fields) < 2 else "missing_length"
    if has_words and "family" not in fields:
        return "unclear_family"
    for name in asked.fields:
        if name not in fields:
            return f"missing_{name.removesuffix('_mm')}"
    if "tag" in fields and not is_valid(fields["tag"]):
        return "check_digit"
    return "odd_length" if length.ask else ""


class Sample(Kind):
    """One larva as ``{length_mm, family, tag}``, or a list of several."""

    name = "sample"

    def _read(self, text: str, asked: Asked) -> Reading:
        readings = read_samples(text, asked)
        if len(readings) == 1:
            return self._one(readings[0])
        found = [one.fields for one in readings if one.fields]
        if not found:
            return self.unclear(text, "not_a_sample")
        return Reading(found, sure=not any(one.problem or one.phrase for one in readings))

    def _one(self, one: SampleReading) -> Reading:
        if one.problem == "odd_length":
            return Reading(one.fields, ask=True, phrase=one.phrase, blanks=dict(one.blanks))
        if one.problem:
            return self.unclear(one.text, one.problem, tag=one.fields.get("tag", ""))
        return Reading(one.fields, sure=not one.phrase, phrase=one.phrase, blanks=dict(one.blanks))

    def show(self, value: Any) -> str:
        if isinstance(value, str):
            return value
        if isinstance(value, list):
            return "; ".join(self.show(one) for one in value)
        words = [f"{value['length_mm']:g}"] if "length_mm" in value else []
        words += [_family.show(value["family"])] if "family" in value else []
        return " ".join([*words, *([value["tag"]] if "tag" in value else [])])

    def samples(self, asked: Asked) -> tuple[str, ...]:
        from guide.field.tags import block

        typical = {"length_mm": 27, "family": "Aeshnidae", "tag": block(0, 1, asked.tag_width)[0]}
        return (self.show({name: typical[name] for name in asked.fields}),)
