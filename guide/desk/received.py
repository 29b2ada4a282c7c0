"""``desk ship received``: the lab's list of what it found, held against what was packed, differences both ways."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from pathlib import Path

from guide.counted import counted
from guide.desk.lab import DeskError, Lab
from guide.desk.read_csv import Row, TableError, read_rows
from guide.desk.shipments import Item, Shipment, by_tag, find_shipment, items_of
from guide.flow.replies.clean import clean
from guide.record.log import Entry

LONGEST_TAG = 40
OUTCOMES = {
    "received": ("", "ok", "good", "received", "intact", "frozen", "yes"),
    "damaged": ("damaged", "broken", "leaking", "torn", "open", "thawed", "warm"),
    "missing": ("missing", "not received", "absent", "no"),
}
_OUTCOME_OF = {word: outcome for outcome, words in OUTCOMES.items() for word in words}


@dataclass(frozen=True)
class Found:
    """What the lab's list says of one sample of ours."""

    item: Item
    outcome: str
    remark: str


@dataclass
class LabList:
    """A list held against a shipment: samples found, samples missing, codes nobody packed, tags without their zeros."""

    found: list[Found] = field(default_factory=list)
    missing: list[Item] = field(default_factory=list)
    extra: list[str] = field(default_factory=list)
    mended: list[str] = field(default_factory=list)

    def with_outcome(self, outcome: str) -> list[Found]:
        """What the list says in one way."""
        return [one for one in self.found if one.outcome == outcome]


def run_received(lab: Lab, word: str, file: Path, day: date, as_json: bool) -> int:
    """Keeps what the lab found and prints the differences; returns 0 if there is none, else 1."""
    shipment = find_shipment(lab, word)
    if shipment.status not in ("sent", "received"):
        raise DeskError(f"shipment {shipment.code} is {shipment.status}: the lab can't have it yet")
    if shipment.sent_on and day.isoformat() < shipment.sent_on:
        raise DeskError(f"{day} is before the day it was sent, {shipment.sent_on}")
    held = held_against(file, items_of(lab, shipment), lab.settings.tags.width)
    lab.write(list(_entries(shipment, held, day)))
    differs = bool(held.missing or held.extra or len(held.found) > len(held.with_outcome("received")))
    if as_json:
        print(json.dumps(_as_json(shipment, held), ensure_ascii=False))
    else:
        print("\n".join(_lines(lab, shipment, held, day)))
    return 1 if differs else 0


def held_against(file: Path, items: list[Item], width: int) -> LabList:
    """A lab's list against the samples of a shipment; raises InputFileError for a file that can't be used."""
    rows = read_rows(file, ["tag"], ["condition", "remark"])
    problems = list(_problems(rows))
    if problems:
        raise TableError(file, problems)
    ours, held = by_tag(items), LabList()
    told: dict[str, Found] = {}
    for row in rows:
        code = clean(row["tag"]).lstrip("#").strip()
        item = ours.get(code.casefold())
        if item is None and code.isdigit() and (item := ours.get(code.zfill(width))):
            held.mended.append(item.tag or code)
        if item is None:
            held.extra.append(code)
        elif item.uid in told:
            raise TableError(file, [f"row {row.number}: tag {item.tag} stands in the list twice"])
        else:
            told[item.uid] = Found(item, *_outcome(row))
    held.missing = [one for one in items if one.uid not in told or told[one.uid].outcome == "missing"]
    held.found = [one for one in told.values() if one.outcome != "missing"]
    return held


def _problems(rows: list[Row]) -> Iterator[str]:
    seen: dict[str, int] = {}
    for row in rows:
        code = clean(row["tag"]).lstrip("#").strip().casefold()
        if not code:
            yield f"row {row.number}: the tag is missing"
        elif len(code) > LONGEST_TAG:
            yield f"row {row.number}: {code[:12]}... is longer than a tag can be"
        elif code in seen:
            yield f"row {row.number}: tag {code} stands in row {seen[code]} too"
        elif meant := _meant(clean(row["condition"])):
            yield (
                f"row {row.number}: condition {clean(row['condition'])!r}: did you mean {meant}? Write that, or put "
                "the lab's own words under remark"
            )
        seen.setdefault(code, row.number)


def _meant(condition: str) -> str:
    """The word for a condition that a slip of the keys stands for; empty for a known one or the lab's own words."""
    word = condition.casefold()
    if word in _OUTCOME_OF:
        return ""
    return next(iter(get_close_matches(word, [known for known in _OUTCOME_OF if len(known) > 3], 1, 0.8)), "")


def _outcome(row: Row) -> tuple[str, str]:
    """What a row says, and its free words. A condition in the lab's own words is kept as a remark."""
    condition, remark = clean(row["condition"]), clean(row["remark"])
    outcome = _OUTCOME_OF.get(condition.casefold())
    if outcome is None:
        return "remark", "; ".join(filter(None, (condition, remark)))
    return ("remark", remark) if outcome == "received" and remark else (outcome, remark)


def _entries(shipment: Shipment, held: LabList, day: date) -> Iterator[Entry]:
    """One entry a sample, the lab's free words apart from the chain, and one for the whole list."""
    for one in held.found:
        data = {"shipment": shipment.uid, "outcome": one.outcome}
        yield Entry("lab_found", "", data, sample_uid=one.item.uid, words=one.remark or None)
    for item in held.missing:
        yield Entry("lab_found", "", {"shipment": shipment.uid, "outcome": "missing"}, sample_uid=item.uid)
    yield Entry("lab_received", "", {"shipment": shipment.uid, "day": day.isoformat(), "extra": sorted(held.extra)})


def _as_json(shipment: Shipment, held: LabList) -> dict[str, object]:
    return {
        "shipment": shipment.code,
        "received": [one.item.tag for one in held.with_outcome("received")],
        "damaged": [{"tag": one.item.tag, "remark": one.remark} for one in held.with_outcome("damaged")],
        "remarks": [{"tag": one.item.tag, "remark": one.remark} for one in held.with_outcome("remark")],
        "missing": [item.tag for item in held.missing],
        "extra": held.extra,
    }


def _lines(lab: Lab, shipment: Shipment, held: LabList, day: date) -> Iterator[str]:
    whole = len(held.found) + len(held.missing)
    yield f"{shipment.code}, received on {day}: {len(held.found)} of {counted(whole, 'sample')}."
    if held.mended:
        yield f"Zeros that a spreadsheet took off were put back: {', '.join(held.mended)}"
    for item in held.missing:
        yield f"MISSING  {item.tag}  {item.told()}, visit {item.visit}: packed here, not in the lab's list"
    for code in held.extra:
        yield f"EXTRA    {code}  {_who_has(lab, code)}"
    for one in held.with_outcome("damaged"):
        yield f"DAMAGED  {one.item.tag}  {one.item.told()}{f': {one.remark}' if one.remark else ''}"
    for one in held.with_outcome("remark"):
        yield f"REMARK   {one.item.tag}  {one.item.told()}: {one.remark}"
    if held.missing or held.extra:
        yield "Look into the cooler and its liner again with the lab before anything is thrown away."
    elif len(held.found) == len(held.with_outcome("received")):
        yield "Every tag on the sheet is in the cooler, and the reverse."


def _who_has(lab: Lab, code: str) -> str:
    """What the record knows of a code that nobody packed here."""
    rows = lab.rows(
        "SELECT code8, site, sample.status, practice FROM sample JOIN visit ON visit.uid = sample.visit "
        "WHERE programme = ? AND tag = ? COLLATE NOCASE ORDER BY practice",
        lab.settings.code,
        code,
    )
    if not rows:
        return "in the lab's list, but no sample of ours has this tag"
    if rows[0]["practice"]:
        return "in the lab's list, but it is a PRACTICE sample"
    return f"in the lab's list, not packed here: visit {rows[0]['code8']} at {rows[0]['site']}, {rows[0]['status']}"
