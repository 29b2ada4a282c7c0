"""Good days to hand a shipment over, derived from calendars and explained.

How transit is counted: the hand-over is day 0, and each later day on which the carrier moves freight counts
one (``Rules.moving``; as it stands every weekday but the holidays of both carrier calendars, so a holiday
on the way makes the arrival later). A slip is one calendar day after the arrival, because ice melts on
holidays too. All days are local dates; the caller passes every holiday in. The carrier's and the lab's word
goes before these sums.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from types import MappingProxyType

MONDAY_TO_FRIDAY = frozenset({1, 2, 3, 4, 5})
EVERY_DAY = frozenset({1, 2, 3, 4, 5, 6, 7})

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

_ARRIVES, _SLIPS = "it would arrive on {arrival}, ", "a day late it would come on {slipped}, "
_HOLIDAY = "a holiday of "

# What would happen, how it is tied to what speaks against it, and that; {arrival} and {slipped} are filled with the
# dates of the ShipDay, {kind} with what follows the colon.
SAY = MappingProxyType(
    {
        "no_pick_up": ("", "", "the carrier doesn't pick up"),
        "pick_up_holiday": ("", _HOLIDAY, "the carrier"),
        "no_delivery": (_ARRIVES, "when ", "the carrier doesn't deliver"),
        "delivery_holiday": (_ARRIVES, _HOLIDAY, "the carrier"),
        "lab_shut": (_ARRIVES, "when ", "the lab doesn't receive"),
        "lab_holiday": (_ARRIVES, _HOLIDAY, "the lab"),
        "slip_no_delivery": (_SLIPS, "when ", "the carrier doesn't deliver"),
        "slip_delivery_holiday": (_SLIPS, _HOLIDAY, "the carrier"),
        "slip_lab_shut": (_SLIPS, "when ", "the lab doesn't receive"),
        "slip_lab_holiday": (_SLIPS, _HOLIDAY, "the lab"),
        "holding": (_ARRIVES, "when ", "the holding time of {kind} has run out"),
        "slip_holding": (_SLIPS, "when ", "the holding time of {kind} has run out"),
    }
)


@dataclass(frozen=True)
class Calendar:
    """Days on which somebody works: ISO 8601 weekdays (1 Monday to 7 Sunday) that are not holidays."""

    weekdays: frozenset[int] = MONDAY_TO_FRIDAY
    holidays: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        """Raises ValueError for no weekday or one outside 1 to 7."""
        if not self.weekdays or not self.weekdays <= EVERY_DAY:
            raise ValueError(f"weekdays are some of 1 (Monday) to 7 (Sunday), not {sorted(self.weekdays)}")

    def is_open(self, day: date) -> bool:
        """Whether somebody works on ``day``."""
        return day.isoweekday() in self.weekdays and day not in self.holidays


@dataclass(frozen=True)
class Deadline:
    """The moment by which the lab must have a kind of sample in hand; aware of its zone."""

    kind: str
    at: datetime


@dataclass(frozen=True)
class Rules:
    """What a hand-over day is judged by.

    ``pick_up`` is the carrier's calendar where the shipment starts, ``delivery`` the carrier's where the
    lab is, ``receiving`` the lab's. ``transit_days`` are moving days, 1 for overnight. ``received_by`` is
    the latest hour in the lab's zone at which a delivery of a day is worked on; a deadline is held against
    it, and needs ``lab_zone``.
    """

    pick_up: Calendar
    delivery: Calendar
    receiving: Calendar
    transit_days: int = 1
    moving: Calendar | None = None
    deadlines: tuple[Deadline, ...] = ()
    lab_zone: tzinfo | None = None
    received_by: time = time(17)

    def __post_init__(self) -> None:
        """Raises ValueError for negative transit days, or deadlines without the lab's or their own zone."""
        if self.transit_days < 0:
            raise ValueError(f"transit days must be 0 or more, not {self.transit_days}")
        if self.deadlines and self.lab_zone is None:
            raise ValueError("deadlines need the lab's zone")
        for deadline in self.deadlines:
            if deadline.at.utcoffset() is None:
                raise ValueError(f"the deadline of {deadline.kind} has no zone")


@dataclass(frozen=True)
class ShipDay:
    """One hand-over day: whether it is good, else the codes of every reason; when it arrives, on time and
    late.

    A code is a key of ``SAY``; one of holding times is followed by a colon and the kind, as ``slip_holding:water``.
    """

    day: date
    ok: bool
    reasons: tuple[str, ...]
    arrival: date
    slipped: date

    @property
    def transit_h(self) -> int:
        """Hours from hand-over day to arrival day by the calendar, for the dry ice; at least 24."""
        return max(1, (self.arrival - self.day).days) * 24


def holidays_of(by_region: Mapping[str, Collection[date]], region: str) -> frozenset[date]:
    """Holidays of a region and of the country it is in: of ``XA-N`` those under ``XA`` and under ``XA-N``.

    Regions are ISO 3166-2 codes, countries ISO 3166-1. Raises ValueError when there is nothing for the
    country or the region: no list is not the same as no holidays.
    """
    names = [region] if "-" not in region else [region.split("-")[0], region]
    missing = [name for name in names if name not in by_region]
    if missing:
        raise ValueError(f"no list of holidays for {' and '.join(missing)}; an empty one says there are none")
    return frozenset(day for name in names for day in by_region[name])


def arrival_day(day: date, rules: Rules) -> date:
    """The day a shipment handed over on ``day`` arrives if all goes well; see the module for the count."""
    moving = rules.moving or Calendar(EVERY_DAY, rules.pick_up.holidays | rules.delivery.holidays)
    left = rules.transit_days
    while left:
        day += timedelta(days=1)
        left -= moving.is_open(day)
    return day


def judge_day(day: date, rules: Rules) -> ShipDay:
    """Whether ``day`` is a good day to hand over, with every reason against it.

    Good: the carrier picks up; it delivers on the arrival day and the lab receives; the same a day later; and
    no holding time has run out by then. Sources: the programme's own rule; holding times after EPA Method
    1631E and 40 CFR 136 table II, as passed in.
    """
    arrival = arrival_day(day, rules)
    slipped = arrival + timedelta(days=1)
    reasons = (
        *_shut(rules.pick_up, day, "no_pick_up", "pick_up_holiday"),
        *_shut(rules.delivery, arrival, "no_delivery", "delivery_holiday"),
        *_shut(rules.receiving, arrival, "lab_shut", "lab_holiday"),
        *_shut(rules.delivery, slipped, "slip_no_delivery", "slip_delivery_holiday"),
        *_shut(rules.receiving, slipped, "slip_lab_shut", "slip_lab_holiday"),
        *_run_out(arrival, slipped, rules),
    )
    return ShipDay(day, not reasons, reasons, arrival, slipped)


def judge_days(first: date, days: int, rules: Rules) -> tuple[ShipDay, ...]:
    """``judge_day`` for ``days`` days from ``first`` on, good and bad, in order."""
    return tuple(judge_day(first + timedelta(days=n), rules) for n in range(days))


def good_days(first: date, days: int, rules: Rules) -> tuple[ShipDay, ...]:
    """The good days among ``days`` days from ``first`` on, in order."""
    return tuple(judged for judged in judge_days(first, days, rules) if judged.ok)


def explain(judged: ShipDay, holidays: Mapping[date, str] = MappingProxyType({})) -> str:
    """One plain sentence in English: that the day is good and when it arrives, or what speaks against it.

    A day without a pick-up needs no more said. ``holidays`` are names of holidays by day, said where a day is one.
    """
    dates = {"day": _said(judged.day), "arrival": _said(judged.arrival), "slipped": _said(judged.slipped)}
    if judged.ok:
        return "{day} is a good day: it arrives on {arrival}, a day late on {slipped}.".format(**dates)
    against: dict[str, dict[str, list[str]]] = {}
    for reason in judged.reasons:
        code, _, kind = reason.partition(":")
        what, tie, why = SAY[code]
        against.setdefault(what, {}).setdefault(tie, []).append(why.format(kind=kind))
    days = {"": judged.day, _ARRIVES: judged.arrival, _SLIPS: judged.slipped}
    shown = [""] if "" in against else [what for what in days if what in against]
    parts = [what.format(**dates) + _because(against[what], holidays.get(days[what], "")) for what in shown]
    return f"Not {dates['day']}: {'; '.join(parts)}."


def _because(ties: Mapping[str, list[str]], holiday: str) -> str:
    name = {_HOLIDAY: f" ({holiday})"} if holiday else {}
    return ", ".join(f"{tie}{_listed(whys)}{name.get(tie, '')}" for tie, whys in ties.items())


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _shut(calendar: Calendar, day: date, off_code: str, holiday_code: str) -> Iterator[str]:
    if day.isoweekday() not in calendar.weekdays:
        yield off_code
    elif day in calendar.holidays:
        yield holiday_code


def _run_out(arrival: date, slipped: date, rules: Rules) -> Iterator[str]:
    """Each kind once: run out even if all goes well, or only a day late."""
    said: dict[str, str] = {}
    for deadline in rules.deadlines:
        if deadline.at < datetime.combine(arrival, rules.received_by, rules.lab_zone):
            said[deadline.kind] = "holding"
        elif deadline.at < datetime.combine(slipped, rules.received_by, rules.lab_zone):
            said.setdefault(deadline.kind, "slip_holding")
    yield from (f"{code}:{kind}" for kind, code in said.items())


def _said(day: date) -> str:
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"
