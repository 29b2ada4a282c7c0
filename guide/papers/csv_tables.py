"""The tables of an export: their columns, the query behind each, and CSV that a spreadsheet can't be tricked by.

CSV after RFC 4180: commas, CRLF, quotes where needed, a head line; UTF-8 without a byte order mark. A text cell that
begins like a formula (``=``, ``+``, ``-``, ``@``, a tab, a line end, or their wide forms) gets an apostrophe in front,
and so does one that begins with an apostrophe: take one leading apostrophe off a text cell and it is as it was.
"""

import csv
import io
import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

_TRICKY = re.compile(r"['=+\-@\t\r\n\0＝＋－＠]")
DWC = "http://rs.tdwg.org/dwc/terms/"
"""Darwin Core terms, where one means what a column means."""


@dataclass(frozen=True)
class Column:
    """One column: its name, its Table Schema type, what it means, and a Darwin Core term that fits."""

    name: str
    type: str
    meaning: str
    term: str = ""
    needed: bool = False
    values: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """One table: its columns, the column that names a row, and the columns that point to another table."""

    name: str
    title: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    points: tuple[tuple[str, str, str], ...] = ()


_VISIT_ID = Column("visit_id", "string", "code of the visit", "eventID", needed=True)
_SITE = Column("site", "string", "code of the site", "locationID")
_TIMES = tuple(
    Column(f"{name}_at", "datetime", meaning)
    for name, meaning in (
        ("opened", "the talk asked for the bag (UTC; empty where it was not observed)"),
        ("sealed", "the inner bag was reported shut (UTC)"),
        ("outer_bagged", "the outer bag was reported shut (UTC)"),
        ("iced", "it was reported on ice (UTC)"),
        ("frozen", "it was reported in the freezer (UTC)"),
    )
)

SAMPLES = Table(
    "samples",
    "Samples: larvae, bottles of water, jars of sediment, blanks and duplicates",
    (
        _VISIT_ID,
        _SITE,
        Column("date", "date", "local day of the visit", "eventDate", needed=True),
        Column("pair", "string", "letter of the pair's seat in the visit", needed=True),
        Column("kind", "string", "larva, water, water_blank, water_duplicate or sediment", needed=True),
        Column("tag", "string", "code on the tag slip", "recordNumber"),
        Column("length_mm", "number", "head front to tail tip, through the bag, without legs and feelers, mm"),
        Column("family", "string", "family told through the bag; empty where unsure", "family"),
        Column("family_sure", "boolean", "whether the pair was sure", "identificationVerificationStatus"),
        Column("status", "string", "kept or void; open where nothing came after", values=("open", "kept", "void")),
        Column("flags", "string", "what to look at twice, separated by spaces"),
        *_TIMES,
        Column("shipped_at", "date", "local day it was handed to the carrier"),
        Column("void_reason", "string", "why it doesn't count"),
        Column("gloves", "string", "what is known of the gloves; not asked where nobody asked"),
        Column("pace", "string", "how closely the talk led: coach, steady or brisk"),
        Column("shipment", "string", "code of the shipment that holds it"),
        Column("lab_found", "string", "what the lab's list says: received, damaged, remark or missing"),
        Column("sample_id", "string", "the sample's own name in the record", "materialSampleID", needed=True),
        Column(
            "visit_status",
            "string",
            "standing of its visit; of one that is open the row may still change",
            values=("open", "closed", "accepted"),
        ),
    ),
    ("sample_id",),
    (("visit_id", "visits", "visit_id"),),
)

VISITS = Table(
    "visits",
    "Visits: one group at one site on one day",
    (
        _VISIT_ID,
        Column("programme", "string", "code of the programme", needed=True),
        _SITE,
        Column("site_name", "string", "name of the site", "locality"),
        Column("date", "date", "local day", "eventDate", needed=True),
        Column("zone", "string", "time zone of the site, IANA"),
        Column("latitude", "number", "decimal degrees, WGS 84", "decimalLatitude"),
        Column("longitude", "number", "decimal degrees, WGS 84", "decimalLongitude"),
        Column("permit", "string", "permit of the site"),
        Column("group", "string", "code of the group"),
        Column("kit", "string", "label of the kit"),
        Column("status", "string", "closed; open: its rows may still change", values=("open", "closed")),
        Column("opened_at", "datetime", "first text (UTC)", needed=True),
        Column("closed_at", "datetime", "close of the visit (UTC)"),
        Column("accepted_at", "datetime", "accepted at the desk after review (UTC)"),
        Column("target", "integer", "larvae wanted"),
        Column("larvae_kept", "integer", "larvae that count"),
        Column("larvae_void", "integer", "larvae that don't"),
        Column("slips", "integer", "contamination events reported"),
        Column("people", "integer", "people taking part"),
        Column("in_water", "integer", "people in the water"),
        Column("depth_m", "number", "deepest place stood at, m"),
        Column("water_c", "number", "water temperature, Celsius"),
        Column("empty_spots", "integer", "spots netted without a larva"),
        Column("mark", "string", "first 8 digits of the hash that the log had at the pair's own close"),
    ),
    ("visit_id",),
)

EVENTS = Table(
    "events",
    "Contamination events, fixes and flags",
    (
        _VISIT_ID,
        Column("at", "datetime", "when it was reported (UTC)", "eventDate", needed=True),
        Column("by", "string", "letter of the seat, or desk", needed=True),
        Column("event", "string", "contamination, fix, swap, void, flag or unflag", needed=True),
        Column("sample_id", "string", "the sample it is about"),
        Column("tag", "string", "that sample's tag now"),
        Column("what", "string", "what slipped, or the reason, or the flag"),
        Column("touched", "string", "whether it touched the larva or the inside of a bag"),
        Column("remedy", "string", "what was done"),
        Column("answer", "string", "which answer was put right"),
        Column("before", "string", "the answer before"),
        Column("after", "string", "the answer from then on"),
        Column("entry", "string", "the entry of the log", needed=True),
        Column("supersedes", "string", "the entry whose place it takes"),
    ),
    (),
    (("visit_id", "visits", "visit_id"),),
)

SHIPMENTS = Table(
    "shipments",
    "What went to the lab in which shipment, and what the lab found",
    (
        Column("shipment", "string", "code of the shipment", needed=True),
        Column("status", "string", "planned, sent or received", needed=True),
        Column("planned_for", "date", "day of hand-over by the plan"),
        Column("sent_on", "date", "local day of hand-over"),
        Column("received_on", "date", "local day of the lab's list"),
        Column("waybill", "string", "the carrier's number"),
        Column("dry_ice_kg", "integer", "dry ice by the plan, net kg"),
        Column("tag", "string", "code on the tag slip"),
        Column("kind", "string", "kind of sample"),
        Column("packed_at", "datetime", "when it was put into the box (UTC)"),
        Column("lab_found", "string", "received, damaged, remark, missing; extra for a code that nobody packed"),
        Column("visit_id", "string", "code of the visit", "eventID"),
        Column("sample_id", "string", "the sample's own name in the record", "materialSampleID"),
    ),
    (),
    (("sample_id", "samples", "sample_id"),),
)

TABLES = (SAMPLES, VISITS, EVENTS, SHIPMENTS)


@dataclass(frozen=True)
class Scope:
    """Which visits an export is about: those of a programme, practice or real, perhaps of one site or only one."""

    programme: str
    practice: bool
    site: str | None = None
    visit: str | None = None

    @property
    def where(self) -> str:
        """A condition on ``visit``."""
        parts = ["visit.programme = ?", "visit.practice = ?"]
        parts += ["visit.site = ?"] * (self.site is not None) + ["visit.uid = ?"] * (self.visit is not None)
        return " AND ".join(parts)

    @property
    def values(self) -> tuple[Any, ...]:
        """What the condition is filled with."""
        given = (self.site, self.visit)
        return (self.programme, int(self.practice), *(one for one in given if one is not None))

    @property
    def whole(self) -> bool:
        """Whether it is about every visit of its sort."""
        return self.site is None and self.visit is None


# Cells


def defused(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return f"'{text}" if _TRICKY.match(text) else text


def restored(cell: str) -> str:
    """The text as it was before ``defused``."""
    return cell[1:] if cell.startswith("'") else cell


def csv_lines(table: Table, rows: Iterable[Sequence[Any]], most: int = 400) -> Iterator[str]:
    """A table as CSV text, several lines at a time: the head, then the rows. Text cells are defused."""
    texts = [place for place, column in enumerate(table.columns) if column.type == "string"]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column.name for column in table.columns])
    tricky = _TRICKY.match
    for count, row in enumerate(rows, 1):
        cells = list(row)
        for place in texts:
            cell = cells[place]
            if cell is not None and tricky(cell):
                cells[place] = f"'{cell}"
        writer.writerow(cells)
        if count % most == 0:
            yield out.getvalue()
            out.seek(0)
            out.truncate()
    yield out.getvalue()


# Rows, each query a cursor that is read as it is written


def sample_rows(db: sqlite3.Connection, scope: Scope) -> Iterator[Sequence[Any]]:
    """The samples of the scope's visits. Whole millimetres are told without a decimal."""
    whole = "CAST(length_mm AS INTEGER)"
    return db.execute(
        "SELECT code8, visit.site, local_date, seat, kind, tag, "
        f"CASE WHEN length_mm = {whole} THEN {whole} ELSE length_mm END, nullif(family, 'unsure'), "
        "CASE sure WHEN 1 THEN 'true' WHEN 0 THEN 'false' END, sample.status, "
        "(SELECT group_concat(flag, ' ') FROM sample_flag WHERE sample_flag.sample = sample.uid), "
        "sample.opened_at, sealed_at, outer_bagged_at, iced_at, frozen_at, shipped_at, void_reason, gloves, pace, "
        "(SELECT code FROM shipment_sample JOIN shipment ON shipment.uid = shipment_sample.shipment "
        " WHERE shipment_sample.sample = sample.uid), "
        "(SELECT outcome FROM shipment_sample WHERE shipment_sample.sample = sample.uid), sample.uid, "
        "CASE WHEN accepted_at IS NULL THEN visit.status ELSE 'accepted' END "
        f"FROM sample CROSS JOIN visit ON visit.uid = sample.visit WHERE {scope.where} ORDER BY sample.rowid",
        scope.values,
    )


def visit_rows(db: sqlite3.Connection, scope: Scope) -> Iterator[Sequence[Any]]:
    """The visits of the scope. An answer that isn't a number where one is wanted is left out."""
    numbers = ", ".join(
        f"CASE WHEN json_type(answers, '$.{name}') IN ('integer', 'real') THEN json_extract(answers, '$.{name}') END"
        for name in ("people", "in_water", "depth_m", "water_c", "empty_spots")
    )
    count = "(SELECT count(*) FROM sample WHERE visit = visit.uid AND kind = 'larva' AND sample.status = '{}')"
    return db.execute(
        "SELECT code8, visit.programme, visit.site, name, local_date, zone, lat, lon, site.permit, group_code, "
        "CASE json_type(answers, '$.kit') WHEN 'text' THEN json_extract(answers, '$.kit') END, "
        f"status, opened_at, closed_at, accepted_at, target, {count.format('kept')}, {count.format('void')}, "
        f"(SELECT count(*) FROM contamination WHERE contamination.visit = visit.uid), {numbers}, "
        "(SELECT substr(hash, 1, 8) FROM log WHERE origin IN (SELECT id FROM origin) AND stream = visit.uid "
        " AND kind = 'visit_closed' AND seat != 'desk' ORDER BY id DESC LIMIT 1) "
        "FROM visit LEFT JOIN site ON site.programme = visit.programme AND site.code = visit.site "
        f"WHERE {scope.where} ORDER BY visit.id",
        scope.values,
    )


EVENT_KINDS = ("contamination", "fix", "swap", "void", "flag", "unflag")
_NOT_ANSWERS = ("words", "flags", "sure", "reason", "over")


def event_rows(db: sqlite3.Connection, scope: Scope) -> Iterator[Sequence[Any]]:
    """Contamination events, fixes and what else changed a sample's standing; a fix of two answers is two rows."""
    marks = ", ".join(f"'{kind}'" for kind in EVENT_KINDS)
    rows = db.execute(
        "SELECT code8, at, log.seat, log.kind, coalesce(sample_uid, contamination.sample), sample.tag, data, touched, "
        "remedy, origin.uid || '/' || stream || '/' || seq, supersedes "
        "FROM log CROSS JOIN visit ON visit.uid = log.stream JOIN origin ON origin.id = log.origin "
        "LEFT JOIN contamination ON contamination.entry = log.id "
        "LEFT JOIN sample ON sample.uid = coalesce(sample_uid, contamination.sample) "
        f"WHERE log.kind IN ({marks}) AND {scope.where} ORDER BY log.id",
        scope.values,
    )
    for *head, tag, text, touched, remedy, ref, supersedes in rows:
        data = json.loads(text)
        what = data.get("what") or data.get("reason") or data.get("flag")
        before = _data_of(db, supersedes) if supersedes else {}
        changed = [name for name in data if name not in _NOT_ANSWERS] if head[3] in ("fix", "swap") else [None]
        for name in changed or [None]:
            old, new = (_shown(before.get(name)), _shown(data[name])) if name else (None, None)
            yield (*head, tag, None if name else _shown(what), touched, remedy, name or "", old, new, ref, supersedes)


def _data_of(db: sqlite3.Connection, ref: str) -> dict[str, Any]:
    """The data of the entry with this reference."""
    origin, _, rest = ref.partition("/")
    stream, _, seq = rest.rpartition("/")
    row = db.execute(
        "SELECT data FROM log WHERE stream = ? AND seq = ? AND origin = (SELECT id FROM origin WHERE uid = ?)",
        (stream, seq, origin),
    ).fetchone()
    return dict(json.loads(row[0])) if row else {}


def _shown(value: Any) -> str | None:
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, float):
        return f"{value:g}"  # 27 mm told and 27 mm fixed read alike
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def shipment_rows(db: sqlite3.Connection, scope: Scope) -> Iterator[Sequence[Any]]:
    """The samples of the scope's visits that shipments hold; with all visits also what the lab had beside ours."""
    yield from db.execute(
        "SELECT code, shipment.status, day, sent_on, received_on, waybill, dry_ice_kg, tag, kind, packed_at, outcome, "
        "code8, sample.uid FROM shipment JOIN shipment_sample ON shipment_sample.shipment = shipment.uid "
        "JOIN sample ON sample.uid = shipment_sample.sample JOIN visit ON visit.uid = sample.visit "
        f"WHERE {scope.where} ORDER BY shipment.day, code, kind, tag",
        scope.values,
    )
    if scope.whole and not scope.practice:
        for *head, extra in db.execute(
            "SELECT code, status, day, sent_on, received_on, waybill, dry_ice_kg, extra FROM shipment "
            "WHERE programme = ? AND extra != '[]' ORDER BY day, code",
            (scope.programme,),
        ):
            for tag in json.loads(extra):
                yield (*head, tag, None, None, "extra", None, None)


ROWS = {"samples": sample_rows, "visits": visit_rows, "events": event_rows, "shipments": shipment_rows}
"""The rows of each table."""
