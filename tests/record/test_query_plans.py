"""No statement of a talk looks through a whole table: a text costs the same however many visits a record holds."""

import re
import sqlite3
from typing import Any

from guide.record.store import Store
from tests.conftest import Field

GROWING = (
    "log", "turn", "outgoing", "sample", "sample_flag", "visit", "seat", "phone", "tag", "words", "timer", "safety",
)  # fmt: skip
"""Tables that grow with every visit."""
_SCAN = re.compile(r"SCAN (\w+)(?! USING (COVERING )?INDEX (outgoing_waiting|timer_due|visit_open|tag_free))")
"""Indexes named here hold only what is open, waiting or due."""

_WHOLE_POOL = "tag USING PRIMARY KEY (programme=? AND practice=?)"
"""A search that goes over every tag the programme ever had."""

_WORD = "SELECT word FROM visit"


class Recording(sqlite3.Connection):
    """A connection that remembers every statement."""

    statements: set[str]

    def execute(self, sql: str, values: Any = (), /) -> sqlite3.Cursor:
        self.statements.add(sql)
        return super().execute(sql, values)

    def executemany(self, sql: str, rows: Any, /) -> sqlite3.Cursor:
        self.statements.add(sql)
        return super().executemany(sql, rows)


def scans(db: sqlite3.Connection, sql: str) -> list[str]:
    """The growing tables that a statement looks through from end to end, by the names it gives them."""
    plan = [row[3] for row in db.execute(f"EXPLAIN QUERY PLAN {sql}", [None] * sql.count("?"))]
    found = [_SCAN.match(at) for at in plan]
    return [one[1] for one in found if one and one[1] in GROWING] + [at for at in plan if at.endswith(_WHOLE_POOL)]


def test_no_statement_of_a_talk_scans_a_table_that_grows(pond: Field) -> None:
    path = pond.rows("PRAGMA database_list")[0][2]
    db = sqlite3.connect(path, isolation_level=None, factory=Recording)
    db.statements = set()
    pond.db.close()
    pond.exchange.store = Store(db)
    a_long_day(pond)
    db.statements.discard(_WORD)
    found = {sql: scans(db, sql) for sql in sorted(db.statements) if sql.split()[0] in ("SELECT", "UPDATE", "DELETE")}
    assert len(found) > 50
    assert {sql: tables for sql, tables in found.items() if tables} == {}
    db.close()


def a_long_day(pond: Field) -> None:
    """Two pairs and a leader, every word that works anywhere, water, slips, a fix, a closed visit and the next one."""
    pond.until("larva.look")
    ((word,),) = pond.rows(_WORD)
    pond.converse("where", "?", "note wind from the west", "desk is this enough", "faster", "slower", "swap")
    pond.text(f"join {word}", "+200")
    pond.text(f"join {word} leader", "+300")
    pond.until("larva.measure")
    pond.converse("27", "back", "28", "darner", "where")
    pond.until("larva.look")
    pond.converse("fix 26", "fix family skimmer", "water")
    pond.until("larva.look")
    pond.converse("oops", "glove")
    pond.until("larva.look")
    for _ in range(3):
        pond.until("larva.bag")
        pond.until("larva.look")
    pond.converse("where", "27 darner 01428; 31 skimmer 01431", "thunder")
    pond.wait(40)
    pond.until("larva.look")
    pond.text("stop", "+200")
    pond.text("start", "+200")
    pond.text("danger", "+200")
    pond.until("close.end", "+300")
    pond.until("close.end")
    pond.converse("gear", "new")
    pond.wait(24 * 60)
