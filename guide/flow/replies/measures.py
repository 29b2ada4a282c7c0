"""Volumes and percents, for the tub and the bleach label."""

from collections.abc import Mapping
from typing import Any, ClassVar

from guide.flow.replies.amounts import Amount, tidy
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.numbers import Number

BUCKET_L = 10.0
"""Litres of a usual household bucket."""

US_GALLON_L = 3.785


class Volume(Number):
    """A volume in litres: litres, US gallons or buckets of 10 L."""

    name, unit, typical = "volume", "L", (20, 1)
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("l", "lt", "ltr", "litre", "litres", "liter", "liters"), "L"),
        **dict.fromkeys(("ml", "millilitre", "millilitres", "milliliter", "milliliters"), "mL"),
        **dict.fromkeys(("gal", "gals", "gallon", "gallons"), "gal"),
        **dict.fromkeys(("bucket", "buckets", "pail", "pails"), "bucket"),
    }
    _factors: ClassVar[Mapping[str, float]] = {"": 1, "L": 1, "mL": 0.001, "gal": US_GALLON_L, "bucket": BUCKET_L}

    def _read(self, text: str, asked: Asked) -> Reading:
        return super()._read(text.casefold().replace("us gal", "gal"), asked)

    def _value(self, parts: list[Amount]) -> float | None:
        if len(parts) != 1 or parts[0].number <= 0:
            return None
        return tidy(parts[0].number * self._factors[parts[0].unit], 2)


class Percent(Number):
    """A percent as on a label: ``6``, ``8.25 %``."""

    name, unit, usual, typical = "percent", "%", (0.1, 100), (6,)
    units: ClassVar[Mapping[str, str]] = {"percent": "%", "pct": "%"}

    def _read(self, text: str, asked: Asked) -> Reading:
        return super()._read(text.replace("%", " "), asked)

    def _value(self, parts: list[Amount]) -> float | None:
        return tidy(parts[0].number, 2) if len(parts) == 1 and parts[0].number > 0 else None

    def show(self, value: Any) -> str:
        return value if isinstance(value, str) else f"{value:g} %"
