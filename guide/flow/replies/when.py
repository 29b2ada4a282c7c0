"""Dates and times of day."""

import re
from datetime import date, timedelta

from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import plain
from guide.flow.replies.kind import Kind

_MONTHS = "january february march april may june july august september october november december".split()
_DAYS = {"today": 0, "yesterday": -1, "tomorrow": 1}
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})\.?")
_NUMBERS = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})\.?")
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?\s*(am|pm|a\.m|p\.m|h)?(?:o'?clock)?\.?")
_COMPACT = re.compile(r"(\d{1,2})(\d{2})\s*(?:h|hrs|hours)?\.?")


class Date(Kind):
    """A day, as an ISO date. ``4/7/2026`` may be April or July: asked."""

    name = "date"

    def _read(self, text: str, asked: Asked) -> Reading:
        bare = text.strip().casefold()
        if bare.strip(".!") in _DAYS:
            if asked.now is None:
                return self.unclear(text)
            return Reading((asked.now.date() + timedelta(days=_DAYS[bare.strip(".!")])).isoformat(), sure=True)
        if found := _ISO.fullmatch(bare):
            return self._take(text, int(found[1]), int(found[2]), int(found[3]))
        if found := _NUMBERS.fullmatch(bare):
            return self._in_numbers(text, int(found[1]), int(found[2]), int(found[3]))
        return self._in_words(text, asked)

    def _in_numbers(self, text: str, one: int, two: int, year: int) -> Reading:
        day_first, month_first = _day(year, two, one), _day(year, one, two)
        if day_first and month_first and day_first != month_first:
            return self.ask(day_first, text, "which", answer=day_first, other=month_first)
        return self._found(text, day_first or month_first)

    def _in_words(self, text: str, asked: Asked) -> Reading:
        words = [re.sub(r"(?<=\d)(st|nd|rd|th)$", "", word) for word in plain(text).split() if word != "of"]
        months = [month for word in words if (month := _month(word))]
        numbers = [int(word) for word in words if word.isdecimal() and len(word) < 5]
        if len(months) != 1 or len(words) != len(months) + len(numbers) or not 0 < len(numbers) < 3:
            return self.unclear(text)
        if len(numbers) == 1 and asked.now is None:
            return self.unclear(text)
        day, year = (numbers[0], asked.now.year) if len(numbers) == 1 and asked.now else (min(numbers), max(numbers))
        return self._take(text, year, months[0], day)

    def _take(self, text: str, year: int, month: int, day: int) -> Reading:
        return self._found(text, _day(year, month, day))

    def _found(self, text: str, day: str | None) -> Reading:
        return Reading(day, sure=True) if day else self.unclear(text)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return (asked.now.date().isoformat() if asked.now else "2026-07-04",)


def _month(word: str) -> int:
    """1 to 12 for a month's name or its first three or more letters, else 0."""
    if word == "sept" or len(word) < 3:
        return 9 if word == "sept" else 0
    return next((number for number, name in enumerate(_MONTHS, 1) if name.startswith(word)), 0)


def _day(year: int, month: int, day: int) -> str | None:
    try:
        return date(year, month, day).isoformat() if 1900 <= year <= 2199 else None
    except ValueError:
        return None


class Time(Kind):
    """A time of day as ``HH:MM``, 24 hours. A bare hour is asked."""

    name = "time"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text)
        fixed = {"noon": "12:00", "midday": "12:00", "midnight": "00:00"}.get(words)
        if words == "now" and asked.now is not None:
            fixed = asked.now.strftime("%H:%M")
        if fixed:
            return Reading(fixed, sure=True)
        bare = text.casefold().strip(" !,").removeprefix("at ").removeprefix("about ").strip()
        if found := _COMPACT.fullmatch(bare):
            return self._clock(text, int(found[1]), int(found[2]), "", False)
        if found := _CLOCK.fullmatch(bare):
            half = (found[3] or "").replace(".", "")
            return self._clock(text, int(found[1]), int(found[2] or 0), half, found[2] is None and not half)
        return self.unclear(text)

    def _clock(self, text: str, hour: int, minute: int, half: str, bare: bool) -> Reading:
        if half in ("am", "pm"):
            if not 0 < hour < 13:
                return self.unclear(text)
            hour = hour % 12 + (12 if half == "pm" else 0)
        if hour > 23 or minute > 59:
            return self.unclear(text)
        if bare:
            hour += 12 if 0 < hour < 7 else 0
            return self.ask(f"{hour:02}:{minute:02}", text, "which", answer=f"{hour:02}:{minute:02}")
        return Reading(f"{hour:02}:{minute:02}", sure=True)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return (asked.now.strftime("%H:%M") if asked.now else "14:30",)
