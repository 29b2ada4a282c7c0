"""The texts out as rows: which wait, and what became of each. Every method writes in a transaction of its own."""

import sqlite3
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Literal, NamedTuple

from guide.gateway.trouble import Trouble
from guide.record.log import Entry
from guide.record.store import DESK, Store, stamp

Status = Literal["waiting", "sent", "delivered", "failed", "dropped"]


class Waiting(NamedTuple):
    """A text that waits to be sent.

    ``answers`` is the turn it answers, if it says to a phone where its own talk stands: a later such text makes it
    stale. News, relays and carriers' confirmations have none and always go.
    """

    id: int
    phone: int
    number: str
    text: str
    tries: int
    made_at: datetime
    retry_at: datetime
    seat: int | None
    answers: int | None


_WAITING = (
    "SELECT outgoing.id, outgoing.phone, number, text, tries, outgoing.due_at, coalesce(retry_at, outgoing.due_at), "
    "outgoing.seat, CASE WHEN step IS NOT NULL AND "
    "(turn.phone = outgoing.phone OR (turn.gateway = 'timer' AND turn.seat = outgoing.seat)) THEN turn.id END "
    "FROM outgoing JOIN phone ON phone.id = outgoing.phone JOIN turn ON turn.id = outgoing.turn "
    "WHERE outgoing.status = 'waiting' AND outgoing.id > ? AND number LIKE '+%' ORDER BY outgoing.id"
)
"""A terminal and a pair at a drill's laptop have no number: their texts are shown by their own process."""


class Outbox:
    """The record's texts out."""

    def __init__(self, store: Store) -> None:
        self.store, self.db = store, store.db
        self.counts: Counter[Status] = Counter()
        """What became of texts since the start."""
        self.trouble = Trouble()

    @contextmanager
    def _transaction(self, synced: bool = True) -> Iterator[None]:
        try:
            with self.store.transaction() if synced else self.store.unsynced():
                yield
        except sqlite3.Error as error:
            self.trouble.met(error)
            raise
        self.trouble.over()

    def waiting(self, after: int = 0) -> list[Waiting]:
        """Texts that wait, with an id above ``after``, in order."""
        read = datetime.fromisoformat
        return [
            Waiting(text_id, phone, number, text, tries, read(made_at), read(retry_at), seat, answers)
            for text_id, phone, number, text, tries, made_at, retry_at, seat, answers in self.db.execute(
                _WAITING, (after,)
            )
        ]

    def sent(self, ids: Sequence[int], now: datetime) -> None:
        """These were taken by the gateway; a report that came first stays.

        No wait for the disk: after a power cut within seconds a text may go out once more, none is lost.
        """
        with self._transaction(synced=False):
            self.db.executemany(
                "UPDATE outgoing SET status = 'sent', sent_at = ?, tries = tries + 1 WHERE id = ? "
                "AND status = 'waiting'",
                [(stamp(now), one) for one in ids],
            )
        self.counts["sent"] += len(ids)

    def try_later(self, text_id: int, why: str, retry_at: datetime) -> None:
        """This one couldn't be sent now."""
        with self._transaction():
            self.db.execute(
                "UPDATE outgoing SET tries = tries + 1, failure = ?, retry_at = ? WHERE id = ?",
                (why, stamp(retry_at), text_id),
            )

    def failed(self, text: Waiting, why: str, now: datetime) -> None:
        """This one is given up, for a reason that the desk sees."""
        with self._transaction():
            self.db.execute(
                "UPDATE outgoing SET status = 'failed', failure = ?, tries = tries + 1 WHERE id = ?", (why, text.id)
            )
            self._note(text.seat, Entry("undelivered", "", {"text": text.id, "why": why}), now)
        self.counts["failed"] += 1

    def dropped(self, stale: Sequence[Waiting], newer: Waiting, now: datetime) -> None:
        """These would tell a phone where its talk no longer stands: ``newer`` says it."""
        with self._transaction():
            for text in stale:
                why = "stale: a later text says where the talk stands"
                self.db.execute("UPDATE outgoing SET status = 'dropped', failure = ? WHERE id = ?", (why, text.id))
            self.db.execute("UPDATE outgoing SET supersedes = ? WHERE id = ?", (stale[-1].id, newer.id))
            data = {"texts": [text.id for text in stale], "newer": newer.id}
            self._note(newer.seat, Entry("not_sent", "", data), now)
        self.counts["dropped"] += len(stale)

    def report(self, text_id: int, delivered: bool, why: str, now: datetime) -> bool:
        """A delivery report came; returns False for a text that isn't ours. What was delivered stays so."""
        with self._transaction():
            row = self.db.execute("SELECT seat, status FROM outgoing WHERE id = ?", (text_id,)).fetchone()
            if row is None:
                return False
            if row[1] in ("delivered", "failed"):
                return True
            self.db.execute(
                "UPDATE outgoing SET status = ?, reported_at = ?, failure = ? WHERE id = ?",
                ("delivered" if delivered else "failed", stamp(now), None if delivered else why, text_id),
            )
            if not delivered:
                self._note(row[0], Entry("undelivered", "", {"text": text_id, "why": why}), now)
        self.counts["delivered" if delivered else "failed"] += 1
        return True

    def _note(self, seat_id: int | None, entry: Entry, now: datetime) -> None:
        """An entry in the visit's log, or the desk's, with a turn of its own so that the chain's head is kept."""
        seat = self.store.seat(seat_id) if seat_id is not None else None
        stream, letter = (seat.visit, seat.letter) if seat else (DESK, "desk")
        turn = self.store.add_turn(gateway="delivery", seat=seat_id, received_at=stamp(now), raw=entry.kind)
        self.store.append(stream, letter, turn, now, [entry])
        self.store.end_turn(turn, seat_id, stream)
