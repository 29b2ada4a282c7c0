"""Shipments in the record: found, listed, shown, sent and dropped."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from guide.counted import counted
from guide.desk.checklist import Load, cautions, checklist
from guide.desk.lab import DeskError, Lab, nearest
from guide.desk.ship_plan import WATER, judge_hand_over
from guide.desk.show import show_rows, table
from guide.flow.replies.clean import clean
from guide.record.log import Entry

_WAYBILL = re.compile(r"[A-Z0-9][A-Z0-9 ./-]{2,39}")
_ITEMS = (
    "SELECT shipment_sample.sample AS uid, tag, kind, visit.site, code8 AS visit, length_mm, family, packed_at, "
    "outcome, sample.status, frozen_at, accepted_at IS NOT NULL AS accepted, "
    "kind != 'larva' OR (choice.sample IS NOT NULL AND left_out IS NULL) AS chosen "
    "FROM shipment_sample JOIN sample ON sample.uid = shipment_sample.sample JOIN visit ON visit.uid = sample.visit "
    "LEFT JOIN choice ON choice.sample = sample.uid AND choice.site = visit.site "
    "WHERE shipment = ? AND practice = 0 ORDER BY kind, tag"
)

_PLANNED = (
    "SELECT data FROM log WHERE kind = 'ship_planned' AND stream = 'desk' AND json_extract(data, '$.shipment') = ? "
    "ORDER BY id LIMIT 1"
)
_FREE = "SELECT 1 FROM sample WHERE uid = ? AND status = 'kept' AND uid NOT IN (SELECT sample FROM shipment_sample)"


@dataclass(frozen=True)
class Shipment:
    """A shipment as the record keeps it. Days are local ISO dates; ``extra`` are codes the lab had beside ours."""

    uid: str
    code: str
    programme: str
    day: str
    arrival: str
    dry_ice_kg: int
    waybill: str | None
    sent_on: str | None
    received_on: str | None
    extra: str
    status: str

    @property
    def extra_tags(self) -> list[str]:
        """Codes that the lab found and nobody packed."""
        return [str(tag) for tag in json.loads(self.extra)]


@dataclass(frozen=True)
class Item:
    """A sample of a shipment; ``packed_at`` is empty for one that only is planned, ``outcome`` until the lab's list.

    ``accepted`` is whether its visit is, ``chosen`` whether it is for the site that its visit has now.
    """

    uid: str
    tag: str | None
    kind: str
    site: str
    visit: str
    length_mm: float | None
    family: str | None
    packed_at: str | None
    outcome: str | None
    status: str
    frozen_at: str | None
    accepted: int
    chosen: int

    @property
    def unfrozen(self) -> bool:
        """Whether it is a larva of which the record doesn't tell that it was frozen."""
        return self.kind == "larva" and self.frozen_at is None

    def told(self) -> str:
        """The sample in a few words: what it is, and where from."""
        size = f" {self.length_mm:g} mm" if self.length_mm else ""
        family = f" {self.family}" if self.family and self.family != "unsure" else ""
        return f"{self.kind.replace('_', ' ')}{size}{family}, {self.site}"


def shipments(lab: Lab) -> list[Shipment]:
    """The programme's shipments, in the order of their numbers."""
    sql = "SELECT * FROM shipment WHERE programme = ? ORDER BY length(code), code"
    return [Shipment(**row) for row in lab.rows(sql, lab.settings.code)]


def find_shipment(lab: Lab, word: str) -> Shipment:
    """The shipment with this code or uid; raises DeskError for none, or for a code that two machines gave."""
    known = shipments(lab)
    found = [one for one in known if word.casefold() in (one.code.casefold(), one.uid)]
    if not found:
        hint = nearest(word, [one.code for one in known]) if known else "; make one with desk ship plan"
        raise DeskError(f"there is no shipment {word!r}{hint}")
    if len(found) > 1:
        raise DeskError(f"two machines have a shipment {word}: name it as {' or '.join(one.uid for one in found)}")
    return found[0]


def items_of(lab: Lab, shipment: Shipment) -> list[Item]:
    """The samples of a shipment."""
    return [Item(**row) for row in lab.rows(_ITEMS, shipment.uid)]


def must_be(shipment: Shipment, status: str, to: str) -> None:
    """Raises DeskError unless a shipment stands at ``status``."""
    if shipment.status != status:
        raise DeskError(f"shipment {shipment.code} is {shipment.status}: it can't be {to}")


# List and show


def run_list(lab: Lab, as_json: bool) -> int:
    """Prints all shipments."""
    show_rows([_row(lab, one) for one in shipments(lab)], as_json, "No shipment yet: desk ship plan makes one.")
    return 0


def _row(lab: Lab, shipment: Shipment) -> dict[str, Any]:
    items = items_of(lab, shipment)
    return {
        "shipment": shipment.code,
        "status": shipment.status,
        "day": shipment.sent_on or shipment.day,
        "arrival": shipment.arrival,
        "samples": sum(item.status != "void" for item in items),
        "packed": sum(item.packed_at is not None and item.status != "void" for item in items),
        "missing": sum(item.outcome == "missing" for item in items) if shipment.received_on else None,
        "extra": len(shipment.extra_tags) if shipment.received_on else None,
        "dry_ice_kg": shipment.dry_ice_kg,
        "waybill": shipment.waybill,
    }


def run_show(lab: Lab, word: str, as_json: bool) -> int:
    """Prints one shipment: its samples, and before it is sent the checklist and the cautions."""
    shipment = find_shipment(lab, word)
    items = items_of(lab, shipment)
    rows = [_item_row(item) for item in items]
    if as_json:
        print(json.dumps({**_row(lab, shipment), "items": rows, "extra_tags": shipment.extra_tags}))
        return 0
    print("\n".join(table([_row(lab, shipment)])))
    if rows:
        print("\n".join(["", *table(rows)]))
    if shipment.extra_tags:
        print(f"\nThe lab found beside ours: {', '.join(shipment.extra_tags)}")
    if shipment.status == "planned":
        load = load_of(lab, shipment, items)
        print("\n".join(["", *(f"[ ] {step}" for step in checklist(load)), "", *cautions(load)]))
    return 0


def _item_row(item: Item) -> dict[str, Any]:
    return {
        "tag": item.tag,
        "kind": item.kind.replace("_", " "),
        "site": item.site,
        "visit": item.visit,
        "mm": item.length_mm,
        "family": None if item.family == "unsure" else item.family,
        "packed": item.packed_at is not None,
        "lab": item.outcome,
    }


def load_of(lab: Lab, shipment: Shipment, items: list[Item]) -> Load:
    """What a shipment holds, for the checklist."""
    return Load(
        sum(item.kind == "larva" for item in items),
        sum(item.kind in WATER for item in items),
        sum(item.kind == "sediment" for item in items),
        lab.settings.sediment_frozen,
        shipment.dry_ice_kg,
        lab.settings.lab,
    )


# Sent and dropped


@dataclass(frozen=True)
class HandedOver:
    """What is told of a hand-over: the waybill, the local day, today, and whether lab and carrier agreed to it."""

    waybill: str
    day: date
    today: date
    agreed: bool


def run_sent(lab: Lab, word: str, told: HandedOver, as_json: bool) -> int:
    """A shipment was handed to the carrier: what is packed is shipped, what is not stays and is said."""
    waybill, day = told.waybill, told.day
    shipment = find_shipment(lab, word)
    must_be(shipment, "planned", "sent")
    number = " ".join(clean(waybill).upper().split())
    if not _WAYBILL.fullmatch(number):
        raise DeskError(f"waybill {waybill!r}: letters, digits, spaces, dots and dashes, 3 to 40 of them")
    items = items_of(lab, shipment)
    packed = [item for item in items if item.packed_at is not None]
    stays = [item for item in items if item.packed_at is None]
    if not packed:
        raise DeskError(f"nothing is packed in {shipment.code} yet: desk ship pack {shipment.code}")
    if void := [item for item in packed if item.status == "void"]:
        raise DeskError(f"void since they were packed: {tags(void)}; take them out with OUT in desk ship pack")
    _must_be_fit(shipment, packed)
    arrival = _arrival(lab, shipment, told).isoformat()
    data = {"shipment": shipment.uid, "waybill": number, "day": day.isoformat(), "arrival": arrival}
    lab.write([Entry("shipped", "", data)])
    if as_json:
        print(json.dumps({**data, "sent": [item.tag for item in packed], "stays": [item.tag for item in stays]}))
        return 0
    print(f"{shipment.code} sent on {day} with waybill {number}: {counted(len(packed), 'sample')}.")
    if day.isoformat() != shipment.day:
        print(f"It was planned for {shipment.day}: tell the lab the new day, and that it should arrive on {arrival}.")
    if stays:
        print(f"Not packed, so still here and free for another shipment: {tags(stays)}")
    print(f"Tell the lab the waybill number. When its list comes: desk ship received {shipment.code} FILE.csv")
    return 0


def _arrival(lab: Lab, shipment: Shipment, told: HandedOver) -> date:
    """The day a shipment should arrive; raises DeskError for a day of hand-over that can't be or isn't good."""
    day = told.day
    if day > told.today:
        raise DeskError(f"{day} is still to come: desk ship sent is told when the carrier has it")
    if day.isoformat() == shipment.day:
        return date.fromisoformat(shipment.arrival)
    judged, says = judge_hand_over(lab, shipment.uid, day)
    if day.isoformat() < shipment.day and not told.agreed:
        raise DeskError(f"{day} is before the day of the plan, {shipment.day}: with the lab's word, add --agreed")
    if not judged.ok and not told.agreed:
        raise DeskError(f"{says} The plan has {shipment.day}. With the lab's and the carrier's word, add --agreed.")
    return judged.arrival


def run_unsent(lab: Lab, word: str, reason: str, as_json: bool) -> int:
    """A hand-over that was told wrongly is taken back, with what was left out then and is still free."""
    if not reason.strip():
        raise DeskError("taking a hand-over back needs its reason: --reason 'wrong day'")
    with lab.store.transaction():
        shipment = find_shipment(lab, word)
        must_be(shipment, "sent", "taken back")
        (text,) = lab.db.execute(_PLANNED, (shipment.uid,)).fetchone()
        plan = json.loads(text)
        free = [uid for uid in plan["samples"] if lab.db.execute(_FREE, (uid,)).fetchone()]
        data = {"shipment": shipment.uid, "arrival": plan["arrival"], "samples": free}
        lab.append([Entry("ship_unsent", "", data, words=reason.strip())])
    if as_json:
        print(json.dumps(data))
        return 0
    print(f"{shipment.code} is planned again, for {shipment.day}; what was packed is packed.")
    if free:
        print(f"In it again, not packed: {tags([item for item in items_of(lab, shipment) if item.uid in free])}")
    print("If the lab has the waybill number already, tell it.")
    return 0


def _must_be_fit(shipment: Shipment, packed: Sequence[Item]) -> None:
    """Raises DeskError for samples of a visit that the desk has not accepted, or chosen for a site no more."""
    waiting = sorted({item.visit for item in packed if not item.accepted})
    if waiting:
        raise DeskError(f"not accepted yet: visit {', '.join(waiting)}. {accept_first(waiting[0])}")
    if moved := [item for item in packed if not item.chosen]:
        raise DeskError(f"not chosen any more: {tags(moved)}. {choose_again(shipment, moved[0])}")


def accept_first(visit: str) -> str:
    """What to do about a visit that is not accepted."""
    return f"Look at it with desk visit {visit}, then desk accept {visit}, or with --anyway REASON"


def choose_again(shipment: Shipment, item: Item) -> str:
    """What to do about a larva in a plan that no choice for its site holds."""
    return (
        f"Its visit {item.visit} is of {item.site} now: desk ship drop {shipment.code}, desk choose --site "
        f"{item.site}, then desk ship plan again"
    )


def run_drop(lab: Lab, word: str, as_json: bool) -> int:
    """A plan that won't be: its samples are free for another one."""
    shipment = find_shipment(lab, word)
    must_be(shipment, "planned", "dropped")
    packed = [item for item in items_of(lab, shipment) if item.packed_at is not None]
    lab.write([Entry("ship_dropped", "", {"shipment": shipment.uid})])
    if as_json:
        print(json.dumps({"shipment": shipment.uid, "unpack": [item.tag for item in packed]}))
        return 0
    print(f"{shipment.code} is dropped; its samples are free for another shipment.")
    if packed:
        print(f"Take these out of the box: {tags(packed)}")
    return 0


def tags(items: list[Item]) -> str:
    """The tags of some samples, in one line."""
    return ", ".join(item.tag or item.uid for item in items)


def not_packed(items: list[Item]) -> list[Item]:
    """The samples that still belong into the box."""
    return [item for item in items if item.packed_at is None and item.status != "void"]


def by_tag(items: list[Item]) -> Mapping[str, Item]:
    """The samples of a shipment by their tags, in the form that is compared."""
    return {item.tag.casefold(): item for item in items if item.tag}
