"""What ``expect`` lines may ask of the record at the end of a conversation, each against SQLite.

    expect visit closed                  the last visit is closed (or open)
    expect kept 12                       samples that count; also void, open
    expect slips 7                       contamination events
    expect slip TORN third_bag 1         those where this happened and this was the way back
    expect flag third_bag 1              samples with this flag
    expect family Aeshnidae 5            samples that count, of this family
    expect sample 01428 length_mm 27 family Aeshnidae status kept
    expect tag 01428 void                free, used or void
    expect log joined 1                  entries of this kind in the log
    expect answer in_water 0             an answer about the last visit
    expect in_water 0                    the same, shorter
    expect whole                         the record verifies

A space within a value is written ``_``; what isn't in the record is ``none``.
"""

import json
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from guide.errors import WadelineError
from guide.record.verify import verify

SAMPLE_FIELDS = ("length_mm", "family", "sure", "kind", "status", "void_reason", "gloves", "pace", "flags")


class PatternError(WadelineError):
    """An ``expect`` line can't be read; says how it is written."""


@dataclass(frozen=True)
class Check:
    """One thing the record can be asked: how many words it takes behind its own, an example, and what it finds.

    ``find`` gets the words and returns those that stand in the record, to be held against the words at the end.
    """

    takes: int
    like: str
    find: Callable[[sqlite3.Connection, list[str]], str]


def read_expect(words: list[str]) -> Check:
    """The check that an ``expect`` line asks for; raises PatternError."""
    if not words:
        raise PatternError(f"expect what? One of {', '.join(CHECKS)}; like: expect kept 12")
    check = CHECKS.get(words[0])
    if check is None:
        if len(words) != 2:
            raise PatternError(f"expect {words[0]}: not known. One of {', '.join(CHECKS)}, or an answer: in_water 0")
        return CHECKS["answer"]
    rest = words[1:]
    right = len(rest) >= 3 and len(rest) % 2 == 1 if words[0] == "sample" else len(rest) == check.takes
    if not right:
        raise PatternError(f"expect {words[0]} is written like: expect {check.like}")
    if words[0] == "sample" and (wrong := next((name for name in rest[1::2] if name not in SAMPLE_FIELDS), None)):
        raise PatternError(f"a sample has no {wrong}; it has {', '.join(SAMPLE_FIELDS)}")
    return check


def found_instead(db: sqlite3.Connection, words: list[str]) -> str | None:
    """What stands in the record instead of what an ``expect`` line wants; None if it is as wanted."""
    check = read_expect(words)
    rest = words if words[0] not in CHECKS else words[1:]
    found = check.find(db, rest)
    if words[0] == "sample":
        return None if found == " ".join(rest[1:]) else found
    wanted = rest[-1] if rest else ""
    return None if found == wanted else found


def _count(sql: str) -> Callable[[sqlite3.Connection, list[str]], str]:
    """Counts with a query whose marks are filled from the words before the wanted number."""
    return lambda db, words: str(db.execute(sql, words[:-1]).fetchone()[0])


def _with_status(status: str) -> Callable[[sqlite3.Connection, list[str]], str]:
    return _count(f"SELECT count(*) FROM sample WHERE status = '{status}'")


def _visit(db: sqlite3.Connection, words: list[str]) -> str:
    row = db.execute("SELECT status FROM visit ORDER BY id DESC LIMIT 1").fetchone()
    return row[0] if row else "no visit"


def _tag(db: sqlite3.Connection, words: list[str]) -> str:
    row = db.execute("SELECT status FROM tag WHERE code = ?", words[:1]).fetchone()
    return row[0] if row else "no such tag"


def _answer(db: sqlite3.Connection, words: list[str]) -> str:
    row = db.execute("SELECT answers FROM visit ORDER BY id DESC LIMIT 1").fetchone()
    return _plain(json.loads(row[0] if row else "{}").get(words[0], "no such answer"))


def _sample(db: sqlite3.Connection, words: list[str]) -> str:
    """The wanted fields of the sample with this tag, as the record has them."""
    columns = "length_mm, family, sure, kind, status, void_reason, gloves, pace"
    flags = "(SELECT group_concat(flag, ',') FROM (SELECT flag FROM sample_flag WHERE sample = uid ORDER BY flag))"
    sql = f"SELECT {columns}, {flags} FROM sample WHERE tag = ? ORDER BY rowid DESC LIMIT 1"
    row = db.execute(sql, words[:1]).fetchone()
    if row is None:
        return "no sample with this tag"
    have = dict(zip(SAMPLE_FIELDS, row, strict=True))
    return " ".join(f"{name} {_plain(have[name])}" for name in words[1::2])


def _plain(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value).replace(" ", "_")


def _whole(db: sqlite3.Connection, words: list[str]) -> str:
    return "; ".join(verify(db).problems)


CHECKS = {
    "visit": Check(1, "visit closed", _visit),
    "kept": Check(1, "kept 12", _with_status("kept")),
    "void": Check(1, "void 2", _with_status("void")),
    "open": Check(1, "open 0", _with_status("open")),
    "slips": Check(1, "slips 7", _count("SELECT count(*) FROM contamination")),
    "slip": Check(
        3, "slip TORN third_bag 1", _count("SELECT count(*) FROM contamination WHERE what = ? AND remedy = ?")
    ),
    "flag": Check(2, "flag third_bag 1", _count("SELECT count(*) FROM sample_flag WHERE flag = ?")),
    "family": Check(
        2, "family Aeshnidae 5", _count("SELECT count(*) FROM sample WHERE status = 'kept' AND family = ?")
    ),
    "sample": Check(3, "sample 01428 length_mm 27 status kept", _sample),
    "tag": Check(2, "tag 01428 used", _tag),
    "log": Check(2, "log joined 1", _count("SELECT count(*) FROM log WHERE kind = ?")),
    "answer": Check(2, "answer in_water 0", _answer),
    "whole": Check(0, "whole", _whole),
}
