"""``desk custody``: who held a visit's cooler when, and the ice, the seal and the freezer on the way.

Initials and other words stand apart from the log, which holds their salted hashes: ``desk forget`` blanks them.
"""

import json
import re
import sqlite3
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from guide.counted import counted
from guide.desk.show import show_rows
from guide.desk.visits import append_at_desk, visit_uid
from guide.errors import WadelineError
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.store import Store, stamp

FORGOTTEN_WORDS = "(forgotten)"
_INITIALS = re.compile(r"[^\W\d_]{1,5}")
_SEAL = re.compile(r"[A-Za-z0-9-]{1,20}")
_NONE = "Nothing is told of this visit's cooler yet. The pair texts FREEZE at its end, or add to it with --add AB"
_ENTRIES = (
    "SELECT log.kind, at, data, text, origin.uid || '/' || stream || '/' || seq AS ref, supersedes, step = 'desk.fix' "
    "FROM log JOIN origin ON origin.id = log.origin LEFT JOIN words ON words.entry = log.id WHERE stream = ? AND "
    "(log.kind IN ('custody', 'frozen', 'visit_closed') OR (log.kind IN ('answer', 'fix') "
    "AND (step LIKE 'freeze.%' OR step = 'desk.fix'))) "
    "ORDER BY log.id"
)


@dataclass(frozen=True)
class CustodyRow:
    """One thing told of the cooler: when (UTC, ISO 8601; a day where the hour is unknown), what, and words with it."""

    at: str
    what: str
    words: str


def custody(db: sqlite3.Connection, uid: str) -> list[CustodyRow]:
    """All that is told of a visit's cooler, in order of time."""
    told = db.execute(_ENTRIES, (uid,)).fetchall()
    replaced = {old for *_, old, _ in told if old}
    told_at: dict[str, str] = {}
    rows = []
    for kind, at, data, words, ref, old, at_desk in told:
        told_at[ref] = told_at.get(old, at)  # what was put right is told for the time it is about
        if ref not in replaced:
            found = _told(kind, told_at[ref], json.loads(data), words)
            rows += [row if not at_desk or kind != "fix" else _put_right(row) for row in found]
    shipped = "SELECT shipped_at, count(*) FROM sample WHERE visit = ? AND shipped_at IS NOT NULL GROUP BY 1"
    rows += [
        CustodyRow(at, "handed to the carrier", counted(count, "sample")) for at, count in db.execute(shipped, (uid,))
    ]
    return sorted(rows, key=lambda row: (row.at[:10], "T" not in row.at, row.at))


def _put_right(row: CustodyRow) -> CustodyRow:
    return replace(row, words=f"{row.words}, put right at the desk")


def _told(kind: str, at: str, data: dict[str, Any], words: str | None) -> Iterator[CustodyRow]:
    held = words if words is not None else FORGOTTEN_WORDS
    if kind == "custody":
        at = data.get("since") or at
        yield CustodyRow(at, "has the cooler", held)
        if "seal" in data:
            yield CustodyRow(at, "seal on the cooler", data["seal"])
    elif kind == "visit_closed":
        yield CustodyRow(at, "visit closed, cooler with the group", "")
    elif kind == "frozen":
        yield CustodyRow(data.get("at", at), "in the freezer", "told at the desk" if "at" in data else "")
    else:
        yield from (CustodyRow(at, *found) for name in data if (found := _answered(name, data[name], held)) is not None)


def _answered(name: str, value: Any, words: str) -> tuple[str, str] | None:
    """What an answer on the way to the freezer tells; None for one that tells nothing of the cooler."""
    return {
        "custody": ("has the cooler", words),
        "seal_number": ("seal on the cooler", words),
        "freezer": ("freezer", words),
        "ice_ok": ("ice looked at", "ice left, bags cold" if value is True else "too warm: fresh ice"),
        "freezer_c": ("freezer's thermometer", f"{value} C"),
        "thawed_at": ("found thawed", str(value)),
    }.get(name)


@dataclass(frozen=True)
class HandOver:
    """A hand-over to add: initials, local time at the site (None: now), the seal's number."""

    initials: str
    at: str | None
    seal: str | None


def add_hand_over(record: Path, code: str, given: HandOver) -> None:
    """Writes down who took the cooler over."""
    store = Store(open_record(record, create=False))
    uid = visit_uid(store.db, code)
    initials = given.initials.replace(".", "").strip()
    if not _INITIALS.fullmatch(initials):
        raise WadelineError(f"{given.initials!r}: initials only, up to 5 letters such as AB; no names")
    data = {"custody": "words"}
    if given.seal:
        if not _SEAL.fullmatch(given.seal):
            raise WadelineError(f"{given.seal!r}: a seal's number has up to 20 letters, digits and hyphens")
        data["seal"] = given.seal
    now = datetime.now(UTC)
    if given.at:
        data["since"] = time_at_site(given.at, _zone(store.db, uid), now, "--at")
    with store.transaction():
        append_at_desk(store, uid, [Entry("custody", "desk.custody", data, words=initials)], now)


def _zone(db: sqlite3.Connection, uid: str) -> ZoneInfo:
    row = db.execute(
        "SELECT zone FROM visit JOIN site ON site.programme = visit.programme AND site.code = visit.site "
        "WHERE visit.uid = ?",
        (uid,),
    ).fetchone()
    return ZoneInfo(row[0] if row else "UTC")


def time_at_site(text: str, zone: ZoneInfo, now: datetime, what: str) -> str:
    """A past time in the site's zone as the log keeps it; raises WadelineError, which calls it ``what``."""
    try:
        at = datetime.fromisoformat(text)
        at = at if at.tzinfo else at.replace(tzinfo=zone)
        if not 2000 <= at.year < 2100:
            raise ValueError
    except ValueError:
        raise WadelineError(f"{what} {text!r} must be a time at the site, such as '2026-07-04 18:30'") from None
    if at > now:
        raise WadelineError(f"{what} {text!r} is still to come; write down what has happened")
    return stamp(at)


def show_custody(record: Path, code: str, as_json: bool) -> int:
    """Prints who held the cooler when, in the site's own time."""
    db = open_record(record, create=False)
    uid = visit_uid(db, code)
    rows = custody(db, uid)
    if as_json:
        show_rows([asdict(row) for row in rows], True, _NONE)
        return 0
    zone = _zone(db, uid)
    shown = [{"when": _local(row.at, zone), "what": row.what, "who_or_words": row.words or None} for row in rows]
    show_rows(shown, False, _NONE)
    return 0


def _local(at: str, zone: ZoneInfo) -> str:
    if "T" not in at:
        return at
    return datetime.fromisoformat(at).astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")
