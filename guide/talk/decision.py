"""What a text leads to, before anything is written."""

from datetime import datetime
from typing import NamedTuple

from guide.record.log import Entry
from guide.talk.state import SeatState


class Say(NamedTuple):
    """One text out. ``to`` is None for the phone that texted, else the letter of another seat of the visit."""

    text: str
    to: str | None = None


class TimerChange(NamedTuple):
    """Starts the seat's timer of this kind anew, due at ``due``; None stops it."""

    kind: str
    due: datetime | None


class Decision(NamedTuple):
    """All that follows from one text: written in one transaction, sent after it."""

    state: SeatState
    entries: tuple[Entry, ...] = ()
    says: tuple[Say, ...] = ()
    timers: tuple[TimerChange, ...] = ()
    new_visit: bool = False
    expects: str | None = None
    options: tuple[str, ...] = ()
