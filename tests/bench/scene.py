"""What several benches play: a record with tags enough, and phones whose pairs answer whatever carries on."""

import os
import statistics
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.model import FlowBook
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange, TextIn
from guide.record.open import open_record
from guide.record.store import Store, TextOut
from guide.talk.blanks import REGISTRY
from guide.talk.turn import Talk

START = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
TAGS = "[tags]\nfirst = 100000\ncount = 60000\nwidth = 7\n"
ROOT = Path(__file__).resolve().parents[2]
"""Benches write here: a temporary folder may be memory, where nothing waits for a disk."""


@dataclass
class Measured:
    """One line of the table: a figure, its spread, and what it stands beside."""

    what: str
    unit: str
    values: list[float]
    floor: str = ""
    ratio: float | None = None
    reach: str = ""

    @property
    def median(self) -> float:
        """The middle of what was measured."""
        return statistics.median(self.values)


@contextmanager
def folder() -> Iterator[Path]:
    """A folder on the disk the project is on, gone afterwards."""
    with tempfile.TemporaryDirectory(dir=ROOT, prefix=".bench-") as name:
        yield Path(name)


def fsyncs_a_second(place: Path, times: int = 200) -> float:
    """How many times a second the disk takes a page at the end of a file."""
    page, path = b"x" * 4096, place / "fsync"
    with path.open("wb", buffering=0) as file:
        begun = time.perf_counter()
        for _ in range(times):
            file.write(page)
            os.fsync(file.fileno())
        took = time.perf_counter() - begun
    path.unlink()
    return times / took


def big_book() -> FlowBook:
    """The shipped flows with a pool of 60,000 tags, so that many visits can be played."""
    text = book_text(shipped_flows())
    before, _, rest = text.partition("[tags]\n")
    _, _, after = rest.partition("\n[")
    return load_book(f"{before}{TAGS}\n[{after}", REGISTRY, KINDS)


def talk_of(book: FlowBook, text: str) -> Talk:
    """A stored book made ready to talk."""
    return Talk.of(book if text == book.text else load_book(text, REGISTRY, KINDS), REGISTRY)


def new_exchange(path: Path, book: FlowBook) -> Exchange:
    """An exchange over a record in a file; its words and codes are the same each time."""
    exchange = Exchange(Store(open_record(path)), book, lambda text: talk_of(book, text), 7)
    exchange.set_up(START)
    return exchange


@dataclass
class Phones:
    """Phones that text at the same time, each answering with what carries on, a visit after the other."""

    many: int
    first: int = 0
    now: datetime = START
    said: list[str] = field(default_factory=list)
    place: int = 0

    def __post_init__(self) -> None:
        self.said = self.said or ["hi"] * self.many

    def next_texts(self, how_many: int) -> list[TextIn]:
        """The next texts, of so many different phones in turn; a second passes."""
        self.now += timedelta(seconds=1)
        texts = []
        for _ in range(how_many):
            number = f"+{1000 + self.first + self.place}"
            texts.append(TextIn(number, self.said[self.place], f"{self.now.timestamp():.0f}-{self.place}"))
            self.place = (self.place + 1) % self.many
        return texts

    def heard(self, outs: Sequence[TextOut]) -> None:
        """Each phone will answer the last text it got; where nothing is asked, the next visit begins."""
        for out in outs:
            self.said[int(out.number) - 1000 - self.first] = out.options[0] if out.options else "amberwell"
