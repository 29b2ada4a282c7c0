"""Reminders on the way to the lab: the holding time of water, and the next good day to hand a cooler over.

They know weekdays, the days the settings name, and the holidays that the desk looked up when the programme was loaded.
Practice reminds nobody.
"""

from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from guide.flow.settings import Settings
from guide.talk.snapshot import SampleView
from guide.talk.turn import Turn

if TYPE_CHECKING:
    from guide.field.ship_days import Calendar

AHEAD_H = 12
"""So long before its holding time is over a water sample is spoken of."""

MORNING = time(8)
_LOOK_AHEAD_DAYS = 21


def remind_of_water(turn: Turn, sample: SampleView) -> None:
    """Begins the wait with the first bottle of a visit: its hours run out first."""
    bottles = [one for one in turn.samples().values() if one.kind.startswith("water") and one.status == "kept"]
    if sample.kind.startswith("water") and len(bottles) == 1 and not turn.visit.practice:
        turn.start_timer("holding", max(turn.settings.preserve_h - AHEAD_H, 0) * 60)


def remind_to_ship(turn: Turn) -> None:
    """At close: the morning of the next good day after today, if anything is to be shipped."""
    if turn.visit.practice or not any(one.status == "kept" for one in turn.samples().values()):
        return
    day = next_good_day(turn, turn.now.astimezone(turn.zone).date() + timedelta(days=1))
    if day is not None:
        due = datetime.combine(day, MORNING, turn.zone)
        turn.start_timer("ship_day", (due - turn.now).total_seconds() / 60)


def hands_over_today(turn: Turn) -> bool:
    """Whether a reminder that comes days late holds today; else it is set for the next good day."""
    today = turn.now.astimezone(turn.zone).date()
    day = next_good_day(turn, today)
    if day is not None and day != today:
        due = datetime.combine(day, MORNING, turn.zone)
        turn.start_timer("ship_day", (due - turn.now).total_seconds() / 60)
    return day == today


def next_good_day(turn: Turn, first: date) -> date | None:
    """The first day from ``first`` on which a cooler can be handed over, one day's slip allowed for."""
    from guide.field.ship_days import Rules, good_days

    carrier, lab = calendars(turn.settings)
    good = good_days(first, _LOOK_AHEAD_DAYS, Rules(carrier, carrier, lab, turn.settings.transit_days))
    return good[0].day if good else None


def calendars(settings: Settings) -> "tuple[Calendar, Calendar]":
    """When the carrier works and when the lab receives, with the holidays that the desk looked up."""
    from guide.field.ship_days import Calendar

    return (
        Calendar(frozenset(settings.carrier_days), _days(settings.carrier_closed, settings.carrier_rests)),
        Calendar(frozenset(settings.receiving_days), _days(settings.lab_closed, settings.lab_rests)),
    )


def _days(*given: tuple[str, ...]) -> frozenset[date]:
    return frozenset(date.fromisoformat(day) for days in given for day in days)
