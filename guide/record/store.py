"""Writing the record: one transaction a batch of texts, a savepoint a text. Plain SQL: this is the hot path."""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple

from guide.record.fold import fold
from guide.record.log import START, Entry, Link, LogRow, links, to_json

DESK = "desk"
"""The stream of entries that belong to no visit, and the seat of all that the desk made."""

DRILL = "drill"
"""The gateway of turns that a drill made itself: what came before a beginning, surprises, hints."""

FROM_A_PHONE = f"turn.phone IS NOT NULL AND turn.gateway != '{DRILL}'"
"""Of turns, a person's texts: no timer, no delivery's note, nothing that the desk or a drill changed."""


@lru_cache(maxsize=64)  # a text's time is written in several places
def stamp(at: datetime) -> str:
    """UTC ISO 8601 with milliseconds, the form of every time in the record."""
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@lru_cache(maxsize=256)  # steps come again and again
def _options_json(options: tuple[str, ...]) -> str:
    return to_json(options)


_COLUMNS = LogRow._fields[2:]
"""The log's columns behind its id and origin."""

_INSERT_LOG = f"INSERT INTO log (origin, {', '.join(_COLUMNS)}) VALUES (?{', ?' * len(_COLUMNS)})"


_NEXT_TIMER = (
    "SELECT id, seat, kind, due_at FROM timer WHERE fired_turn IS NULL AND (kind IN "
    "('check_in', 'check_in_alarm', 'home', 'home_alarm') OR NOT EXISTS "
    "(SELECT 1 FROM seat JOIN phone ON phone.id = seat.phone "
    " WHERE seat.id = timer.seat AND stopped_at IS NOT NULL)) ORDER BY due_at, id LIMIT 1"
)


class PhoneRow(NamedTuple):
    """A phone: its number, the seat it holds now, whether it has stopped texts, whether it is a coordinator's."""

    id: int
    number: str
    seat: int | None
    stopped_at: str | None
    consent: str | None = None
    told_at: str | None = None
    coordinates: bool = False


class SeatRow(NamedTuple):
    """A seat with its conversation's state, its visit and the flow book the visit began with."""

    id: int
    visit: str
    letter: str
    word: str
    role: str
    phone: int | None
    state: str
    book_hash: str
    programme: str
    group_code: str | None


class TextOut(NamedTuple):
    """A text that waits to be handed to a gateway, or was."""

    id: int
    turn: int
    number: str
    text: str
    segments: int
    step: str | None
    expects: str | None
    options: tuple[str, ...]


class Store:
    """One open record. Every method that writes must be called inside ``transaction``."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self.db = db
        (self.origin_id, self.origin) = db.execute("SELECT id, uid FROM origin ORDER BY id LIMIT 1").fetchone()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """BEGIN IMMEDIATE to COMMIT; an exception leaves nothing."""
        self.db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            if self.db.in_transaction:
                self.db.execute("ROLLBACK")
            raise
        self.commit()

    @contextmanager
    def unsynced(self) -> Iterator[None]:
        """A transaction that doesn't wait for the disk: for notes that a power cut may take, made again."""
        self.db.execute("PRAGMA synchronous = NORMAL")
        try:
            with self.transaction():
                yield
        finally:
            self.db.execute("PRAGMA synchronous = FULL")

    def commit(self) -> None:
        """Makes the transaction durable."""
        self.db.execute("COMMIT")

    # Phones and seats

    def phone(self, number: str) -> PhoneRow:
        """The phone with this number, known from now on."""
        sql = (
            "SELECT id, number, current_seat, stopped_at, consent, told_at, "
            "EXISTS (SELECT 1 FROM coordinator WHERE coordinator.phone = phone.id) FROM phone WHERE number = ?"
        )
        row = self.db.execute(sql, (number,)).fetchone()
        if row is None:
            self.db.execute("INSERT INTO phone (number) VALUES (?)", (number,))
            row = self.db.execute(sql, (number,)).fetchone()
        *known, coordinates = row
        return PhoneRow._make((*known, bool(coordinates)))

    def seat(self, seat_id: int) -> SeatRow:
        """A seat by its id."""
        return SeatRow._make(
            self.db.execute(
                "SELECT seat.id, seat.visit, letter, coalesce(join_word, ''), role, phone, state, book_hash, "
                "programme, group_code FROM seat JOIN visit ON visit.uid = seat.visit WHERE seat.id = ?",
                (seat_id,),
            ).fetchone()
        )

    def seat_with_word(self, word: str) -> SeatRow | None:
        """The seat of an open visit that is joined with this word."""
        row = self.db.execute(
            "SELECT seat.id FROM seat JOIN visit ON visit.uid = seat.visit WHERE join_word = ? AND status = 'open'",
            (word,),
        ).fetchone()
        return self.seat(row[0]) if row else None

    def visit_with_word(self, word: str) -> str | None:
        """The uid of the open visit that more seats join with this word; one that goes on elsewhere has none here."""
        row = self.db.execute(
            "SELECT uid FROM visit WHERE word = ? AND status = 'open' "
            "AND EXISTS (SELECT 1 FROM seat WHERE seat.visit = visit.uid)",
            (word,),
        ).fetchone()
        return row[0] if row else None

    def seat_letters(self, visit: str) -> list[str]:
        """The letters of a visit's seats."""
        return [row[0] for row in self.db.execute("SELECT letter FROM seat WHERE visit = ?", (visit,))]

    def seat_id(self, visit: str, letter: str) -> int:
        """The id of a visit's seat."""
        sql = "SELECT id FROM seat WHERE visit = ? AND letter = ?"
        return int(self.db.execute(sql, (visit, letter)).fetchone()[0])

    def seats_of_code(self, code8: str) -> list[int]:
        """The ids of the seats of the visit with this code."""
        sql = "SELECT seat.id FROM seat JOIN visit ON visit.uid = seat.visit WHERE code8 = ? ORDER BY letter"
        return [row[0] for row in self.db.execute(sql, (code8,))]

    def code_of(self, visit: str) -> str:
        """A visit's code."""
        return str(self.db.execute("SELECT code8 FROM visit WHERE uid = ?", (visit,)).fetchone()[0])

    def add_seat(self, visit: str, letter: str, word: str, role: str = "pair") -> int:
        """A new seat of a visit, held by no phone yet and without a state."""
        cursor = self.db.execute(
            "INSERT INTO seat (visit, role, letter, join_word, state) VALUES (?, ?, ?, ?, '')",
            (visit, role, letter, word),
        )
        return int(cursor.lastrowid or 0)

    def save_state(self, seat_id: int, state: str, heard_at: datetime) -> None:
        """Keeps a seat's state as a text left it."""
        self.db.execute(
            "UPDATE seat SET state = ?, rev = rev + 1, last_heard_at = ? WHERE id = ?",
            (state, stamp(heard_at), seat_id),
        )

    def hold(self, phone_id: int, seat_id: int) -> None:
        """A phone takes a seat; a phone that had it before has none."""
        self.db.execute("UPDATE phone SET current_seat = NULL WHERE current_seat = ? AND id != ?", (seat_id, phone_id))
        self.db.execute("UPDATE seat SET phone = ? WHERE id = ?", (phone_id, seat_id))
        self.db.execute("UPDATE phone SET current_seat = ? WHERE id = ?", (seat_id, phone_id))

    def holder(self, seat_id: int) -> PhoneRow | None:
        """The phone that holds a seat now."""
        row = self.db.execute(
            "SELECT id, number, current_seat, stopped_at FROM phone "
            "WHERE id = (SELECT phone FROM seat WHERE id = ?) AND current_seat = ?",
            (seat_id, seat_id),
        ).fetchone()
        return PhoneRow(*row) if row else None

    def greeted(self, phone_id: int, at: datetime) -> None:
        """Notes when a phone was told who texts and what it costs."""
        self.db.execute("UPDATE phone SET consent = ? WHERE id = ?", (stamp(at), phone_id))

    def told(self, phone_id: int, at: datetime) -> None:
        """Notes when an unknown phone was told how to join."""
        self.db.execute("UPDATE phone SET told_at = ? WHERE id = ?", (stamp(at), phone_id))

    def set_stopped(self, phone_id: int, at: datetime | None) -> None:
        """Marks a phone as having stopped texts, or as taking them again."""
        self.db.execute("UPDATE phone SET stopped_at = ? WHERE id = ?", (stamp(at) if at else None, phone_id))

    # Coordinators and groups

    def coordinators(self, programme: str) -> list[PhoneRow]:
        """The phones of a programme's coordinators that take texts."""
        rows = self.db.execute(
            "SELECT phone.id, number, current_seat, stopped_at FROM coordinator JOIN phone ON phone.id = phone "
            "WHERE programme = ? AND stopped_at IS NULL ORDER BY coordinator.id",
            (programme,),
        )
        return [PhoneRow(*row) for row in rows]

    def group_with_word(self, word: str) -> str | None:
        """The code of the group that begins its visits with this word."""
        row = self.db.execute("SELECT code FROM field_group WHERE join_word = ?", (word,)).fetchone()
        return row[0] if row else None

    def visit_of_group(self, group_code: str, since: datetime) -> str | None:
        """The uid of the group's open visit, if it was heard of since then."""
        row = self.db.execute(
            "SELECT visit.uid FROM visit JOIN seat ON seat.visit = visit.uid "
            "WHERE group_code = ? AND status = 'open' AND last_heard_at >= ? ORDER BY last_heard_at DESC LIMIT 1",
            (group_code, stamp(since)),
        ).fetchone()
        return row[0] if row else None

    def seats_called(self, word: str, site: str | None) -> list[SeatRow]:
        """The seats of visits that a word means: a seat's own, else all of an open visit, group or site."""
        own = self.seat_with_word(word)
        if own is not None:
            return [own]
        rows = self.db.execute(
            "SELECT seat.id FROM visit JOIN seat ON seat.visit = visit.uid "
            "JOIN phone ON phone.id = seat.phone AND current_seat = seat.id "
            "WHERE visit.status = 'open' AND (visit.word = ? OR visit.site = ? "
            "OR group_code IN (SELECT code FROM field_group WHERE code = ? OR join_word = ?)) ORDER BY seat.id",
            (word, site, word, word),
        ).fetchall()
        return [self.seat(row[0]) for row in rows]

    def seats_out(self, since: datetime) -> list[SeatRow]:
        """The seats of open visits that were heard of since then, the last first."""
        rows = self.db.execute(
            "SELECT seat.id FROM seat JOIN visit ON visit.uid = seat.visit "
            "WHERE status = 'open' AND last_heard_at >= ? ORDER BY last_heard_at DESC LIMIT 12",
            (stamp(since),),
        ).fetchall()
        return [self.seat(row[0]) for row in rows]

    def site_name(self, visit: str) -> str | None:
        """The name of a visit's site, once it is known."""
        row = self.db.execute(
            "SELECT coalesce(site.name, visit.site) FROM visit LEFT JOIN site "
            "ON site.programme = visit.programme AND site.code = visit.site WHERE visit.uid = ?",
            (visit,),
        ).fetchone()
        return row[0] if row else None

    def keep_digest(self, code8: str, text: str, turn: int) -> None:
        """Keeps a digest's text; the same again changes nothing."""
        self.db.execute("INSERT OR IGNORE INTO digest_text (code8, text, turn) VALUES (?, ?, ?)", (code8, text, turn))

    def digest_texts(self, code8: str) -> list[str]:
        """The digest's texts of a visit that have come in."""
        return [row[0] for row in self.db.execute("SELECT text FROM digest_text WHERE code8 = ?", (code8,))]

    # Turns and texts out

    def turn_with(self, gateway: str, phone_id: int, ext_id: str) -> tuple[int, str] | None:
        """The id and raw text of the turn that this message id already led to."""
        row = self.db.execute(
            "SELECT id, raw FROM turn WHERE gateway = ? AND phone = ? AND ext_id = ?",
            (gateway, phone_id, ext_id),
        ).fetchone()
        return (row[0], row[1]) if row else None

    def same_turn(self, gateway: str, phone_id: int, raw: str, at: datetime, within: timedelta) -> int | None:
        """The phone's last turn without an id, if it said the same so shortly before, by a clock that may go back."""
        row = self.db.execute(
            "SELECT id, raw, received_at FROM turn WHERE gateway = ? AND phone = ? AND ext_id IS NULL "
            "ORDER BY id DESC LIMIT 1",
            (gateway, phone_id),
        ).fetchone()
        is_same = row and row[1] == raw and abs(at - datetime.fromisoformat(row[2])) <= within
        return row[0] if is_same else None

    def add_turn(self, **values: Any) -> int:
        """A text that came in, or a timer that fired; returns its id."""
        columns = ", ".join(values)
        marks = ", ".join("?" * len(values))
        cursor = self.db.execute(f"INSERT INTO turn ({columns}) VALUES ({marks})", tuple(values.values()))
        return int(cursor.lastrowid or 0)

    def given_time(self) -> datetime | None:
        """The time of the last turn, if the texts of this record bring their own time; else real time rules."""
        if not self.db.execute("SELECT 1 FROM turn WHERE gateway = 'line' LIMIT 1").fetchone():
            return None
        row = self.db.execute("SELECT sent_at FROM turn WHERE gateway = 'line' ORDER BY id DESC LIMIT 1").fetchone()
        if row[0] is None:
            return None
        sql = "SELECT received_at FROM turn WHERE gateway != 'desk' ORDER BY id DESC LIMIT 1"
        (at,) = self.db.execute(sql).fetchone()
        return datetime.fromisoformat(at)

    def end_turn(self, turn: int, seat_id: int | None, stream: str | None, head: str | None = None) -> None:
        """Keeps, with the turn, the head of the chain it left, looked up if not given: a cut log shows."""
        if head is None and stream is not None:
            head = self.head(stream)[1]
        self.db.execute(
            "UPDATE turn SET seat = ?, stream = ?, head_after = ? WHERE id = ?", (seat_id, stream, head, turn)
        )

    def add_text(self, phone_id: int, seat_id: int | None, out: TextOut, due_at: datetime) -> TextOut:
        """A text out to a phone, waiting; returned with its id."""
        cursor = self.db.execute(
            "INSERT INTO outgoing (turn, phone, seat, text, segments, step, expects, options, due_at, status) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 'waiting')",
            (
                out.turn,
                phone_id,
                seat_id,
                out.text,
                out.segments,
                out.step,
                out.expects,
                _options_json(out.options),
                stamp(due_at),
            ),
        )
        return out._replace(id=int(cursor.lastrowid or 0))

    def texts(self, where: str, values: Sequence[Any]) -> list[TextOut]:
        """Texts out that meet a condition on ``outgoing``, in order."""
        rows = self.db.execute(
            "SELECT outgoing.id, turn, number, text, segments, step, expects, options FROM outgoing "
            f"JOIN phone ON phone.id = outgoing.phone WHERE {where} ORDER BY outgoing.id",
            values,
        ).fetchall()
        return [
            TextOut(out, turn, number, text, count, step, expects, tuple(json.loads(options)))
            for out, turn, number, text, count, step, expects, options in rows
        ]

    def reply_ids(self, turns: Sequence[int]) -> dict[int, dict[str, str]]:
        """For each turn that a phone's text began: that phone's number and the text's own id."""
        found: dict[int, dict[str, str]] = {}
        for turn in set(turns):
            row = self.db.execute(
                "SELECT number, ext_id FROM turn JOIN phone ON phone.id = turn.phone WHERE turn.id = ?",
                (turn,),
            ).fetchone()
            found[turn] = {row[0]: row[1]} if row else {}
        return found

    def handed_over(self, ids: Sequence[int]) -> None:
        """These texts out were given to their gateway."""
        self.db.executemany("UPDATE outgoing SET status = 'sent' WHERE id = ?", [(one,) for one in ids])

    # The log

    def head(self, stream: str) -> tuple[int, str]:
        """The last number and hash of this machine's chain for a stream."""
        row = self.db.execute(
            "SELECT seq, hash FROM log WHERE origin = ? AND stream = ? ORDER BY seq DESC LIMIT 1",
            (self.origin_id, stream),
        ).fetchone()
        return (row[0], row[1]) if row else (0, START)

    def append(self, stream: str, seat: str, turn: int, at: datetime, entries: Sequence[Entry]) -> str:
        """Adds entries to a stream's chain and folds each into the projections; returns the chain's head."""
        link = self.link(stream, seat, turn, at)
        head = link.prev
        for entry, salt, row in links(link, entries):
            head = row.hash
            cursor = self.db.execute(_INSERT_LOG, (self.origin_id, *row[2:]))
            row = row._replace(id=int(cursor.lastrowid or 0))
            if entry.words is not None:
                self.db.execute("INSERT INTO words (entry, salt, text) VALUES (?, ?, ?)", (row.id, salt, entry.words))
            fold(self.db, row)
        return head

    def take(self, origin_id: int, row: LogRow, salt: str | None, words: str | None) -> None:
        """Adds an entry of another record as it stands, and folds it; ``salt`` None where it has no free words."""
        cursor = self.db.execute(_INSERT_LOG, (origin_id, *row[2:]))
        row = row._replace(id=int(cursor.lastrowid or 0))
        if salt is not None:
            self.db.execute("INSERT INTO words (entry, salt, text) VALUES (?, ?, ?)", (row.id, salt, words))
        fold(self.db, row)

    def link(self, stream: str, seat: str, turn: int, at: datetime) -> Link:
        """Where this machine's chain for a stream stands, for the next entries."""
        seq, prev = self.head(stream)
        return Link(self.origin, stream, seq, prev, stamp(at), seat, turn)

    # Timers

    def set_timer(self, seat_id: int, kind: str, due: datetime | None) -> None:
        """Starts a seat's timer anew, or stops it."""
        if due is None:
            self.db.execute("DELETE FROM timer WHERE seat = ? AND kind = ? AND fired_turn IS NULL", (seat_id, kind))
        else:
            self.db.execute(
                "INSERT INTO timer (seat, kind, due_at) VALUES (?, ?, ?) "
                "ON CONFLICT (seat, kind) WHERE fired_turn IS NULL DO UPDATE SET due_at = excluded.due_at",
                (seat_id, kind, stamp(due)),
            )

    def next_timer(self) -> tuple[int, int, str, datetime] | None:
        """The id, seat, kind and due time of the timer that is due first.

        A stopped phone's timers are parked, but for those that watch over people: their alarm goes to the others.
        """
        row = self.db.execute(_NEXT_TIMER).fetchone()
        return (row[0], row[1], row[2], datetime.fromisoformat(row[3])) if row else None

    def running_timers(self, number: str) -> list[tuple[str, datetime]]:
        """Kind and due time of the timers that run for the seat a phone holds."""
        rows = self.db.execute(
            "SELECT kind, due_at FROM timer JOIN phone ON phone.current_seat = timer.seat "
            "WHERE number = ? AND fired_turn IS NULL ORDER BY due_at",
            (number,),
        )
        return [(kind, datetime.fromisoformat(due)) for kind, due in rows]

    def timer_fired(self, timer_id: int, turn: int) -> None:
        """A timer fires once."""
        self.db.execute("UPDATE timer SET fired_turn = ? WHERE id = ?", (turn, timer_id))
