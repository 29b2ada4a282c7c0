"""A record with thousands of past visits, made fast: one visit is played, the others are copies of its rows by SQL.

The copies' chains don't verify, which no text looks at; everything else is as if they had been texted, over ten years,
from 500 phones.
"""

import sqlite3
from pathlib import Path

from guide.flow.model import FlowBook
from tests.bench.scene import Phones, new_exchange

GROUPS = 500
"""Phones that the past visits came from, in turn."""

_UID = "printf('past0000-p%07d', n)"
_TAG = "iif({0} IS NULL, NULL, printf('0%07d', n * 16 + CAST(substr({0}, 1, 6) AS INTEGER) - 100000))"
_SAMPLE = _UID + " || substr({0}, 18)"
_PHONE, _SEAT, _TURN = f"1 + n % {GROUPS}", "1 + n", "n * 1000 + "
_OTHERWISE = {
    "visit": {
        "id": "NULL", "uid": _UID, "code8": "printf('P%07d', n)", "word": "'w' || n",
        "site": "trim(substr('amberwellquill    harrow   sallow   ', 1 + n % 4 * 9, 9))",
        "local_date": "date('2026-07-04', -(n % 3650) || ' days')",
    },
    "seat": {"id": _SEAT, "visit": _UID, "phone": _PHONE, "join_word": "'j' || n"},
    "turn": {"id": f"{_TURN} id", "phone": _PHONE, "seat": _SEAT, "ext_id": "n || '-' || id", "stream": _UID},
    "outgoing": {"id": "NULL", "turn": f"{_TURN} turn", "phone": _PHONE, "seat": _SEAT, "status": "'sent'"},
    "log": {"id": "NULL", "stream": _UID, "turn": f"{_TURN} turn", "sample_uid": _SAMPLE.format("sample_uid")},
    "sample": {"uid": _SAMPLE.format("uid"), "visit": _UID, "tag": _TAG.format("tag")},
    "safety": {"entry": "NULL", "visit": _UID},
    "timer": {"id": "NULL", "seat": _SEAT, "fired_turn": f"{_TURN} 1"},
    "tag": {"code": _TAG.format("code"), "sample": _SAMPLE.format("sample")},
}  # fmt: skip
"""By table, what a copy has in place of the played visit's value; ``n`` counts the copies."""

_WHERE = {"tag": "status = 'used'", "log": "stream != 'desk'"}


def record_with_past(path: Path, book: FlowBook, visits: int) -> int:
    """Makes a record whose phones have so many closed visits behind them; returns the entries of its log."""
    exchange = new_exchange(path, book)
    phones, step = Phones(1), ""
    while step != "close.end":
        (text,) = phones.next_texts(1)
        outs = exchange.receive(text, phones.now)
        phones.heard(outs)
        step = outs[-1].step or ""
    db = exchange.store.db
    for setting in ("journal_mode = OFF", "foreign_keys = OFF", "cache_size = -500000", "temp_store = MEMORY"):
        db.execute(f"PRAGMA {setting}")
    db.execute("BEGIN")
    db.executemany("INSERT INTO phone (id, number) VALUES (?, ?)", [(i, f"+{999 + i}") for i in range(2, GROUPS + 1)])
    for table in _OTHERWISE:
        _copy(db, table, visits)
    db.execute("UPDATE phone SET current_seat = (SELECT max(id) FROM seat WHERE seat.phone = phone.id)")
    db.execute("COMMIT")
    db.execute("PRAGMA journal_mode = WAL")
    (entries,) = db.execute("SELECT count(*) FROM log").fetchone()
    db.close()
    return int(entries)


def _copy(db: sqlite3.Connection, table: str, visits: int) -> None:
    """Puts ``visits`` copies of the played visit's rows behind them."""
    db.execute(f"CREATE TEMP TABLE played AS SELECT * FROM {table} WHERE {_WHERE.get(table, 'TRUE')}")
    columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
    values = ", ".join(_OTHERWISE[table].get(column, f"played.{column}") for column in columns)
    db.execute(
        f"WITH RECURSIVE number(n) AS (VALUES (1) UNION ALL SELECT n + 1 FROM number WHERE n < ?) "
        f"INSERT INTO {table} ({', '.join(columns)}) SELECT {values} FROM number CROSS JOIN played",
        (visits,),
    )
    db.execute("DROP TABLE played")
