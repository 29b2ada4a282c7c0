"""Dates and times of day."""

import re
from datetime import date, timedelta

from guide.flow.replies.amounts import digits_for_words
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import bare, plain, quote
from guide.flow.replies.kind import Kind
from guide.flow.replies.match import near

_MONTHS = "january february march april may june july august september october november december".split()
_WEEKDAYS = "monday tuesday wednesday thursday friday saturday sunday".split()
_DAYS = {
    **dict.fromkeys(("today", "tonight", "this morning", "this afternoon", "this evening"), 0),
    **dict.fromkeys(("yesterday", "yday"), -1),
    **dict.fromkeys(("tomorrow", "tomorow", "tommorow", "tommorrow", "tmrw", "tmr", "2morrow"), 1),
    "day after tomorrow": 2,
    "day before yesterday": -2,
}
_ISO = re.compile(r"(\d{4})(?:[-/. ](\d{1,2})[-/. ](\d{1,2})|(\d{2})(\d{2}))")
_NUMBERS = re.compile(r"(\d{1,2})[-/. ](\d{1,2})(?:[-/. ](\d{4}|\d{2}))?")
_ORDINAL = re.compile(r"(?<=\d)(?:st|nd|rd|th)\b")
_GLUED = re.compile(r"(?<=\d)(?=[a-z])|(?<=[a-z])(?=\d)")
_SMALL_WORDS = frozenset("the of on it was is its date day thanks ok please".split())
_CLOCK = re.compile(r"(\d{1,2})(?: ?[:.h,;-] ?(\d{2})(?::\d\d)?| (\d{2}))? ?([ap]|am|pm|[ap] m|h|hrs|hours|uhr)?")
_COMPACT = re.compile(r"(\d{1,2})(\d{2}) ?([ap]|am|pm|[ap] m|h|hrs|hours)?")
_PAST = re.compile(r"(half|quarter|\d{1,2}) (past|to) (\d{1,2}) ?([ap]|am|pm)?")
_AROUND = re.compile(
    r"\b(?:at|about|around|approx|ca|by|it is|it was|its|just|right|ok|okay|yes|today|o'?clock|o clock|thanks|please)\b"
    r"|(?<=\d)-?ish\b|(?<=m)-?ish\b|[~@?!\"=]"
)
_HALVES = {"in the morning": "am", "in the afternoon": "pm", "in the evening": "pm", "p.m": "pm", "a.m": "am"}
_LATEST_AFTERNOON = 7
"""A bare hour before it is in the afternoon: nobody samples at 2 at night."""


class Date(Kind):
    """A day, as an ISO date. ``4/7/2026`` may be April or July: asked."""

    name = "date"

    def _read(self, text: str, asked: Asked) -> Reading:
        said = bare(text).casefold().strip(" .!?\"',")
        if plain(said) in _DAYS:
            return self._counted(text, asked, _DAYS[plain(said)])
        said = " ".join(word for word in _ORDINAL.sub("", said).split() if word.strip(":") not in _SMALL_WORDS)
        if found := _ISO.fullmatch(said):
            return self._found(text, _day(int(found[1]), int(found[2] or found[4]), int(found[3] or found[5])))
        if (found := _NUMBERS.fullmatch(said)) and (found[3] or asked.now):
            year = int(found[3]) if found[3] else asked.now.year if asked.now else 0
            return self._in_numbers(text, int(found[1]), int(found[2]), year + 2000 if year < 100 else year)
        return self._in_words(text, plain(said), asked)

    def _counted(self, text: str, asked: Asked, days: int) -> Reading:
        if asked.now is None:
            return self.unclear(text)
        return Reading((asked.now.date() + timedelta(days=days)).isoformat(), sure=True)

    def _in_numbers(self, text: str, one: int, two: int, year: int) -> Reading:
        day_first, month_first = _day(year, two, one), _day(year, one, two)
        if day_first and month_first and day_first != month_first:
            return self.ask(day_first, text, "which", answer=day_first, other=month_first)
        return self._found(text, day_first or month_first)

    def _in_words(self, text: str, said: str, asked: Asked) -> Reading:
        words = _GLUED.sub(" ", said).split()
        weekdays = [_begun(word, _WEEKDAYS) for word in words if _begun(word, _WEEKDAYS)]
        months = [month for word in words if (month := _begun(word, _MONTHS) or _nearly(word))]
        numbers = [int(word) for word in words if word.isdecimal() and len(word) in (1, 2, 4)]
        if len(weekdays) == 1 and len(words) == 1:
            return self._weekday(text, weekdays[0], asked)
        known = len(months) + len(numbers) + len(weekdays)
        if len(months) != 1 or len(words) != known or not 0 < len(numbers) < 3 or len(weekdays) > 1:
            return self.unclear(text)
        if len(numbers) == 1 and asked.now is None:
            return self.unclear(text)
        day, year = (numbers[0], asked.now.year) if len(numbers) == 1 and asked.now else (min(numbers), max(numbers))
        if len(numbers) == 2 and words[-1] == str(numbers[1]) and 20 <= numbers[1] < 100:  # 4 July 26
            day, year = numbers[0], 2000 + numbers[1]
        found = _day(year, months[0], day)
        if found and weekdays and date.fromisoformat(found).isoweekday() != weekdays[0]:
            return self.unclear(text)
        if found and not any(_begun(word, _MONTHS) for word in words):
            return Reading(found, phrase="date.echo", blanks={"said": quote(text), "answer": found})
        return self._found(text, found)

    def _weekday(self, text: str, weekday: int, asked: Asked) -> Reading:
        """A weekday alone may be the coming one or the last: asked."""
        if asked.now is None:
            return self.unclear(text)
        today = asked.now.date()
        coming = today + timedelta(days=(weekday - today.isoweekday()) % 7)
        answer, other = coming.isoformat(), (coming - timedelta(days=7)).isoformat()
        return self.ask(answer, text, "which", answer=answer, other=other)

    def _found(self, text: str, day: str | None) -> Reading:
        return Reading(day, sure=True) if day else self.unclear(text)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return (asked.now.date().isoformat() if asked.now else "2026-07-04",)


def _begun(word: str, names: list[str]) -> int:
    """From 1 the place of the name that a word of three or more letters begins, else 0."""
    if word in ("sept", "tues", "weds", "thurs"):
        word = word[:3]
    return next((n for n, name in enumerate(names, 1) if len(word) > 2 and name.startswith(word)), 0)


def _nearly(word: str) -> int:
    """The month that a word is one slip of the thumb from, else 0."""
    found = near(word, {name: name for name in _MONTHS}) if word.isalpha() and not _begun(word, _WEEKDAYS) else []
    return _MONTHS.index(found[0]) + 1 if len(found) == 1 else 0


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
        fixed = {"noon": "12:00", "12 noon": "12:00", "midday": "12:00", "midnight": "00:00"}.get(words)
        if words in ("now", "just now", "right now") and asked.now is not None:
            fixed = asked.now.strftime("%H:%M")
        if fixed:
            return Reading(fixed, sure=True)
        said = bare(text).casefold()
        for phrase, half in _HALVES.items():
            said = said.replace(phrase, half)
        said = digits_for_words(" ".join(_AROUND.sub(" ", said).split()).strip(" .,").rstrip("-"))
        if found := _PAST.fullmatch(said):
            return self._past(text, found)
        if found := _COMPACT.fullmatch(said):
            return self._clock(text, said, int(found[1]), int(found[2]), (found[3] or "")[:1])
        if found := _CLOCK.fullmatch(said):
            minute = found[2] or found[3]
            if minute is None and found[4] in ("hrs", "hours"):
                return self.unclear(text)  # 2 hours is how long, not when
            return self._clock(text, said, int(found[1]), int(minute) if minute else None, (found[4] or "")[:1])
        return self.unclear(text)

    def _past(self, text: str, found: re.Match[str]) -> Reading:
        minutes = {"half": 30, "quarter": 15}.get(found[1]) or int(found[1])
        hour = int(found[3])
        if minutes % 5 or not 0 < minutes < 60 or not 0 < hour < 13 or (found[1], found[2]) == ("half", "to"):
            return self.unclear(text)
        if found[2] == "to":
            hour, minutes = hour - 1 or 12, 60 - minutes
        return self._clock(text, str(hour), hour, minutes, (found[4] or "")[:1])

    def _clock(self, text: str, said: str, hour: int, minute: int | None, half: str) -> Reading:
        """``half`` is a, p, h for 24 hours, or nothing: then an hour alone or a small one is asked."""
        if half in ("a", "p"):
            if not 0 < hour < 13:
                return self.unclear(text)
            hour = hour % 12 + (12 if half == "p" else 0)
        if hour > 23 or (minute or 0) > 59:
            return self.unclear(text)
        small = not half and 0 < hour < _LATEST_AFTERNOON and not said.startswith("0")
        answer = f"{hour + 12 if small else hour:02}:{minute or 0:02}"
        if small or (not half and minute is None):
            return self.ask(answer, text, "which", answer=answer)
        return Reading(answer, sure=True)

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return (asked.now.strftime("%H:%M") if asked.now else "14:30",)
