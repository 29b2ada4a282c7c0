"""What the papers about a visit say of it: places, times in the site's zone, samples in a reader's words."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from guide.desk.acts import called
from guide.desk.visits import UNSURE, Sample, Visit
from guide.field.families import everyday
from guide.record.fold import CLOSED_BY

NOT_CLOSED = "NOT CLOSED: this visit was still open when this was made. What is told of it may still change."

KINDS = {
    "larva": "larva",
    "water": "water",
    "water_blank": "field blank",
    "water_duplicate": "water, duplicate",
    "sediment": "sediment",
}


@dataclass(frozen=True)
class Place:
    """A site: its code, name, time zone, decimal degrees (None where not told) and permit."""

    code: str
    name: str
    zone: str = "UTC"
    lat: float | None = None
    lon: float | None = None
    permit: str = ""

    @property
    def position(self) -> str:
        """The place on the map as text; empty where it isn't known."""
        if self.lat is None or self.lon is None:
            return ""
        return (
            f"{abs(self.lat):.5f} {'N' if self.lat >= 0 else 'S'}, {abs(self.lon):.5f} {'E' if self.lon >= 0 else 'W'}"
        )


@dataclass(frozen=True)
class VisitFacts:
    """A loaded visit with its place, the programme's name, the hash at its close, and the log's last hash."""

    visit: Visit
    place: Place
    programme: str
    head: str
    closing: str = ""

    def clock(self, at: datetime | None) -> str:
        """A time of day at the site; with the day where it is another one than the visit's."""
        if at is None:
            return ""
        local = at.astimezone(ZoneInfo(self.place.zone))
        same = local.date().isoformat() == self.visit.local_date
        return f"{local:%H:%M}" if same else f"{local.day} {local:%b %H:%M}"

    @property
    def standing(self) -> str:
        """Open, closed (by the pair or at the desk) or accepted, as papers say it."""
        if self.visit.status == "open":
            return "OPEN: not closed yet"
        if self.visit.accepted_at:
            return "accepted at the desk"
        return "closed at the desk" if self.visit.answers.get(CLOSED_BY) == "desk" else "closed"

    @property
    def notices(self) -> list[str]:
        """What must be known before anything else on a paper is read."""
        found = [NOT_CLOSED] if self.visit.status == "open" else []
        if self.visit.put_right:
            names = ", ".join(called(name).replace("_", " ") for name in self.visit.put_right)
            found.append(f"Put right at the desk after the visit: {names}.")
        return found

    @property
    def mark(self) -> str:
        """The first digits of the hash at the close, as the pair was told it; empty for a visit that is open."""
        return self.closing[:8]

    @property
    def tally(self) -> list[tuple[str, int]]:
        """Kept larvae by family, the most first; those not named for sure at the end."""
        counts = Counter(family_of(larva) for larva in self.visit.larvae)
        unsure = counts.pop("", 0)
        return [*sorted(counts.items(), key=lambda one: (-one[1], one[0])), *([("unsure", unsure)] if unsure else [])]


def family_of(sample: Sample) -> str:
    """The family told for sure; empty for none, or one that isn't sure."""
    return sample.family if sample.family and sample.family != UNSURE and sample.sure else ""


def family_words(sample: Sample) -> str:
    """The family in a reader's words, with a question mark where the pair was not sure."""
    if sample.family is None:
        return ""
    if sample.family == UNSURE:
        return "unsure"
    return f"{sample.family} ({everyday(sample.family)}){'' if sample.sure else ' ?'}"


def with_everyday(family: str) -> str:
    """A family with its everyday word."""
    return family if family == "unsure" else f"{family} ({everyday(family)})"


def number(value: float | None) -> str:
    """A length or another number without needless digits."""
    return "" if value is None else f"{value:g}"


def standing(sample: Sample) -> str:
    """Kept, or void and why, and its flags."""
    flags = ", ".join(flag.replace("_", " ") for flag in sample.flags)
    if sample.status == "void":
        return f"VOID: {(sample.void_reason or 'no reason told').replace('_', ' ')}"
    return flags if sample.status == "kept" else f"{sample.status.upper()} {flags}".strip()
