"""What most tests start from: the shipped flow book, and a phone that talks over a real record in a temporary file."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.model import FlowBook
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange, TextIn
from guide.record.open import open_record
from guide.record.store import Store, TextOut
from guide.record.verify import verify
from guide.talk.blanks import REGISTRY
from guide.talk.turn import Talk

START = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)


def load(text: str) -> Talk:
    """A stored book made ready to talk."""
    return Talk.of(load_book(text, REGISTRY, KINDS), REGISTRY)


@pytest.fixture(scope="session")
def book() -> FlowBook:
    """The flow book that ships."""
    return load_book(book_text(shipped_flows()), REGISTRY, KINDS)


@dataclass
class Field:
    """A record with phones that text to it; time moves a minute a text."""

    exchange: Exchange
    now: datetime = START
    last: dict[str, list[TextOut]] = field(default_factory=dict)

    @property
    def db(self) -> Any:
        return self.exchange.store.db

    def text(self, words: str, number: str = "+100", minutes: float = 1, ext_id: str | None = None) -> list[str]:
        """One text from a phone; timers due before it fire first. Returns the texts its phone got."""
        self.wait(minutes)
        outs = self.exchange.receive(TextIn(number, words, ext_id), self.now)
        self._keep(outs)
        return [out.text for out in outs if out.number == number]

    def converse(self, *words: str, number: str = "+100") -> list[str]:
        """Several texts from a phone; returns what the last was answered."""
        answer: list[str] = []
        for word in words:
            answer = self.text(word, number)
        return answer

    def wait(self, minutes: float) -> list[TextOut]:
        """Time passes; timers due in it fire."""
        self.now += timedelta(minutes=minutes)
        fired: list[TextOut] = []
        while (outs := self.exchange.fire_next(self.now)) is not None:
            self._keep(outs)
            fired += outs
        return fired

    def _keep(self, outs: list[TextOut]) -> None:
        for out in outs:
            self.last.setdefault(out.number, []).append(out)

    def step(self, number: str = "+100") -> str:
        """The step a phone is at."""
        return self.last[number][-1].step or ""

    def until(self, step: str, number: str = "+100") -> list[str]:
        """Answers with whatever carries on, until a step is reached; returns its prompt."""
        if number not in self.last:
            self.text("hi", number)
        for _ in range(300):
            if self.step(number) == step:
                return [self.last[number][-1].text]
            self.text(self.last[number][-1].options[0], number)
        raise AssertionError(f"never came to {step}, but to {self.step(number)}")

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        return list(self.db.execute(sql, values))

    def whole(self) -> None:
        """The record verifies."""
        assert verify(self.db).problems == []


@pytest.fixture
def open_field(tmp_path: Path, book: FlowBook) -> Iterator[Callable[..., Field]]:
    """Opens a record in a file; called again with the same name, it is a new process on the same record."""
    opened: list[Field] = []

    def make(name: str = "record.db", lossy: bool = False, flow_book: FlowBook = book) -> Field:
        exchange = Exchange(Store(open_record(tmp_path / name)), flow_book, load, 7, lossy)
        exchange.set_up(START)
        opened.append(Field(exchange))
        return opened[-1]

    yield make
    for one in opened:
        one.db.close()


@pytest.fixture
def pond(open_field: Callable[..., Field]) -> Field:
    """A new record and nobody at the water yet."""
    return open_field()
