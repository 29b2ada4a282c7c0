"""The day before: can water of that day reach the lab in time, and what the permit lets be taken."""

from collections.abc import Callable, Mapping
from datetime import date, datetime, time, timedelta

from guide.flow.registry import Blank
from guide.talk.lab import calendars
from guide.talk.turn import Turn

NOON = time(12)
OPENED = time(17)
"""When the lab has opened what came that day."""


def _day(turn: Turn) -> date:
    given = turn.answers.get("visit_day")
    return date.fromisoformat(given) if isinstance(given, str) else turn.now.date()


def water_in_time(turn: Turn, day: date) -> bool:
    """Taken at noon and handed over that day: is it opened at the lab before its hours are over?"""
    from guide.field.ship_days import Rules, arrival_day

    settings = turn.settings
    carrier, lab = calendars(settings)
    if not carrier.is_open(day):
        return False
    arrival = arrival_day(day, Rules(carrier, carrier, lab, settings.transit_days))
    last = datetime.combine(day, NOON) + timedelta(hours=settings.preserve_h)
    return carrier.is_open(arrival) and lab.is_open(arrival) and datetime.combine(arrival, OPENED) <= last


def _larvae_only(turn: Turn) -> None:
    turn.answers["bottles_skipped"] = 1
    turn.log("answer", {"bottles_skipped": 1})


def _arrived(turn: Turn) -> None:
    turn.log("arrived", {"local_date": turn.now.astimezone(turn.zone).date().isoformat()})


def _limit(turn: Turn) -> str:
    limit = turn.site.take_limit if turn.site else 0
    return f"Its limit: {limit} larvae. " if limit else ""


CONDITIONS: Mapping[str, Callable[[Turn], bool]] = {"water_in_time": lambda turn: water_in_time(turn, _day(turn))}

EFFECTS: Mapping[str, Callable[[Turn], None]] = {"larvae_only": _larvae_only, "arrived": _arrived}

BLANKS: Mapping[str, Blank] = {
    "visit_day": Blank(lambda turn: _day(turn).strftime("%a %d %b"), 10),
    "limit": Blank(_limit, 24),
}
