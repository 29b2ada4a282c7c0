"""The digest of a visit in the record."""

import json
import sqlite3
import zlib
from collections.abc import Sequence
from datetime import date

from guide.errors import RecordError
from guide.papers.digest_fields import SITE_MARKS, LarvaDigest, SitePlace, VisitDigest

_VISIT = (
    "SELECT visit.uid, code8, local_date, practice, visit.status, site, answers, settings FROM visit "
    "LEFT JOIN programme ON programme.uid = visit.programme "
)
_LARVAE = (
    "SELECT tag, length_mm, family, sure, status, "
    "(SELECT json_group_array(flag) FROM sample_flag WHERE sample = uid) "
    "FROM sample WHERE visit = ? AND kind = 'larva' ORDER BY rowid"
)
_OTHERS = "SELECT count(*) FROM sample WHERE visit = ? AND kind != 'larva' AND status = 'kept'"


def visit_digest(db: sqlite3.Connection, code8: str | None = None) -> VisitDigest:
    """The visit with this code, or the one begun last; raises RecordError if there is none.

    A practice visit is the last one only where there is no real one: a drill in the evening hides no day's work.
    """
    where = "WHERE code8 = ?" if code8 else "ORDER BY practice, opened_at DESC, visit.id DESC LIMIT 1"
    row = db.execute(_VISIT + where, (code8.strip().upper(),) if code8 else ()).fetchone()
    if row is None:
        raise RecordError(_no_visit(db, code8))
    uid, code, local_date, practice, status, site, answers, settings = row
    codes = [one["code"] for one in json.loads(settings or "{}").get("sites", [])]
    return VisitDigest(
        code8=code,
        local_date=date.fromisoformat(local_date),
        practice=bool(practice),
        closed=status == "closed",
        site=site_place(site, codes),
        empty_spots=int(json.loads(answers).get("empty_spots", 0)),
        others=db.execute(_OTHERS, (uid,)).fetchone()[0],
        larvae=tuple(
            LarvaDigest(
                tag, length_mm, family, None if sure is None else bool(sure), state, frozenset(json.loads(flags))
            )
            for tag, length_mm, family, sure, state, flags in db.execute(_LARVAE, (uid,))
        ),
    )


def _no_visit(db: sqlite3.Connection, code8: str | None) -> str:
    if code8 is None:
        return "there is no visit in this record yet"
    last = [code for (code,) in db.execute("SELECT code8 FROM visit ORDER BY opened_at DESC, id DESC LIMIT 3")]
    return f"there is no visit {code8} in this record; its last are {', '.join(last)}" if last else _no_visit(db, None)


def has_visit(db: sqlite3.Connection, code8: str) -> bool:
    """Whether the log of a visit is in this record."""
    return db.execute("SELECT 1 FROM visit WHERE code8 = ?", (code8,)).fetchone() is not None


def site_mark(code: str) -> int:
    """A short mark of a site's code, from its CRC-32: a reader whose list has another site in that place sees it."""
    return zlib.crc32(code.encode()) % SITE_MARKS


def site_place(code: str | None, codes: Sequence[str]) -> SitePlace | None:
    """Where a site stands in the programme's list; None for no site, or one that isn't in it."""
    return SitePlace(codes.index(code), site_mark(code)) if code in codes and code is not None else None
