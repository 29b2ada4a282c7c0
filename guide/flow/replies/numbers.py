"""Counts, lengths, distances, temperatures, durations. Out of line: asked back once, never refused into silence."""

from collections.abc import Mapping
from typing import Any, ClassVar

from guide.flow.replies.amounts import Amount, amounts, tidy, tokens
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import plain
from guide.flow.replies.kind import Kind

_NOBODY = frozenset("none nobody noone nil zero no nothing 0".split())
_COUNTED = frozenset(
    "people persons person adults adult kids kid children child of us we are all together here now wear wearing "
    "going go larvae larva bags bag there has have".split()
)


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
            return self.unclear(text)
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


class Length(Number):
    """A larva's length in millimetres. ``2.7`` without a unit may be centimetres: asked."""

    name, unit, usual, typical = "length", "mm", (8, 60), (27, 20)
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("mm", "mms", "millimetre", "millimetres", "millimeter", "millimeters", "mil", "mils"), "mm"),
        **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
        **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
    }

    def _value(self, parts: list[Amount]) -> float | None:
        value = _one(parts, {"": 1, "mm": 1, "cm": 10, "in": 25.4}, 1) if len(parts) == 1 else None
        return value if value is not None and value > 0 else None

    def _other_unit(self, number: float) -> float | None:
        return tidy(number * 10, 1)

    def _read(self, text: str, asked: Asked) -> Reading:
        bare = text.strip()
        if len(bare) > 2 and bare[0] == bare[-1] and bare[0] in "'\"":
            bare = bare[1:-1]  # "27" in quotation marks is no number of inches
        if any(len(token) > 1 and token[0] == "0" and token.isdecimal() for token in tokens(bare)):
            return self.unclear(text)  # 01428 is a tag
        return super()._read(bare, asked)


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
        if len(parts) == 2 and parts[0].unit == "m" and not parts[1].unit:
            parts = [parts[0], Amount(parts[1].number, "cm")]
        value = _one(parts, self._factors, 3)
        return value if value is not None and value >= 0 else None

    def _other_unit(self, number: float) -> float | None:
        return tidy(number / 100)

    def show(self, value: Any) -> str:
        if isinstance(value, int | float) and 0 < value < 1:
            return f"{tidy(value * 100):g} cm"
        return super().show(value)


class Temperature(Number):
    """A temperature in Celsius. ``72`` may be Fahrenheit: asked."""

    name, unit, usual, typical = "temperature", "C", (-10, 45), (22, 18, 4)
    ignored = frozenset("deg degs degree degrees °".split())
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("c", "celsius", "centigrade", "degc"), "C"),
        **dict.fromkeys(("f", "fahrenheit", "degf"), "F"),
    }

    def _value(self, parts: list[Amount]) -> float | None:
        if len(parts) != 1:
            return None
        number, unit = parts[0]
        return tidy((number - 32) * 5 / 9 if unit == "F" else number, 1)

    def _other_unit(self, number: float) -> float | None:
        return tidy((number - 32) * 5 / 9, 1)


class Duration(Number):
    """A duration in seconds; a bare number is seconds, as read off a stopwatch."""

    name, unit, typical, most_ever = "duration", "s", (20, 600), 999_999
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
        **dict.fromkeys(("m", "min", "mins", "minute", "minutes"), "min"),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "h"),
    }
    _factors: ClassVar[Mapping[str, float]] = {"": 1, "s": 1, "min": 60, "h": 3600}
    _words: ClassVar[Mapping[str, int]] = {
        "half an hour": 1800, "half hour": 1800, "an hour": 3600, "a minute": 60, "half a minute": 30,
        "a quarter of an hour": 900, "quarter of an hour": 900, "a second": 1,
    }  # fmt: skip

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text).removeprefix("about ")
        if words in self._words:
            return self._bounded(text, self._words[words], [Amount(0, "s")], asked)
        minutes, colon, seconds = text.strip(" .!").partition(":")
        if (
            colon
            and minutes.isdecimal()
            and seconds.isdecimal()
            and len(minutes) < 4
            and len(seconds) == 2
            and seconds < "60"
        ):
            value = int(minutes) * 60 + int(seconds)
            return self._bounded(text, value, [Amount(value, "s")], asked)
        return super()._read(text, asked)

    def _value(self, parts: list[Amount]) -> float | None:
        if len(parts) == 2 and parts[0].unit == "h" and not parts[1].unit:
            parts = [parts[0], Amount(parts[1].number, "min")]
        value = _one(parts, self._factors, 1)
        return value if value is not None and value >= 0 else None


class Count(Number):
    """How many: a whole number, 0 or more."""

    name, typical, ignored = "count", (1, 0), _COUNTED

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text).replace("no one", "noone").split()
        if words and words[0] in _NOBODY and words != ["no"] and _COUNTED.issuperset(words[1:]):
            text = "0"
        return super()._read(text, asked)

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
