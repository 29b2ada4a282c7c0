"""Proves that a record is whole: chains rehashed, heads compared, projections folded again, triggers in place."""

import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from guide.record.books import is_true
from guide.record.fold import fold
from guide.record.hand_flags import KINDS as FLAGGED
from guide.record.log import START, LogRow, row_hash, words_hash
from guide.record.schema import PROJECTION_TABLES, PROJECTIONS, TRIGGERS
from guide.record.store import DESK
from guide.record.visit_answers import TOLD_BY

_LOG = (
    "SELECT log.id, origin.uid, stream, seq, at, seat, turn, kind, step, sample_uid, data, supersedes, prev, hash "
    "FROM log JOIN origin ON origin.id = log.origin "
)


_LOG_AGAIN = """
CREATE TABLE origin (id, uid); CREATE TABLE log (id, origin, stream, seq, sample_uid, data, supersedes, kind);
CREATE INDEX log_sample ON log(sample_uid); CREATE INDEX log_ref ON log(stream, seq);
CREATE INDEX log_supersedes ON log(supersedes);
"""
_LOOKED_UP = (
    "WITH old AS (SELECT supersedes AS ref FROM log WHERE supersedes IS NOT NULL), "
    "put_right AS (SELECT stream FROM log WHERE kind = 'fix' AND sample_uid IS NULL) "
    "SELECT log.id, origin, stream, seq, sample_uid, data, supersedes, kind FROM log "
    "JOIN origin ON origin.id = log.origin "
    "WHERE supersedes IS NOT NULL OR origin.uid || '/' || stream || '/' || seq IN (SELECT ref FROM old) "
    f"OR kind IN {FLAGGED} OR (stream IN put_right AND sample_uid IS NULL AND kind IN {TOLD_BY})"
)
"""What ``fold`` looks up in the log: entries that take another's place, those whose place was taken, flags set or taken
off, and of visits that the desk put right all that was told of the visit."""

_TAGS = (
    "SELECT sample.uid, sample.tag, visit.programme, tag.status, tag.sample, owner.tag "
    "FROM sample JOIN visit ON visit.uid = sample.visit "
    "LEFT JOIN tag ON tag.programme = visit.programme AND tag.practice = visit.practice AND tag.code = sample.tag "
    "LEFT JOIN sample AS owner ON owner.uid = tag.sample "
    "WHERE sample.status = 'kept' AND sample.tag IS NOT NULL "
    "AND NOT (tag.status IS 'used' AND tag.sample IS sample.uid)"
)

Watch = Callable[[Iterable[LogRow], int, str], Iterable[LogRow]]
"""Hands on entries as they are worked and may show how many of the total are done."""


def unwatched(rows: Iterable[LogRow], total: int, label: str) -> Iterable[LogRow]:
    """Shows nothing."""
    return rows


@dataclass
class Verified:
    """What was found: problems in words, doubts that are no damage, counts, and the mark of each closed visit."""

    problems: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    entries: int = 0
    chains: int = 0
    marks: dict[str, str] = field(default_factory=dict)
    forgotten: int = 0


def verify(db: sqlite3.Connection, watch: Watch = unwatched) -> Verified:
    """Checks a record that is open; changes nothing."""
    found = Verified()
    db.execute("BEGIN")
    try:
        (total,) = db.execute("SELECT count(*) FROM log").fetchone()
        _check_file(db, found)
        _check_triggers(db, found)
        _check_books(db, found)
        heads = _check_chains(watch(log_rows(db, "origin, stream, seq"), total, "chains"), found)
        _check_heads(db, heads, found)
        _check_words(db, found)
        _check_projections(db, watch(log_rows(db), total, "tables"), found)
        _check_tags(db, found)
    except (TypeError, ValueError) as error:
        found.problems.append(f"the file holds what no program wrote there, the rest was not looked at: {error}")
    finally:
        db.execute("ROLLBACK")
    return found


def verify_log(db: sqlite3.Connection, watch: Watch = unwatched) -> Verified:
    """Checks the log alone: chains, heads and words. Needs no table of a newer schema than the first."""
    found = Verified()
    (total,) = db.execute("SELECT count(*) FROM log").fetchone()
    heads = _check_chains(watch(log_rows(db, "origin, stream, seq"), total, "checking"), found)
    _check_heads(db, heads, found)
    _check_words(db, found)
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


def _check_books(db: sqlite3.Connection, found: Verified) -> None:
    for book_hash, text, ready in db.execute("SELECT hash, toml, ready FROM flow_book"):
        if hashlib.sha256(text.encode()).hexdigest() != book_hash:
            found.problems.append(f"the flow book {book_hash[:8]} was changed: its hash doesn't fit")
        elif not is_true(text, ready):
            found.problems.append(f"the ready form of the flow book {book_hash[:8]} isn't what its text says")


def _check_chains(rows: Iterable[LogRow], found: Verified) -> dict[tuple[str, str], str]:
    heads: dict[tuple[str, str], str] = {}
    seqs: dict[tuple[str, str], int] = {}
    for row in rows:
        found.entries += 1
        chain = (row.origin, row.stream)
        if row.seq != seqs.get(chain, 0) + 1:
            found.problems.append(f"entry {row.ref}: number {seqs.get(chain, 0) + 1} of its chain is missing")
        elif row.prev != heads.get(chain, START):
            found.problems.append(f"entry {row.ref} doesn't follow from the entry before it")
        if row_hash(row) != row.hash:
            found.problems.append(f"entry {row.ref} ({row.kind}, {row.at}) was changed: its hash doesn't fit")
        heads[chain], seqs[chain] = row.hash, row.seq
        if row.kind == "visit_closed" and row.seat != DESK:  # a close at the desk has no mark: no pair has it
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
    """Words are as they were told, or blanked by an entry that says so; those of another machine may be left out."""
    (origin,) = db.execute("SELECT uid FROM origin ORDER BY id LIMIT 1").fetchone()
    blanked = _blanked(db)
    rows = db.execute(
        "SELECT origin.uid, json_extract(data, '$.words'), salt, text, stream, seq FROM log "
        "JOIN origin ON origin.id = log.origin LEFT JOIN words ON words.entry = log.id "
        "WHERE json_valid(data) AND json_extract(data, '$.words') IS NOT NULL"
    )
    for machine, wanted, salt, text, stream, seq in rows:
        if salt is None:
            found.problems.append(f"the words of entry {stream}/{seq} are missing")
        elif text is not None and words_hash(salt, text) != wanted:
            found.problems.append(f"the words of entry {stream}/{seq} were changed")
        elif text is None:
            found.forgotten += 1
            if machine == origin and f"{machine}/{stream}/{seq}" not in blanked:
                found.problems.append(f"the words of entry {stream}/{seq} were blanked without desk forget")


def _blanked(db: sqlite3.Connection) -> set[str]:
    """The entries whose words were forgotten, as the log tells it."""
    rows = db.execute(
        "SELECT value FROM log, json_each(data, '$.entries') WHERE kind = 'forgotten' AND json_valid(data)"
    )
    return {ref for (ref,) in rows}


def _check_projections(db: sqlite3.Connection, rows: Iterable[LogRow], found: Verified) -> None:
    """Folds the whole log again in memory and compares each table with the one in the record."""
    again = sqlite3.connect(":memory:", isolation_level=None)
    again.executescript(PROJECTION_TABLES)
    again.executescript(_LOG_AGAIN)
    again.executemany("INSERT INTO origin VALUES (?, ?)", db.execute("SELECT id, uid FROM origin"))
    again.executemany("INSERT INTO log VALUES (?, ?, ?, ?, ?, ?, ?, ?)", db.execute(_LOOKED_UP))
    for row in rows:
        try:
            fold(again, row)
        except (sqlite3.Error, KeyError, TypeError, ValueError) as error:
            found.problems.append(f"entry {row.ref} can't be folded again: {error}")
    for table in PROJECTIONS:
        _compare(db, again, table, found)
    again.close()


def _check_tags(db: sqlite3.Connection, found: Verified) -> None:
    """A kept sample has a tag of the pool that is used and points back to it; else another sample has it as well."""
    for uid, code, programme, status, owner, owners_tag in db.execute(_TAGS):
        if status is None:
            found.doubts.append(f"sample {uid} has tag {code}, which the pool of {programme} doesn't hold")
        elif status == "void" and owner is None:
            found.doubts.append(f"tag {code} of sample {uid} was made void at the desk")
        elif status == "used" and owner != uid and owners_tag == code:
            found.doubts.append(f"tag {code} is on sample {uid} and on sample {owner}: see desk visit")
        else:
            told = f"{status} with {owner}" if owner else status
            found.problems.append(f"sample {uid} is kept with tag {code}, but the pool holds that tag as {told}")


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
