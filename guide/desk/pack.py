"""``desk ship pack``: tags scanned or typed into a box, each judged at once, and reconciled at the end."""

import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from guide.counted import counted
from guide.desk.choose import REASONS
from guide.desk.lab import Lab
from guide.desk.shipments import (
    Item,
    Shipment,
    accept_first,
    by_tag,
    choose_again,
    find_shipment,
    items_of,
    must_be,
    not_packed,
    tags,
)
from guide.field.tags import is_valid
from guide.flow.replies.clean import clean
from guide.record.log import Entry
from guide.text_file import read_text_file

_OUT = re.compile(r"out\s+(.+)", re.I)
_LEAD = re.compile(r"(?:tag\s+)?#?\s*", re.I)
HELP = "Scan or type each tag. OUT 01428 takes one out again, LEFT says what is still missing, END (or Ctrl-D) ends."


@dataclass(frozen=True)
class Judged:
    """What was found about a code: ``ok``, ``out``, or why it doesn't belong into this box."""

    code: str
    verdict: str
    says: str


def run_pack(lab: Lab, word: str, file: Path | None, as_json: bool) -> int:
    """Packs tags from a file or standard input; returns 0 if the box then holds all that was planned, else 1."""
    shipment = find_shipment(lab, word)
    must_be(shipment, "planned", "packed")
    lines = read_text_file(file).split("\n") if file else _typed()
    talks = not as_json
    if talks and file is None and sys.stdin.isatty():
        print(HELP)
    judged = []
    for line in lines:
        words = clean(line)
        if words.casefold() == "end":
            break
        if words.casefold() == "left":
            print(_left(items_of(lab, shipment)))
        elif words:
            judged.append(_work(lab, shipment, words))
            if talks:
                _say(lab, shipment, judged[-1])
    return _reconcile(lab, shipment, judged, as_json)


def _typed() -> Iterator[str]:
    """Lines of standard input, with a prompt on a terminal; what isn't UTF-8 is a tag that isn't known."""
    if sys.stdin.isatty():
        while True:
            try:
                yield input("tag> ")
            except EOFError:
                print()
                return
    for raw in sys.stdin.buffer:
        yield raw[:200].decode("utf-8", "replace")


def _work(lab: Lab, shipment: Shipment, words: str) -> Judged:
    """Judges one line and writes what follows from it; two desks may pack the same box."""
    taken_out = _OUT.fullmatch(words)
    code = _LEAD.sub("", taken_out[1] if taken_out else words, count=1).strip()
    with lab.store.transaction():
        items = items_of(lab, shipment)
        item = by_tag(items).get(code.casefold())
        if taken_out:
            return _take_out(lab, shipment, item, code)
        if item is None or item.status == "void":
            return _foreign(lab, shipment, code)
        if not item.accepted:
            says = f"NOT ACCEPTED: its visit {item.visit} isn't, so lay it apart, frozen. {accept_first(item.visit)}"
            return Judged(code, "not_accepted", says)
        if not item.chosen:
            says = f"NOT CHOSEN any more, so lay it apart, frozen. {choose_again(shipment, item)}"
            return Judged(code, "not_chosen", says)
        if item.packed_at is not None:
            return Judged(code, "already", "ALREADY PACKED: is there a second slip with this tag?")
        lab.append([Entry("packed", "", {"shipment": shipment.uid}, sample_uid=item.uid)])
        return Judged(code, "ok", f"ok, {item.told()}{_not_frozen(item)}")


def _not_frozen(item: Item) -> str:
    """Nobody told that a larva was frozen: who packs it looks, and the record gets it or the lab is asked."""
    if not item.unfrozen:
        return ""
    return (
        f"; NOT FROZEN in the record: is it hard, and since when? Then desk fix {item.visit} frozen "
        f"'YYYY-MM-DD HH:MM' --reason WHY; else OUT {item.tag}, keep it cold and ask the lab"
    )


def _take_out(lab: Lab, shipment: Shipment, item: Item | None, code: str) -> Judged:
    if item is None or item.packed_at is None:
        return Judged(code, "not_in", "NOT IN THE BOX by the record: nothing was changed")
    lab.append([Entry("unpacked", "", {"shipment": shipment.uid}, sample_uid=item.uid)])
    return Judged(code, "out", f"out again, {item.told()}")


_WITH_TAG = (
    "SELECT sample.status, kind, visit.status AS visit_status, visit.site, practice, void_reason, left_out, "
    "(SELECT code FROM shipment_sample JOIN shipment ON shipment.uid = shipment_sample.shipment "
    " WHERE shipment_sample.sample = sample.uid) AS shipment FROM sample JOIN visit ON visit.uid = sample.visit "
    "LEFT JOIN choice ON choice.sample = sample.uid AND choice.site = visit.site "
    "WHERE visit.programme = ? AND tag = ? COLLATE NOCASE ORDER BY practice, sample.status != 'kept'"
)


def _foreign(lab: Lab, shipment: Shipment, code: str) -> Judged:
    """Why a code is not one of this box."""
    rows = lab.rows(_WITH_TAG, lab.settings.code, code)
    if rows:
        return _of_other_sample(code, rows[0])
    pool = lab.rows(
        "SELECT status, practice FROM tag WHERE programme = ? AND code = ? COLLATE NOCASE ORDER BY practice",
        lab.settings.code,
        code,
    )
    if pool and pool[0]["practice"]:
        return Judged(code, "practice", "PRACTICE: a practice tag never goes to the lab")
    if pool and pool[0]["status"] == "void":
        return Judged(code, "void", "VOID: the desk made this tag void, it must be on no sample")
    if pool:
        return Judged(code, "unused", "UNUSED: a tag of ours, but no sample has it: whose slip is this?")
    return Judged(code, "unknown", f"UNKNOWN: no sample has this tag{_digit_hint(lab, code)}")


def _of_other_sample(code: str, row: dict[str, Any]) -> Judged:
    if row["practice"]:
        return Judged(code, "practice", "PRACTICE: a practice sample never goes to the lab")
    if row["status"] == "void":
        return Judged(code, "void", f"VOID: this sample doesn't count ({str(row['void_reason']).replace('_', ' ')})")
    if row["shipment"]:
        return Judged(code, "elsewhere", f"NOT HERE: it belongs to shipment {row['shipment']}")
    if row["visit_status"] == "open":
        return Judged(code, "not_chosen", f"NOT CHOSEN: its visit at {row['site']} is not closed yet")
    if row["left_out"]:
        return Judged(code, "not_chosen", f"NOT CHOSEN: {_lower(REASONS.get(row['left_out'], row['left_out']))}")
    return Judged(code, "not_chosen", f"NOT CHOSEN: {row['kind'].replace('_', ' ')} of {row['site']}, in no plan yet")


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:].rstrip(".")


def _digit_hint(lab: Lab, code: str) -> str:
    tags = lab.settings.tags
    if tags.check and code.isdigit() and (len(code) != tags.width or not is_valid(code)):
        return ", and its check digit doesn't fit: read it once more"
    return ""


def _say(lab: Lab, shipment: Shipment, judged: Judged) -> None:
    """Each verdict at once, a bell with those that stop the hand."""
    count = ""
    if judged.verdict in ("ok", "out"):
        items = [item for item in items_of(lab, shipment) if item.status != "void"]
        count = f"  {sum(item.packed_at is not None for item in items)} of {len(items)}"
    bell = "\a" if sys.stdout.isatty() and judged.verdict not in ("ok", "out") else ""
    print(f"{bell}{judged.code}  {judged.says}{count}", flush=True)


def _left(items: list[Item]) -> str:
    left = not_packed(items)
    return f"Not packed yet: {tags(left)}" if left else "All are packed."


def _reconcile(lab: Lab, shipment: Shipment, judged: list[Judged], as_json: bool) -> int:
    items = items_of(lab, shipment)
    packed, left = [item for item in items if item.packed_at and item.status != "void"], not_packed(items)
    unfrozen = [item for item in packed if item.unfrozen]
    refused = [one for one in judged if one.verdict not in ("ok", "out")]
    if as_json:
        shown = [{"tag": one.code, "verdict": one.verdict} for one in judged]
        found = {"packed": [item.tag for item in packed], "left": [item.tag for item in left]}
        found["not_frozen"] = [item.tag for item in unfrozen]
        print(json.dumps({"shipment": shipment.code, **found, "lines": shown}, ensure_ascii=False))
        return 1 if left else 0
    print(f"\n{len(packed)} of {len(packed) + len(left)} packed in {shipment.code}.", end=" ")
    print(_left(items) if left else "Nothing is missing.")
    for item in left:
        print(f"  {item.tag}  {item.told()}")
    if unfrozen:
        print(f"NOT FROZEN in the record: {tags(unfrozen)}; desk fix VISIT frozen tells it, else ask the lab first")
    if void := [item for item in items if item.status == "void"]:
        print(f"Void since the plan, so not for this box: {tags(void)}")
    if refused:
        apart = sorted({one.code for one in refused if one.verdict != "already"})
        print(f"{counted(len(refused), 'line')} refused; lay apart: {', '.join(apart) or 'none'}")
    next_step = f"desk ship sent {shipment.code} --waybill NUMBER"
    print(f"Then: {next_step}" if not left else f"Find them, or send without them: {next_step}")
    return 1 if left else 0
