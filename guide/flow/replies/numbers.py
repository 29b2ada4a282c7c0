"""Counts, lengths, distances, temperatures, durations. Out of line: asked back once, never refused into silence."""

import re
from collections.abc import Mapping
from typing import Any, ClassVar

from guide.flow.replies.amounts import Amount, amounts, mended, tidy, tokens
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import plain, quote
from guide.flow.replies.kind import Kind
from guide.flow.replies.names import FamilyKind

_NOBODY = frozenset("none nobody noone nil zero no nothing 0".split())
_COUNTED = frozenset(
    "people persons person adults adult kids kid children child of us we are all together here now wear wearing "
    "going go larvae larva bags bag there has have ppl pax volunteers volunteer students teachers minors minor vests "
    "vest pfds pfd jackets jacket life watchers watcher total left them theres including incl counting me".split()
)
_NUMBERED = re.compile(r"^(?:#|no\.|nr\.?|number) ?(?=\d)", re.IGNORECASE)
_VAGUE = (
    ("half a dozen", 6), ("a dozen", 12), ("dozen", 12), ("a couple", 2), ("couple", 2), ("a hundred", 100),
    ("one hundred", 100), ("both of us", 2), ("both", 2), ("just me", 1), ("only me", 1), ("me", 1), ("me alone", 1),
)  # fmt: skip


class Number(Kind):
    """A number with a unit. ``units`` maps what people write to a unit's name, ``_value`` a sum to the kind's unit."""

    units: ClassVar[Mapping[str, str]] = {}
    ignored: ClassVar[frozenset[str]] = frozenset()
    usual: tuple[float, float] | None = None
    unit = ""
    most_ever = 9999

    def _read(self, text: str, asked: Asked) -> Reading:
        offered = amounts(text, self.units, self.ignored)
        if offered is None:
            return self._mended(text, asked) or self.unclear(text)
        return self._offered(text, offered, asked)

    def _mended(self, text: str, asked: Asked) -> Reading | None:
        """A unit with a slip of the thumb in it: taken and said back."""
        better = mended(text, self.units)
        offered = amounts(better, self.units, self.ignored) if better else None
        if offered is None:
            return None
        reading = self._offered(text, offered, asked)
        return self._echo(text, reading.value) if reading.sure else reading

    def _echo(self, text: str, value: Any) -> Reading:
        return Reading(value, phrase=f"{self.name}.echo", blanks={"said": quote(text), "answer": self.show(value)})

    def _offered(self, text: str, offered: list[list[Amount]], asked: Asked) -> Reading:
        values = [self._value(parts) for parts in offered]
        if any(value is None or abs(value) > self.most_ever for value in values) or values[0] is None:
            return self.unclear(text)
        if len(values) > 1:
            return self.ask(values[0], text, "which", answer=self.show(values[0]))
        return self._bounded(text, values[0], offered[0], asked)

    def _bounded(self, text: str, value: float, parts: list[Amount], asked: Asked) -> Reading:
        least, most = self.bounds(asked)
        if (least is None or value >= least) and (most is None or value <= most):
            return Reading(value, sure=True)
        if len(parts) == 1 and not parts[0].unit:
            other = self._other_unit(parts[0].number)
            if other is not None and (least is None or other >= least) and (most is None or other <= most):
                return self.ask(other, text, "unit", answer=self.show(other))
        return self.ask(value, text, "odd", answer=self.show(value))

    def bounds(self, asked: Asked) -> tuple[float | None, float | None]:
        """What is plausible: the step's bounds, else the kind's usual ones."""
        least, most = self.usual or (None, None)
        return (asked.least if asked.least is not None else least, asked.most if asked.most is not None else most)

    def _value(self, parts: list[Amount]) -> float | None:
        raise NotImplementedError

    def _other_unit(self, number: float) -> float | None:
        """A bare number read in another unit that people leave out, if there is one."""
        return None

    def show(self, value: Any) -> str:
        return value if isinstance(value, str) else f"{value:.12g} {self.unit}"

    def samples(self, asked: Asked) -> tuple[str, ...]:
        least, most = self.bounds(asked)
        for value in self.typical:
            if (least is None or value >= least) and (most is None or value <= most):
                return (self.show(value),)
        return (self.show(tidy(least if least is not None else most or 0)),)

    typical: tuple[float, ...] = ()


def _one(parts: list[Amount], factors: Mapping[str, float], decimals: int) -> float | None:
    """The sum of amounts in one unit; None for an unknown mixture."""
    if len(parts) > 1 and not all(part.unit for part in parts[:-1]):
        return None
    return tidy(sum(part.number * factors[part.unit] for part in parts), decimals)


_TWO_WITH_COMMA = re.compile(r"(\d\d), ?(\d[1-9])")
_LENGTH_AND_WORDS = re.compile(r"(\d+(?:[.,]\d+)? ?(?:mm|cm)?),? ?((?!mm|cm)[A-Za-z][A-Za-z /-]*)[.!]?")


class Length(Number):
    """A larva's length in millimetres. ``2.7`` without a unit may be centimetres: asked."""

    name, unit, usual, typical = "length", "mm", (8, 60), (27, 20)
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("mm", "mms", "millimetre", "millimetres", "millimeter", "millimeters", "mil", "mils"), "mm"),
        **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
        **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
        **dict.fromkeys(("m", "mn", "nm"), "m"),
    }
    _factors: ClassVar[Mapping[str, float]] = {"": 1, "mm": 1, "cm": 10, "in": 25.4, "m": 1000}

    def _value(self, parts: list[Amount]) -> float | None:
        if len(parts) == 2 and (parts[0].unit, parts[1].unit) in (("cm", ""), ("cm", "mm")):
            parts = [Amount(tidy(parts[0].number * 10 + parts[1].number, 1), "mm")]
        value = _one(parts, self._factors, 1) if len(parts) == 1 else None
        return value if value is not None and value > 0 else None

    def _other_unit(self, number: float) -> float | None:
        return tidy(number * 10, 1)

    def _read(self, text: str, asked: Asked) -> Reading:
        bare = text.strip()
        if len(bare) > 2 and bare[0] == bare[-1] and bare[0] in "'\"":
            bare = bare[1:-1]  # "27" in quotation marks is no number of inches
        if any(len(token) > 1 and token[0] == "0" and token.isdecimal() for token in tokens(bare)):
            return self.unclear(text)  # 01428 is a tag
        if two := _TWO_WITH_COMMA.fullmatch(bare):
            values = [int(number) for number in two.groups()]
            if all(self._bounded(bare, value, [], asked).sure for value in values):
                return self.ask(values[0], text, "which", answer=self.show(values[0]))
        reading = super()._read(bare, asked)
        return reading if reading.value is not None else self._before_family(bare, asked) or reading

    def _offered(self, text: str, offered: list[list[Amount]], asked: Asked) -> Reading:
        if len(offered) == 1 and len(offered[0]) == 1 and offered[0][0].unit == "m" and offered[0][0].number >= 1:
            value = tidy(offered[0][0].number, 1)  # 27 m is a slip of the thumb
            return self.ask(value, text, "mean", answer=self.show(value))
        return super()._offered(text, offered, asked)

    def _before_family(self, text: str, asked: Asked) -> Reading | None:
        """``27 mm darner``: the length is taken and said back, the family is asked in its turn."""
        found = _LENGTH_AND_WORDS.fullmatch(text)
        if found is None or not FamilyKind().read(found[2], Asked()).sure:
            return None
        reading = super()._read(found[1], asked)
        return self._echo(text, reading.value) if reading.sure else reading


class Distance(Number):
    """A distance or depth in metres. ``40`` for a depth may be centimetres: asked where metres make no sense."""

    name, unit, typical = "distance", "m", (0.4, 5, 50)
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters", "mtr"), "m"),
        **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
        **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
        **dict.fromkeys(("km", "kilometre", "kilometres", "kilometer", "kilometers"), "km"),
        **dict.fromkeys(("ft", "foot", "feet", "'"), "ft"),
        **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
        **dict.fromkeys(("yd", "yds", "yard", "yards"), "yd"),
    }
    _factors: ClassVar[Mapping[str, float]] = {
        "": 1,
        "m": 1,
        "cm": 0.01,
        "mm": 0.001,
        "km": 1000,
        "ft": 0.3048,
        "in": 0.0254,
        "yd": 0.9144,
    }

    def _value(self, parts: list[Amount]) -> float | None:
        smaller = {"m": "cm", "ft": "in"}.get(parts[0].unit)
        if len(parts) == 2 and smaller and not parts[1].unit:
            parts = [parts[0], Amount(parts[1].number, smaller)]
        value = _one(parts, self._factors, 3)
        return value if value is not None and value >= 0 else None

    def _other_unit(self, number: float) -> float | None:
        return tidy(number / 100)

    def bounds(self, asked: Asked) -> tuple[float | None, float | None]:
        """Where a step says nothing, a bare number is doubted from 10 on."""
        return (asked.least, asked.most)

    def _offered(self, text: str, offered: list[list[Amount]], asked: Asked) -> Reading:
        unbounded = asked.least is None and asked.most is None
        if unbounded and len(offered) == 1 and len(offered[0]) == 1 and not offered[0][0].unit:
            value = self._other_unit(offered[0][0].number)
            if value is not None and 0.1 <= value <= self.most_ever / 100:
                return self.ask(value, text, "unit", answer=self.show(value))
        return super()._offered(text, offered, asked)

    def show(self, value: Any) -> str:
        if isinstance(value, int | float) and 0 < value < 1:
            return f"{tidy(value * 100):g} cm"
        return super().show(value)


HOTTEST_C = 32
"""Above it a number without its unit may be Fahrenheit."""


class Temperature(Number):
    """A temperature in Celsius. ``72`` may be Fahrenheit: asked."""

    name, unit, usual, typical = "temperature", "C", (-10, 45), (22, 18, 4)
    ignored = frozenset("deg degs degree degrees °".split())
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("c", "celsius", "celcius", "centigrade", "degc"), "C"),
        **dict.fromkeys(("f", "fahrenheit", "degf"), "F"),
    }

    def _value(self, parts: list[Amount]) -> float | None:
        if len(parts) != 1:
            return None
        number, unit = parts[0]
        return tidy((number - 32) * 5 / 9 if unit == "F" else number, 1)

    def _other_unit(self, number: float) -> float | None:
        return tidy((number - 32) * 5 / 9, 1)

    def _offered(self, text: str, offered: list[list[Amount]], asked: Asked) -> Reading:
        """A bare 38 is water near freezing for some and a hot bath for others: asked."""
        if len(offered) == 1 and len(offered[0]) == 1 and not offered[0][0].unit and offered[0][0].number > HOTTEST_C:
            value = self._other_unit(offered[0][0].number)
            least, most = self.bounds(asked)
            if value is not None and (least is None or value >= least) and (most is None or value <= most):
                return self.ask(value, text, "unit", answer=self.show(value))
        return super()._offered(text, offered, asked)


class Duration(Number):
    """A duration in seconds; a bare number is seconds, as read off a stopwatch."""

    name, unit, typical, most_ever = "duration", "s", (20, 600), 999_999
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("s", "sec", "secs", "second", "seconds", '"'), "s"),
        **dict.fromkeys(("m", "min", "mins", "minute", "minutes", "'"), "min"),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "h"),
    }
    _factors: ClassVar[Mapping[str, float]] = {"": 1, "s": 1, "min": 60, "h": 3600}
    _words: ClassVar[Mapping[str, int]] = {"a quarter of an hour": 900, "quarter of an hour": 900, "quarter hour": 900}

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text).removeprefix("about ")
        if words in self._words:
            return self._bounded(text, self._words[words], [Amount(0, "s")], asked)
        seconds = _clocked(text)
        if seconds is not None:
            return self._bounded(text, seconds, [Amount(seconds, "s")], asked)
        if dotted := _DOTTED.fullmatch(text):
            value = int(dotted[1]) * 60 + int(dotted[2])
            return self.ask(value, text, "mean", answer=self.show(value))
        return super()._read(text, asked)

    def _value(self, parts: list[Amount]) -> float | None:
        smaller = {"h": "min", "min": "s"}.get(parts[0].unit)
        if len(parts) == 2 and smaller and not parts[1].unit:
            parts = [parts[0], Amount(parts[1].number, smaller)]
        value = _one(parts, self._factors, 1)
        return value if value is not None and value >= 0 else None


_CLOCKED = re.compile(
    r"(?:about |~)?(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d)(?: ?(h|hrs?|hours?|m|mins?|minutes?))?[.!]?", re.ASCII
)
_DOTTED = re.compile(r"(\d)[.]([0-5]\d)[.!]?", re.ASCII)


def _clocked(text: str) -> int | None:
    """Seconds of ``1:30``, ``0:01:30`` or ``1:20 h``; None for anything else."""
    found = _CLOCKED.fullmatch(text.casefold())
    if found is None:
        return None
    hours, minutes, seconds, unit = found.groups()
    if unit and unit[0] == "h":
        return None if hours else int(minutes) * 3600 + int(seconds) * 60
    return int(hours or 0) * 3600 + int(minutes) * 60 + int(seconds)


class Count(Number):
    """How many: a whole number, 0 or more."""

    name, typical, ignored = "count", (1, 0), _COUNTED

    def _read(self, text: str, asked: Asked) -> Reading:
        reading = self._told(text, asked)
        over = reading.value is not None and asked.never_over is not None and reading.value > asked.never_over
        return self.unclear(text, "beyond") if over else reading

    def _told(self, text: str, asked: Asked) -> Reading:
        words = plain(text).replace("no one", "noone").split()
        if words and words[0] in _NOBODY and words != ["no"] and _COUNTED.issuperset(words[1:]):
            text = "0"
        vague = dict(_VAGUE).get(" ".join(words))
        if vague is not None:
            return self.ask(vague, text, "mean", answer=self.show(vague))
        given = _NUMBERED.sub("", text.strip("\"'")).replace("in total", " ")
        offered = amounts(given.replace("+", " and "), self.units, self.ignored) or []
        if (
            len(offered) > 1
            and set(tokens(given)) & {"and", "&", "+"}
            and {"or", "-", "/", "to"}.isdisjoint(tokens(given))
        ):
            values = [self._value(parts) for parts in offered]
            if all(value is not None for value in values):
                value = int(sum(value or 0 for value in values))
                return self.ask(value, text, "mean", answer=self.show(value))
        return super()._read(given, asked)

    def _value(self, parts: list[Amount]) -> float | None:
        if len(parts) != 1 or parts[0].number < 0 or parts[0].number != int(parts[0].number):
            return None
        return int(parts[0].number)

    def show(self, value: Any) -> str:
        return str(value)

    def _outcomes(self) -> tuple[str, ...]:
        return ("zero", "any")

    def _outcome(self, value: Any) -> str:
        return "zero" if value == 0 else "any"
