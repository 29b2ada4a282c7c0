"""What a pair texted in a round and where its talk stood, as the record has it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from guide.record.store import FROM_A_PHONE, SeatRow, Store
from guide.talk.front import join_of


@dataclass(frozen=True)
class PairText:
    """One text of a pair: the step it answered, the step it led to, and the seconds since that step was asked.

    ``kept`` is True where it told of a larva that is bagged and counts.
    """

    turn: int
    words: str
    at: datetime
    before: str
    after: str
    seconds: float
    kept: bool


def texts_of(store: Store, seat: SeatRow, after: int) -> Iterator[PairText]:
    """A seat's texts after a turn, oldest first; a phone that joins says nothing about the work."""
    rows = store.db.execute(
        f"SELECT id, raw, received_at FROM turn WHERE seat = ? AND id > ? AND {FROM_A_PHONE} ORDER BY id",
        (seat.id, after),
    ).fetchall()
    for turn, raw, at in rows:
        if join_of(raw) is not None:
            continue
        asked = _asked(store, seat.id, turn, "turn < ?")
        if asked is not None:
            here = datetime.fromisoformat(at)
            later = _asked(store, seat.id, turn, "turn <= ?")
            seconds = (here - datetime.fromisoformat(asked[1])).total_seconds()
            kept = store.db.execute(
                "SELECT 1 FROM log WHERE origin = ? AND stream = ? AND turn = ? AND kind = 'kept'",
                (store.origin_id, seat.visit, turn),
            ).fetchone()
            yield PairText(turn, raw, here, asked[0], later[0] if later else asked[0], seconds, kept is not None)


def _asked(store: Store, seat_id: int, turn: int, when: str) -> tuple[str, str] | None:
    """The step a seat was last shown and when, by texts out of turns before this one."""
    row = store.db.execute(
        f"SELECT step, due_at FROM outgoing WHERE seat = ? AND {when} AND step IS NOT NULL ORDER BY id DESC LIMIT 1",
        (seat_id, turn),
    ).fetchone()
    return (row[0], row[1]) if row else None


def step_now(store: Store, seat: SeatRow) -> str:
    """The step a seat was shown last; empty before anything was."""
    row = _asked(store, seat.id, 1 << 62, "turn < ?")
    return row[0] if row else ""


def last_words(store: Store, seat_id: int) -> tuple[str, datetime] | None:
    """A seat's last text and its time."""
    row = store.db.execute(
        f"SELECT raw, received_at FROM turn WHERE seat = ? AND {FROM_A_PHONE} ORDER BY id DESC LIMIT 1",
        (seat_id,),
    ).fetchone()
    return (row[0], datetime.fromisoformat(row[1])) if row else None
