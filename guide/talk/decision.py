"""What a text leads to, before anything is written."""

from dataclasses import dataclass, field
from datetime import datetime

from guide.record.log import Entry
from guide.talk.state import SeatState


@dataclass(frozen=True)
class Say:
    """One text out. ``to`` is None for the phone that texted, else the letter of another seat of the visit."""

    text: str
    to: str | None = None


@dataclass(frozen=True)
class TimerChange:
    """Starts the seat's timer of this kind anew, due at ``due``; None stops it."""

    kind: str
    due: datetime | None


@dataclass(frozen=True)
class Decision:
    """All that follows from one text: written in one transaction, sent after it."""

    state: SeatState
    entries: tuple[Entry, ...] = ()
    says: tuple[Say, ...] = ()
    timers: tuple[TimerChange, ...] = ()
    new_visit: bool = False
    expects: str | None = None
    options: tuple[str, ...] = field(default=())
