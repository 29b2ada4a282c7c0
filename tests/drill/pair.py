"""A pair that texts in a drill, for tests that say themselves what it texts."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from guide.drill.session import Session
from guide.gateway.exchange import Exchange, TextIn
from guide.record.verify import verify

START = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)


@dataclass
class Pair:
    """A pair of a session, half a minute between its texts; ``exchange`` is that of another process, if it is one."""

    session: Session
    name: str = "A"
    number: str = ""
    exchange: Exchange | None = None
    now: datetime = START

    def text(self, words: str, seconds: float = 30) -> list[str]:
        """One text; returns what its phone gets, the drill's words included."""
        self.now += timedelta(seconds=seconds)
        exchange = self.exchange or self.session.exchange
        number = self.number or self.session.number(self.name)
        outs = []
        while (fired := exchange.fire_next(self.now)) is not None:
            outs += fired
        outs += exchange.receive(TextIn(number, words), self.now)
        outs += self.session.look(self.now)
        return [out.text for out in outs if out.number == number]

    def texts(self, *words: str) -> list[str]:
        """Several texts; returns what the last one led to."""
        return [self.text(one) for one in words][-1]

    def begin(self) -> list[str]:
        """Begins the pair's next round; returns what it is shown."""
        number = self.number or self.session.number(self.name)
        outs = self.session.begin_round(self.name, self.now) + self.session.look(self.now)
        return [out.text for out in outs if out.number == number]

    def kinds(self) -> list[str]:
        """The kinds of the session's entries."""
        return [line.kind for line in self.session.read().lines]

    def whole(self) -> None:
        """The record verifies."""
        assert verify(self.session.store.db).problems == []
