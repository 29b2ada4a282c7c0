"""Proves that a record is whole: chains rehashed, heads compared, projections folded again, triggers in place."""

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field

from guide.record.fold import fold
from guide.record.log import START, LogRow, row_hash, words_hash
from guide.record.schema import PROJECTION_TABLES, PROJECTIONS, TRIGGERS

_LOG = (
    "SELECT log.id, origin.uid, stream, seq, at, seat, turn, kind, step, sample_uid, data, supersedes, prev, hash "
    "FROM log JOIN origin ON origin.id = log.origin "
)


@dataclass
class Verified:
    """What was found: problems in words, counts, and the mark of each closed visit."""

    problems: list[str] = field(default_factory=list)
    entries: int = 0
    chains: int = 0
    marks: dict[str, str] = field(default_factory=dict)


def verify(db: sqlite3.Connection) -> Verified:
    """Checks a record that is open; changes nothing."""
    found = Verified()
    db.execute("BEGIN")
    try:
        _check_file(db, found)
        _check_triggers(db, found)
        heads = _check_chains(db, found)
        _check_heads(db, heads, found)
        _check_words(db, found)
        _check_projections(db, found)
    finally:
        db.execute("ROLLBACK")
    return found


def log_rows(db: sqlite3.Connection, order: str = "log.id") -> Iterator[LogRow]:
    """Every entry of the log."""
    for row in db.execute(f"{_LOG} ORDER BY {order}"):
        yield LogRow(*row)


def _check_file(db: sqlite3.Connection, found: Verified) -> None:
    for (word,) in db.execute("PRAGMA quick_check(5)"):
        if word != "ok":
            found.problems.append(f"the database file is damaged: {word}")


def _check_triggers(db: sqlite3.Connection, found: Verified) -> None:
    have = dict(db.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"))
    for name, sql in TRIGGERS.items():
        if have.get(name) != sql:
            found.problems.append(f"the trigger {name}, which keeps the log append-only, is gone or changed")
    found.problems += [f"there is a trigger {name} that is not ours" for name in sorted(set(have) - set(TRIGGERS))]
    for book_hash, text in db.execute("SELECT hash, toml FROM flow_book"):
        if hashlib.sha256(text.encode()).hexdigest() != book_hash:
            found.problems.append(f"the flow book {book_hash[:8]} was changed: its hash doesn't fit")


def _check_chains(db: sqlite3.Connection, found: Verified) -> dict[tuple[str, str], str]:
    heads: dict[tuple[str, str], str] = {}
    seqs: dict[tuple[str, str], int] = {}
    for row in log_rows(db, "origin, stream, seq"):
        found.entries += 1
        chain = (row.origin, row.stream)
        if row.seq != seqs.get(chain, 0) + 1:
            found.problems.append(f"entry {row.ref}: number {seqs.get(chain, 0) + 1} of its chain is missing")
        elif row.prev != heads.get(chain, START):
            found.problems.append(f"entry {row.ref} doesn't follow from the entry before it")
        if row_hash(row) != row.hash:
            found.problems.append(f"entry {row.ref} ({row.kind}, {row.at}) was changed: its hash doesn't fit")
        heads[chain], seqs[chain] = row.hash, row.seq
        if row.kind == "visit_closed":
            found.marks[row.stream] = row.hash[:8]
    found.chains = len(heads)
    return heads


def _check_heads(db: sqlite3.Connection, heads: dict[tuple[str, str], str], found: Verified) -> None:
    """The last turn of each visit remembers where its chain ended: a cut tail shows."""
    (origin,) = db.execute("SELECT uid FROM origin ORDER BY id LIMIT 1").fetchone()
    rows = db.execute(
        "SELECT stream, head_after, id FROM turn WHERE id IN "
        "(SELECT max(id) FROM turn WHERE stream IS NOT NULL GROUP BY stream)"
    )
    for stream, head, turn in rows:
        if heads.get((origin, stream)) != head:
            found.problems.append(
                f"the log of {stream} doesn't end where turn {turn} left it: entries were cut or added"
            )


def _check_words(db: sqlite3.Connection, found: Verified) -> None:
    rows = db.execute(
        "SELECT log.id, json_extract(data, '$.words'), salt, text, stream, seq FROM log "
        "LEFT JOIN words ON words.entry = log.id WHERE json_valid(data) AND json_extract(data, '$.words') IS NOT NULL"
    )
    for _, wanted, salt, text, stream, seq in rows:
        if salt is None:
            found.problems.append(f"the words of entry {stream}/{seq} are missing")
        elif text is not None and words_hash(salt, text) != wanted:
            found.problems.append(f"the words of entry {stream}/{seq} were changed")


def _check_projections(db: sqlite3.Connection, found: Verified) -> None:
    """Folds the whole log again in memory and compares each table with the one in the record."""
    again = sqlite3.connect(":memory:", isolation_level=None)
    again.executescript(PROJECTION_TABLES)
    again.executescript("CREATE TABLE origin (id, uid); CREATE TABLE log (id, origin, stream, seq, sample_uid);")
    again.executemany("INSERT INTO origin VALUES (?, ?)", db.execute("SELECT id, uid FROM origin"))
    again.executemany(
        "INSERT INTO log VALUES (?, ?, ?, ?, ?)",
        db.execute("SELECT id, origin, stream, seq, sample_uid FROM log"),
    )
    again.execute("CREATE INDEX log_sample ON log(sample_uid)")
    for row in log_rows(db):
        try:
            fold(again, row)
        except (sqlite3.Error, KeyError, TypeError, ValueError) as error:
            found.problems.append(f"entry {row.ref} can't be folded again: {error}")
    for table in PROJECTIONS:
        _compare(db, again, table, found)
    again.close()


def _compare(db: sqlite3.Connection, again: sqlite3.Connection, table: str, found: Verified) -> None:
    """``id`` columns are the machine's own numbering and are left out."""
    columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})") if row[1] != "id"]
    names = ", ".join(columns)
    sql = f"SELECT {names} FROM {table} ORDER BY {names}"
    have, want = db.execute(sql).fetchall(), again.execute(sql).fetchall()
    if have == want:
        return
    missing, extra = set(want) - set(have), set(have) - set(want)
    for row in sorted(extra, key=str)[:3] or sorted(missing, key=str)[:3]:
        shown = ", ".join(f"{name} {value}" for name, value in zip(columns, row, strict=True) if value is not None)
        found.problems.append(f"table {table} doesn't agree with the log: {shown[:200]}")
