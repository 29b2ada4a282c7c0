"""``desk forget``: a phone number, or the words or initials of a visit, are blanked in the record for good.

Entries stay as they are, and their chains whole: the log holds salted hashes of words alone. The salt goes with the
words, since initials are so short that their hash with its salt could be tried out. What was texted goes too: the raw
text, what was passed on of it, and what the talk remembers.
"""

import json
import sqlite3
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from guide.counted import counted
from guide.desk.numbers import NumberError, e164
from guide.desk.visits import visit_uid
from guide.errors import WadelineError
from guide.record.log import FORGOTTEN, Entry
from guide.record.open import open_record
from guide.record.store import DESK, Store, stamp
from guide.talk.state import SeatState

FORGOTTEN_TEXT = "(forgotten)"
_UNREAD = "unread"
"""Where the talk keeps a text that it couldn't read, to pass it on."""

_ELSEWHERE = "Copies elsewhere keep it until somebody deletes them: backups, exports, printouts, other laptops"


@dataclass(frozen=True)
class Held:
    """Words that are held: the entry, its turn in this record (0: it came from another), the words, the raw text."""

    entry: int
    ref: str
    turn: int
    words: str
    raw: str | None
    data: str

    @property
    def names(self) -> list[str]:
        """The answers that these words were."""
        return [name for name, value in json.loads(self.data).items() if value == "words"]


def forget_words(record: Path, code: str, initials_only: bool, sure: bool, as_json: bool) -> int:
    """Blanks a visit's words, or its initials alone; without ``sure`` only says what would go."""
    store = Store(open_record(record, create=False))
    uid = visit_uid(store.db, code)
    held = _held(store, "stream = ?", (uid,), initials_only)
    what = "initials" if initials_only else "words"
    if not held:
        raise WadelineError(f"no {what} of visit {code.upper()} are held")
    if sure:
        with _wiping(store.db), store.transaction():
            _blank(store, held)
            _scrub_seats(store.db, uid, held)
            store.append(DESK, DESK, 0, datetime.now(UTC), [_entry(what, held)])
    store.db.close()
    return _say(f"{what} in {counted(len(held), 'entry', 'entries')} of visit {code.upper()}", record, sure, as_json)


def forget_number(record: Path, number: str, sure: bool, as_json: bool) -> int:
    """Replaces a phone's number, which then gets no more texts; a coordinator's name goes with it."""
    store = Store(open_record(record, create=False))
    phone = _phone(store.db, number)
    if sure:
        with _wiping(store.db), store.transaction():
            held = _name_of(store, phone)
            _blank(store, held)
            _drop_phone(store.db, phone)
            store.append(DESK, DESK, 0, datetime.now(UTC), [_entry("number", held)])
    store.db.close()
    return _say("a phone's number", record, sure, as_json)


def _name_of(store: Store, phone: int) -> list[Held]:
    """Where a coordinator's name stands, if the phone is one's."""
    row = store.db.execute("SELECT name FROM coordinator WHERE phone = ?", (phone,)).fetchone()
    return _held(store, "stream = 'desk' AND log.kind LIKE 'coordinator_%' AND text = ?", row, False) if row else []


def _drop_phone(db: sqlite3.Connection, phone: int) -> None:
    db.execute("DELETE FROM coordinator WHERE phone = ?", (phone,))
    db.execute(
        "UPDATE outgoing SET status = 'dropped', failure = 'the number is forgotten' "
        "WHERE phone = ? AND status = 'waiting'",
        (phone,),
    )
    db.execute(
        "UPDATE phone SET number = ?, current_seat = NULL, consent = NULL, told_at = NULL, stopped_at = ? WHERE id = ?",
        (f"forgotten-{phone}", stamp(datetime.now(UTC)), phone),
    )


def _phone(db: sqlite3.Connection, number: str) -> int:
    spellings = {number}
    with suppress(NumberError):  # a record may hold numbers of a gateway that are no E.164
        spellings.add(e164(number))
    marks = ", ".join("?" * len(spellings))
    row = db.execute(f"SELECT id FROM phone WHERE number IN ({marks})", tuple(spellings)).fetchone()
    if row is None:
        raise WadelineError(f"no phone has the number {number}")
    return int(row[0])


def _held(store: Store, where: str, values: Sequence[Any], initials_only: bool) -> list[Held]:
    initials = "AND json_extract(data, '$.custody') IS NOT NULL" if initials_only else ""
    rows = store.db.execute(
        "SELECT entry, origin.uid || '/' || log.stream || '/' || log.seq, "
        "CASE log.origin WHEN ? THEN log.turn ELSE 0 END, text, raw, data "
        "FROM words JOIN log ON log.id = entry JOIN origin ON origin.id = log.origin "
        "LEFT JOIN turn ON turn.id = log.turn AND log.origin = ? "
        f"WHERE text IS NOT NULL AND {where.replace('stream', 'log.stream')} {initials}",
        (store.origin_id, store.origin_id, *values),
    )
    return [Held(*row) for row in rows]


def _entry(what: str, held: Sequence[Held]) -> Entry:
    return Entry("forgotten", "", {"what": what, "entries": [one.ref for one in held]})


def _blank(store: Store, held: Sequence[Held]) -> None:
    db, turns = store.db, [(one.turn,) for one in held if one.turn]
    db.executemany("UPDATE words SET text = NULL, salt = ? WHERE entry = ?", [(FORGOTTEN, one.entry) for one in held])
    db.executemany("UPDATE turn SET raw = NULL WHERE id = ?", turns)
    drop = "status = CASE status WHEN 'waiting' THEN 'dropped' ELSE status END"
    db.executemany(f"UPDATE outgoing SET text = '{FORGOTTEN_TEXT}', segments = 1, {drop} WHERE turn = ?", turns)


def _scrub_seats(db: sqlite3.Connection, uid: str, held: Sequence[Held]) -> None:
    """The talk remembers the last text, and the words of a flow until it is over."""
    texts = {text.casefold() for one in held for text in (one.words, one.raw) if text}
    names = {_UNREAD, *(name for one in held for name in one.names)}
    for seat, kept in db.execute("SELECT id, state FROM seat WHERE visit = ?", (uid,)).fetchall():
        if not kept:
            continue
        state = SeatState.from_json(kept)
        for frame in state.frames:
            frame.slots = {name: value for name, value in frame.slots.items() if name not in names}
        if state.last is not None and state.last["text"] in texts:
            state.last = None
        db.execute("UPDATE seat SET state = ? WHERE id = ?", (state.to_json(), seat))


@contextmanager
def _wiping(db: sqlite3.Connection) -> Iterator[None]:
    """What is overwritten is wiped in the file, and no longer stands in the write-ahead log."""
    db.execute("PRAGMA secure_delete = ON")
    yield
    (busy, _, _) = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if busy:
        words = (
            "another program is using the record: the old pages go from its -wal file once all such programs have ended"
        )
        print(f"wadeline: {words}", file=sys.stderr)


def _say(what: str, record: Path, sure: bool, as_json: bool) -> int:
    backups = [str(path) for path in _backups(record)]
    if as_json:
        print(json.dumps({"what": what, "forgotten": sure, "backups": backups}))
        return 0
    if not sure:
        print(f"This would forget {what}, for good. Say it again with --yes to do it.")
        return 0
    print(f"Forgotten: {what}. The log's chains stay whole.")
    print(f"{_ELSEWHERE}{', here ' + ', '.join(backups) if backups else ''}.")
    return 0


def _backups(record: Path) -> Iterable[Path]:
    return sorted(
        path for path in record.parent.glob(f"{record.stem}*") if path.suffix == ".bak" or "backup" in path.name
    )
