"""Which larvae of a site go to the lab: the candidates in the record, the exact choice, and keeping it."""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from guide.desk.lab import Lab, SiteRow
from guide.field.choosing import SAY, Specimen, choose
from guide.record.log import Entry

UNFIT = MappingProxyType(
    {
        "no_tag": "It has no tag.",
        "tag_twice": "Its tag is on two larvae: settle which one has it.",
        "at_lab": "It is at the lab already: the lab's list has it beside what was packed.",
        "provisional": "It is known from a digest only: the log itself must come first.",
    }
)
"""What keeps a larva out before lengths and families are looked at."""

REASONS = MappingProxyType({**SAY, **UNFIT})
"""Every reason for which a larva stays, as a sentence."""

_LARVAE = (
    "SELECT sample.uid, tag, length_mm, family, coalesce(sure, 0) AS sure, code8 AS visit, confirmed, accepted_at, "
    "(SELECT group_concat(flag, ' ') FROM sample_flag WHERE sample_flag.sample = sample.uid) AS flags, "
    "(SELECT code FROM shipment_sample JOIN shipment ON shipment.uid = shipment_sample.shipment "
    " WHERE shipment_sample.sample = sample.uid) AS shipment, "
    "(SELECT outcome FROM shipment_sample WHERE shipment_sample.sample = sample.uid) AS outcome, "
    "EXISTS (SELECT 1 FROM shipment, json_each(extra) WHERE shipment.programme = visit.programme "
    " AND json_each.value = tag COLLATE NOCASE) AS at_lab "
    "FROM sample JOIN visit ON visit.uid = sample.visit WHERE visit.programme = ? AND visit.site = ? "
    "AND practice = 0 AND visit.status = 'closed' AND kind = 'larva' AND sample.status = 'kept' "
    "ORDER BY tag, sample.uid"
)


@dataclass(frozen=True)
class Wishes:
    """How many at most, the shortest in mm, and how many a family needs."""

    most: int
    minimum_mm: float
    family_min: int


@dataclass(frozen=True)
class Larva:
    """A kept larva of a real, closed visit; ``shipment`` is the one that holds it, ``outcome`` what the lab said.

    ``at_lab`` is whether the lab found its tag beside what was packed.
    """

    uid: str
    tag: str | None
    length_mm: float | None
    family: str | None
    sure: int
    visit: str
    confirmed: int | None
    accepted_at: str | None
    flags: str | None
    shipment: str | None
    outcome: str | None
    at_lab: int

    @property
    def went(self) -> bool:
        """Whether it counts for the site already: in a shipment and not missing there, or found by the lab."""
        return bool(self.at_lab) or (self.shipment is not None and self.outcome != "missing")

    @property
    def specimen(self) -> Specimen:
        """What the choice looks at. A length that isn't above zero is none."""
        length_mm = self.length_mm if self.length_mm and self.length_mm > 0 else None
        family = None if self.family == "unsure" else self.family
        return Specimen(self.tag or "", length_mm, family, bool(self.sure), bool(self.flags))


@dataclass(frozen=True)
class SiteChoice:
    """The choice for a site: which go, which stay with the code of the reason, and what else should be known.

    ``stored_on`` is the day on which it was kept, None for one that only was asked for.
    """

    site: SiteRow
    wishes: Wishes
    chosen: tuple[Larva, ...]
    left_out: Mapping[Larva, str]
    notes: tuple[str, ...] = field(default=())
    stored_on: str | None = None

    def data(self, programme: str) -> dict[str, Any]:
        """What the log keeps of it."""
        return {
            "programme": programme,
            "site": self.site.code,
            "most": self.wishes.most,
            "minimum_mm": self.wishes.minimum_mm,
            "family_min": self.wishes.family_min,
            "chosen": sorted(larva.uid for larva in self.chosen),
            "left_out": {larva.uid: reason for larva, reason in self.left_out.items()},
        }


def choose_at(lab: Lab, site: SiteRow, wishes: Wishes) -> SiteChoice:
    """The exact choice among a site's larvae that no shipment holds; nothing is written."""
    larvae = _larvae(lab, site)
    free = [larva for larva in larvae if larva.shipment is None]
    unfit = _unfit(larvae, free)
    fit = {larva.tag or "": larva for larva in free if larva not in unfit}
    went = [larva for larva in larvae if larva.went]
    gone = Counter(family for larva in went if (family := larva.specimen.known_family))
    more = max(0, wishes.most - len(went))
    found = choose([larva.specimen for larva in fit.values()], more, wishes.minimum_mm, wishes.family_min, gone)
    left_out = unfit | {fit[tag]: reason for tag, reason in found.left_out.items()}
    ordered = dict(sorted(left_out.items(), key=lambda one: (one[0].tag or "", one[0].uid)))
    chosen = tuple(fit[tag] for tag in found.chosen)
    return SiteChoice(site, wishes, chosen, ordered, (*_went_note(wishes, went), *_notes(lab, site, larvae, chosen)))


def _went_note(wishes: Wishes, went: Sequence[Larva]) -> list[str]:
    """The sum: what went before counts for the site's number and for a family's fewest."""
    if not went:
        return []
    at_lab = sum(bool(larva.at_lab or larva.outcome) for larva in went)
    where = [f"{at_lab} at the lab already"] * bool(at_lab)
    where += [f"{len(went) - at_lab} in a shipment"] * bool(len(went) - at_lab)
    more = max(0, wishes.most - len(went))
    return [f"{' and '.join(where)}, counted with its family: {more} more of {wishes.most} may go"]


def stored_choice(lab: Lab, site: SiteRow) -> SiteChoice | None:
    """The choice kept last for a site, with the larvae as they are now; None if none was kept."""
    kept = _last_kept(lab, site)
    if kept is None:
        return None
    data, day = kept
    larvae = {larva.uid: larva for larva in _larvae(lab, site)}
    chosen = tuple(sorted((larvae[uid] for uid in data["chosen"] if uid in larvae), key=lambda larva: larva.tag or ""))
    left_out = {larvae[uid]: reason for uid, reason in data["left_out"].items() if uid in larvae}
    gone = len(data["chosen"]) - len(chosen)
    notes = [f"{gone} chosen then and no longer kept here"] if gone else []
    sent = Counter(larva.shipment for larva in chosen if larva.shipment)
    notes += [f"{count} of them in shipment {code}" for code, count in sorted(sent.items())]
    wishes = Wishes(data["most"], data["minimum_mm"], data["family_min"])
    return SiteChoice(site, wishes, chosen, left_out, tuple(notes), day)


def keep_choice(lab: Lab, choice: SiteChoice) -> bool:
    """Writes a choice into the log unless it is the one that stands there; True if it was written."""
    data = choice.data(lab.settings.code)
    kept = _last_kept(lab, choice.site)
    if kept is not None and kept[0] == data:
        return False
    lab.write([Entry("chosen", "", data)])
    return True


def _last_kept(lab: Lab, site: SiteRow) -> tuple[dict[str, Any], str] | None:
    sql = (
        "SELECT data, at FROM log WHERE kind = 'chosen' AND stream = 'desk' AND json_extract(data, '$.programme') = ? "
        "AND json_extract(data, '$.site') = ? ORDER BY id DESC LIMIT 1"
    )
    row = lab.db.execute(sql, (lab.settings.code, site.code)).fetchone()
    return (json.loads(row[0]), row[1][:10]) if row else None


def _larvae(lab: Lab, site: SiteRow) -> list[Larva]:
    return [Larva(**row) for row in lab.rows(_LARVAE, lab.settings.code, site.code)]


def _unfit(larvae: Sequence[Larva], free: Sequence[Larva]) -> dict[Larva, str]:
    tags = Counter(larva.tag for larva in larvae)
    unfit = {}
    for larva in free:
        if larva.at_lab:
            unfit[larva] = "at_lab"
        elif larva.confirmed == 0:
            unfit[larva] = "provisional"
        elif not larva.tag:
            unfit[larva] = "no_tag"
        elif tags[larva.tag] > 1:
            unfit[larva] = "tag_twice"
    return unfit


def _notes(lab: Lab, site: SiteRow, larvae: Sequence[Larva], chosen: Sequence[Larva]) -> list[str]:
    """What was not looked at, and what is not reviewed yet."""
    held = Counter(larva.shipment for larva in larvae if larva.shipment)
    notes = [f"{count} in shipment {code}, not looked at" for code, count in sorted(held.items())]
    sql = (
        "SELECT visit.status AS visit, sample.status AS sample, count(*) AS n FROM sample "
        "JOIN visit ON visit.uid = sample.visit WHERE visit.programme = ? AND site = ? AND practice = 0 "
        "AND kind = 'larva' GROUP BY 1, 2"
    )
    counts = {(row["visit"], row["sample"]): row["n"] for row in lab.rows(sql, lab.settings.code, site.code)}
    still_open = sum(n for (visit, _), n in counts.items() if visit == "open")
    if still_open:
        notes.append(f"{still_open} in a visit that is not closed, not looked at")
    if void := counts.get(("closed", "void")):
        notes.append(f"{void} void")
    waiting = sorted({larva.visit for larva in chosen if larva.accepted_at is None})
    if waiting:
        notes.append(f"not accepted yet: visit {', '.join(waiting)}")
    return notes
