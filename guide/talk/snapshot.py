"""What a conversation may look up: a small read-only port."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple, Protocol

from guide.record.log import Entry

_NO_ANSWERS: dict[str, Any] = {}
"""Shared by all visits without answers; never changed."""


class VisitView(NamedTuple):
    """A visit as the talk sees it. ``answers`` are the latest answers about the visit by name."""

    uid: str
    code8: str
    practice: bool
    target: int
    status: str = "open"
    site: str | None = None
    answers: dict[str, Any] = _NO_ANSWERS
    opened_at: str = ""
    word: str = ""


class SampleView(NamedTuple):
    """One sample of the visit. ``status`` is open, kept or void."""

    uid: str
    status: str
    tag: str | None = None
    length_mm: float | None = None
    family: str | None = None
    sure: bool | None = None
    seat: str = "A"
    gloves: str = "not asked"
    flags: tuple[str, ...] = ()
    sealed: bool = False
    kind: str = "larva"


class TagView(NamedTuple):
    """One tag of the pool: ``status`` is free, used or void; ``sample`` and its ``visit`` have it.

    ``site`` is the water whose pairs were given the slip; None for any.
    """

    code: str
    status: str
    sample: str | None = None
    visit: str | None = None
    site: str | None = None


class KitView(NamedTuple):
    """A kit: the site and visit it was last at, and whether it was disinfected since."""

    last_site: str | None
    disinfected: bool
    last_visit: str | None = None


class SeatView(NamedTuple):
    """A seat of a visit, its phone's number, and the step its visit's talk is ``at``."""

    id: int
    letter: str
    role: str
    visit: str
    phone: str | None
    at: str = ""


class SeatFacts(NamedTuple):
    """The seat that talks: its letter, the word that moves it to another phone, and the channel's habits."""

    letter: str = "A"
    word: str = ""
    role: str = "pair"
    lossy: bool = False
    turn: int = 0
    now: datetime = datetime(2026, 7, 4, 9, 0)


class Snapshot(Protocol):
    """What ``talk`` may read, as it stands inside the transaction that will apply the decision."""

    def visit(self) -> VisitView: ...
    def samples(self) -> list[SampleView]: ...
    def sample(self, uid: str) -> SampleView | None: ...
    def tag(self, code: str) -> TagView | None: ...
    def free_tag(self, besides: Sequence[str] = ()) -> str | None: ...
    def new_sample_uid(self, already: int) -> str: ...
    def answer_ref(self, name: str, sample_uid: str | None) -> str | None: ...
    def other_seats(self) -> list[SeatView]: ...
    def kit(self, uid: str) -> KitView | None: ...
    def kept_times(self) -> list[tuple[str, datetime]]: ...
    def last_bottle_day(self, site: str) -> str | None: ...
    def clean_before(self) -> int: ...
    def mark(self, entries: Sequence[Entry], seat: SeatFacts, now: datetime) -> str: ...
