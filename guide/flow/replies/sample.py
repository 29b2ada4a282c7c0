"""A whole larva in one text, or several: length, family and tag in any order, parted by semicolons or lines."""

import re
from typing import Any, NamedTuple

from guide.field.tags import is_valid
from guide.flow.replies.amounts import digits_for_words
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import bare, clean, plain, quote
from guide.flow.replies.kind import Kind
from guide.flow.replies.lab_code import cut_code
from guide.flow.replies.names import DIGIT_LETTERS, FamilyKind, sample_tag
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
_ONE_LENGTH = r"\d+(?:[.,]\d+)?(?:\s*(?:mm|cm|in|inch|inches|mil|millimet(?:re|er)s?)\b|\")?"
_LENGTH = re.compile(rf"(?<![\w.]){_ONE_LENGTH}(?:\s*(?:-|to|or)\s*{_ONE_LENGTH})?", re.IGNORECASE)
_GLUED_LENGTH = re.compile(r"(?<=[A-Za-z])\d{1,2}(?!\w)")
_SHORT_TAG = re.compile(r"(?<![\w.,])\d{4,8}(?!\w)")
_TAG_WORD = re.compile(r"\b(?:tag )?(?:no|nr|number)\b\.? ?$", re.IGNORECASE)
_MARKED_TAG = re.compile(r"(?:\btag\b[\s:#]*|#\s*)(?=[oil]*\d)([\doil]{1,8})(?!\w)", re.IGNORECASE)
_AROUND = re.compile(
    r"\b(?:tag|length|len|long|mm|cm|family|fam|size|about|approx|ca|around|roughly|and|is|with|done|sealed|bagged)\b"
    r"|(?<!\w)ish\b|[#:,+&~]",
    re.IGNORECASE,
)
_length, _family = Length(), FamilyKind()


class SampleReading(NamedTuple):
    """One part of a text: its words, what was understood of it, and what is wrong (one of PROBLEMS, or empty).

    ``phrase`` and ``blanks`` are the question or echo that the length, family or tag brings.
    """

    text: str
    fields: dict[str, Any]
    problem: str = ""
    phrase: str = ""
    blanks: tuple[tuple[str, str], ...] = ()


def read_samples(text: str, asked: Asked) -> list[SampleReading]:
    """Each part of a text, read as a sample; a good one among bad ones is still good."""
    asked = asked._replace(options=())
    parts = [part.strip() for part in _PARTS.split(bare(clean(text))) if plain(part)]
    parts = [part.removeprefix(f"{place})").removeprefix(f"{place}. ") for place, part in enumerate(parts, 1)]
    readings = [_read_one(part.strip(), asked) for part in parts]
    if len(parts) > 1 and not any(len(reading.fields) > 1 for reading in readings):
        whole = _read_one(" ".join(parts), asked)
        return readings if whole.problem else [whole]
    return readings


def _read_one(text: str, asked: Asked) -> SampleReading:
    fields: dict[str, Any] = {}
    length, named = Reading(), Reading()
    written, words = _cut_tag(text, asked.tag_width) if asked.tag_check else cut_code(text)
    if written:
        fields["tag"] = written.translate(DIGIT_LETTERS) if asked.tag_check else written
    words = digits_for_words(words)
    measured = _LENGTH.search(words) or _GLUED_LENGTH.search(words)
    if measured:
        length = _length.read(measured[0], asked)
        words = f"{words[: measured.start()]} {words[measured.end() :]}"
        if length.value is not None:
            fields["length_mm"] = length.value
    words = _AROUND.sub(" ", words)
    if not written and asked.tag_check and "tag" in asked.fields and (short := _SHORT_TAG.search(words)):
        written = fields["tag"] = short[0]
        words = f"{words[: short.start()]} {words[short.end() :]}"
    if plain(words):
        named = _family.read(words, asked)
        if named.value is not None and named.value != "key" and not named.ask:
            fields["family"] = named.value
    problem = _problem(fields, words, length, asked)
    said = length if problem == "odd_length" else named
    if not said.phrase and written != fields.get("tag", ""):
        said = Reading(phrase="tag.echo", blanks={"tag": fields["tag"]})
    return SampleReading(text, fields, problem, said.phrase, tuple(said.blanks.items()))


def _cut_tag(text: str, width: int) -> tuple[str, str]:
    """The tag as it is written, or "", and the text without it: so many digits, or what follows # or TAG, or digits
    some of which are typed as letters, or apart."""
    found = re.search(rf"(?<!\d)()(\d{{{width}}})(?!\d)", text)
    if found:
        again = re.sub(rf"(?<!\d){found[2]}(?!\d)", " ", text[found.end() :])
        return found[2], f"{_TAG_WORD.sub(' ', text[: found.start()])} {again}"
    if apart := re.search(rf"(?<![\d.,])\d(?: \d){{{width - 1}}}(?![\d.,])", text):
        return apart[0].replace(" ", ""), f"{_TAG_WORD.sub(' ', text[: apart.start()])} {text[apart.end() :]}"
    if marked := _MARKED_TAG.search(text):
        return marked[1], f"{text[: marked.start()]} {text[marked.end() :]}"
    found = re.search(rf"(?<!\w)(?=[oil]{{0,{width - 1}}}\d)()([\doil]{{{width}}})(?!\w)", text, re.IGNORECASE)
    return (found[2], f"{text[: found.start()]} {text[found.end() :]}") if found else ("", text)


def _problem(fields: dict[str, Any], words: str, length: Reading, asked: Asked) -> str:
    if "length_mm" not in fields and "tag" not in fields:
        return "not_a_sample" if "family" not in fields or len(asked.fields) < 2 else "missing_length"
    if any(char.isdecimal() for char in words):
        return "not_a_sample"
    if plain(words) and "family" not in fields:
        return "unclear_family"
    tag = fields.get("tag", "")
    is_wrong = asked.tag_check and bool(tag) and not (len(tag) == asked.tag_width and is_valid(tag))
    if is_wrong and len(fields) == 1:
        return "check_digit"  # the tag alone, for one that was wrong: what is missing is known already
    for name in asked.fields:
        if name not in fields:
            return f"missing_{name.removesuffix('_mm')}"
    if is_wrong:
        return "check_digit"
    return "odd_length" if length.ask else ""


class Sample(Kind):
    """One larva as ``{length_mm, family, tag}``, or a list of several."""

    name = "sample"

    def _read(self, text: str, asked: Asked) -> Reading:
        readings = read_samples(text, asked)
        if len(readings) == 1:
            return self._one(readings[0], asked)
        good = [one.fields for one in readings if not one.problem]
        if len(good) > 1 and "tag" not in asked.fields:
            return self.unclear(text, "one")
        odd = next((one for one in readings if one.problem), None)
        if not good:
            return self._one(odd, asked) if odd is not None else self.unclear(text, "not_a_sample")
        if odd is not None:
            blanks = {"said": quote(odd.text), "count": str(len(good))}
            return Reading(good, phrase="sample.some", blanks=blanks)
        rough = next((one for one in readings if one.phrase), None)
        if rough is None:
            return Reading(good, sure=True)
        return Reading(good, phrase=rough.phrase, blanks=dict(rough.blanks))

    def _one(self, one: SampleReading, asked: Asked) -> Reading:
        if one.problem == "odd_length":
            return Reading(one.fields, ask=True, phrase=one.phrase, blanks=dict(one.blanks))
        if one.problem == "not_a_sample" and len(re.findall(rf"\b\d{{{asked.tag_width}}}\b", one.text)) > 1:
            return self.unclear(one.text, "several")
        if one.problem:
            return self.unclear(one.text, one.problem, tag=one.fields.get("tag", ""))
        return Reading(one.fields, sure=not one.phrase, phrase=one.phrase, blanks=dict(one.blanks))

    def show(self, value: Any) -> str:
        if isinstance(value, str):
            return value
        if isinstance(value, list):
            return "; ".join(self.show(one) for one in value)
        words = [f"{value['length_mm']:.12g}"] if "length_mm" in value else []
        words += [_family.show(value["family"])] if "family" in value else []
        return " ".join([*words, *([value["tag"]] if "tag" in value else [])])

    def samples(self, asked: Asked) -> tuple[str, ...]:
        asked = asked._replace(options=())
        length = _length.read(_length.samples(asked)[0], asked).value
        typical = {"length_mm": length, "family": "Aeshnidae", "tag": sample_tag(asked)}
        return (self.show({name: typical[name] for name in asked.fields}),)
