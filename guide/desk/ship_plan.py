"""What a shipment holds, the days on which it may go, its dry ice, and what to do before it leaves."""

import re
import sqlite3
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from guide.counted import counted
from guide.desk.calendars import carrier_calendar, lab_calendar
from guide.desk.lab import DeskError, Lab, SiteRow
from guide.field.dry_ice import Cooler, DryIce, dry_ice_for
from guide.field.ship_days import Deadline, Rules, ShipDay, explain, judge_days
from guide.field.windows import preserve_by
from guide.flow.settings import Settings
from guide.record.log import Entry

WATER = frozenset({"water", "water_blank", "water_duplicate"})
KIND_WORDS = {"larva": "larvae", "water": "water", "sediment": "sediment"}
_SAMPLES = (
    "SELECT sample.uid, sample.tag, kind, visit.site, code8 AS visit, length_mm, family, frozen_at, "
    "coalesce(sample.opened_at, sealed_at, outer_bagged_at, closed_at) AS taken_at "
    "FROM sample JOIN visit ON visit.uid = sample.visit LEFT JOIN choice ON choice.sample = sample.uid "
    "AND choice.site = visit.site WHERE visit.programme = ? AND visit.site = ? AND practice = 0 "
    "AND visit.status = 'closed' AND accepted_at IS NOT NULL AND sample.status = 'kept' "
    "AND sample.uid NOT IN (SELECT sample FROM shipment_sample) AND (kind != 'larva' OR (choice.sample IS NOT NULL AND "
    "left_out IS NULL)) ORDER BY kind, tag"
)
_NOT_ACCEPTED = (
    "SELECT code8, count(*) FROM sample JOIN visit ON visit.uid = sample.visit WHERE programme = ? AND site = ? "
    "AND practice = 0 AND visit.status = 'closed' AND accepted_at IS NULL AND sample.status = 'kept' "
    "AND sample.uid NOT IN (SELECT sample FROM shipment_sample) GROUP BY code8 ORDER BY code8"
)
_COOLER = re.compile(r"(\d{2,4})x(\d{2,4})x(\d{2,4})(?:x(\d{1,3}))?")
DEFAULT_COOLER = "350x250x280x60"


@dataclass(frozen=True)
class Going:
    """A sample that waits to go to the lab."""

    uid: str
    tag: str | None
    kind: str
    site: str
    visit: str
    length_mm: float | None
    family: str | None
    frozen_at: str | None
    taken_at: str | None

    @property
    def sort(self) -> str:
        """``larva``, ``water`` or ``sediment``; blanks and duplicates travel with the water."""
        return "water" if self.kind in WATER else self.kind


@dataclass(frozen=True)
class Box:
    """The shipping cooler, what its samples take in litres, and the warmest air on the way in Celsius."""

    cooler: Cooler
    inside_l: float
    ambient_c: float


@dataclass(frozen=True)
class ShipPlan:
    """A plan: its sites and samples, every day looked at, the dry ice for one day on the way, and holiday names."""

    sites: tuple[SiteRow, ...]
    going: tuple[Going, ...]
    days: tuple[ShipDay, ...]
    holidays: dict[date, str]
    deadlines: tuple[Deadline, ...]
    box: Box
    settings: Settings
    notes: tuple[str, ...]

    @property
    def counts(self) -> Counter[str]:
        """Samples by larva, water and sediment."""
        return Counter(one.sort for one in self.going)

    @property
    def frozen(self) -> bool:
        """Whether anything in it travels on dry ice."""
        return "larva" in self.counts or ("sediment" in self.counts and self.settings.sediment_frozen)

    def ice_for(self, day: ShipDay) -> DryIce:
        """The dry ice for a hand-over on a day."""
        return dry_ice_for(self.box.cooler, day.transit_h, self.box.inside_l, self.box.ambient_c)

    def day(self, wanted: date) -> ShipDay:
        """The judgement of one of the days looked at; raises DeskError for another."""
        for day in self.days:
            if day.day == wanted:
                return day
        raise DeskError(f"{wanted} is not among the days looked at: set --from and --days around it")


@dataclass(frozen=True)
class PlanWish:
    """What a plan is asked for: sites (none means all), sorts of samples (none means all), days and the cooler."""

    sites: tuple[SiteRow, ...]
    only: tuple[str, ...]
    first: date
    days: int
    box: Box


def box_of(cooler: str, inside_l: float, ambient_c: float) -> Box:
    """The box from ``LENGTHxWIDTHxHEIGHTxWALL`` in mm, as measured inside; raises DeskError."""
    found = _COOLER.fullmatch(cooler.casefold().replace(" ", ""))
    if not found or found[4] is None:
        raise DeskError(f"--cooler {cooler!r}: inner length, width, height and wall in mm, such as {DEFAULT_COOLER}")
    length, width, height, wall = (float(number) for number in found.groups())
    if min(length, width, height, wall) <= 0:
        raise DeskError(f"--cooler {cooler!r}: every size must be above 0 mm")
    if inside_l < 0:
        raise DeskError(f"--inside {inside_l:g}: the samples take 0 litres or more")
    return Box(Cooler(length, width, height, wall), inside_l, ambient_c)


def make_plan(lab: Lab, wish: PlanWish) -> ShipPlan:
    """A plan for the samples that wait at the sites; nothing is written. Raises DeskError if none waits."""
    sites = wish.sites or tuple(lab.sites().values())
    going = [Going(**row) for site in sites for row in lab.rows(_SAMPLES, lab.settings.code, site.code)]
    if wish.only:
        going = [one for one in going if one.sort in wish.only]
    notes = tuple(_waiting(lab, sites))
    if not going:
        raise DeskError(f"nothing waits to be shipped. {' '.join(notes) or 'No real, closed visit has samples left.'}")
    rules, holidays, deadlines = ship_rules(lab.settings, going, wish.first, wish.days)
    days = judge_days(wish.first, wish.days, rules)
    held = {one.site for one in going}
    shown = tuple(site for site in sites if site.code in held)
    return ShipPlan(shown, tuple(going), days, holidays, deadlines, wish.box, lab.settings, notes)


def ship_rules(
    settings: Settings, going: Iterable[Going], first: date, days: int
) -> tuple[Rules, dict[date, str], tuple[Deadline, ...]]:
    """The rules that days are judged by, the names of holidays, and when each sort's time is over at the lab."""
    years = range(first.year - 1, (first + timedelta(days=days + 60)).year + 1)
    carrier, carrier_names = carrier_calendar(settings, years)
    receiving, lab_names = lab_calendar(settings, years)
    deadlines = tuple(_deadlines(settings, going))
    rules = Rules(
        carrier, carrier, receiving, settings.transit_days, deadlines=deadlines, lab_zone=ZoneInfo(settings.lab_zone)
    )
    return rules, {**lab_names, **carrier_names}, deadlines


def _deadlines(settings: Settings, going: Iterable[Going]) -> Iterable[Deadline]:
    """The first of each sort to run out: water by its hours, frozen larvae by the lab's days where it sets any."""
    first: dict[str, datetime] = {}
    for one in going:
        if one.sort == "water" and one.taken_at:
            at = preserve_by(datetime.fromisoformat(one.taken_at), preserve_h=settings.preserve_h)
        elif one.sort == "larva" and settings.larvae_days and (since := one.frozen_at or one.taken_at):
            at = datetime.fromisoformat(since) + timedelta(days=settings.larvae_days)
        else:
            continue
        first[one.sort] = min(at, first.get(one.sort, at))
    return [Deadline(KIND_WORDS[sort], at) for sort, at in first.items()]


def _waiting(lab: Lab, sites: Sequence[SiteRow]) -> Iterable[str]:
    """Sites whose larvae wait for a choice, and visits that wait to be accepted."""
    sql = (
        "SELECT count(*) FROM sample JOIN visit ON visit.uid = sample.visit WHERE programme = ? AND site = ? "
        "AND practice = 0 AND visit.status = 'closed' AND sample.status = 'kept' AND kind = 'larva' "
        "AND sample.uid NOT IN (SELECT sample FROM choice WHERE choice.site = visit.site) "
        "AND sample.uid NOT IN (SELECT sample FROM shipment_sample)"
    )
    for site in sites:
        (count,) = lab.db.execute(sql, (lab.settings.code, site.code)).fetchone()
        if count:
            waits = f"{counted(count, 'larva', 'larvae')} of {site.name} {'waits' if count == 1 else 'wait'}"
            yield f"{waits} for a choice: desk choose --site {site.code}."
        for visit, number in lab.db.execute(_NOT_ACCEPTED, (lab.settings.code, site.code)):
            left = f"Left out: {counted(number, 'sample')} of visit {visit} at {site.name}, which is not accepted"
            yield f"{left}: desk visit {visit}, then desk accept {visit}."


_IN_SHIPMENT = (
    "SELECT sample.uid, tag, kind, visit.site, code8 AS visit, length_mm, family, frozen_at, "
    "coalesce(sample.opened_at, sealed_at, outer_bagged_at, closed_at) AS taken_at FROM shipment_sample "
    "JOIN sample ON sample.uid = shipment_sample.sample JOIN visit ON visit.uid = sample.visit "
    "WHERE shipment = ? AND packed_at IS NOT NULL ORDER BY kind, tag"
)


def judge_hand_over(lab: Lab, shipment: str, day: date) -> tuple[ShipDay, str]:
    """What a day is worth for what is packed in a shipment (its uid), and that in a sentence."""
    going = [Going(**row) for row in lab.rows(_IN_SHIPMENT, shipment)]
    rules, holidays, _ = ship_rules(lab.settings, going, day, 1)
    (judged,) = judge_days(day, 1, rules)
    return judged, explain(judged, holidays)


def keep_plan(lab: Lab, plan: ShipPlan, day: ShipDay, agreed: bool) -> str:
    """Keeps a plan as a shipment for a day; returns its code. Raises DeskError for a day that isn't good."""
    if not day.ok and not agreed:
        raise DeskError("that is no good day; with the lab's and the carrier's word, add --agreed")
    if plan.frozen and not plan.ice_for(day).fits:
        raise DeskError("the dry ice does not fit into this cooler, and nobody can agree to that: --cooler, or fewer")
    with lab.store.transaction():
        _check_free(lab, plan)
        code = _next_code(lab.db)
        data = {
            "shipment": f"{lab.store.origin}-{code.lower()}",
            "code": code,
            "programme": lab.settings.code,
            "day": day.day.isoformat(),
            "arrival": day.arrival.isoformat(),
            "dry_ice_kg": plan.ice_for(day).mark_kg if plan.frozen else 0,
            "agreed": agreed and not day.ok,
            "samples": [one.uid for one in plan.going],
        }
        lab.append([Entry("ship_planned", "", data)])
    return code


def _check_free(lab: Lab, plan: ShipPlan) -> None:
    """Two desks may plan at the same time."""
    held = {uid for (uid,) in lab.db.execute("SELECT sample FROM shipment_sample")}
    taken = [one.tag or one.uid for one in plan.going if one.uid in held]
    if taken:
        raise DeskError(f"another shipment took {', '.join(taken[:5])} meanwhile: plan again")


def _next_code(db: sqlite3.Connection) -> str:
    numbers = [int(code[1:]) for (code,) in db.execute("SELECT code FROM shipment") if code[1:].isdigit()]
    return f"S{max(numbers, default=0) + 1}"
