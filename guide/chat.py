"""``wadeline chat``: the talk in a terminal. The first question is on the screen before anything slow is imported.

On a terminal the talk scrolls and the line at the bottom is edited (``chat_screen``); with input piped, on a dumb
terminal or with ``--plain``, lines are read and printed as they are, which screen readers like best.
"""

import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable
from datetime import UTC, datetime

from guide.flow.replies.clean import clean
from guide.gateway.exchange import Exchange, TextIn
from guide.record.store import TextOut

TERMINAL = "terminal"
"""The terminal's number in the record."""

LEAVING = "Everything is kept. Go on later with: wadeline chat"
WIDEST = 100


class Talker:
    """One person at a terminal, talking over an exchange. Times are read from ``clock``."""

    def __init__(self, exchange: Exchange, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.exchange, self.clock = exchange, clock
        self.last: TextOut | None = None

    def begin(self) -> list[str]:
        """The first texts: a first visit begins, or one that is going on says where it stands."""
        with self.exchange.store.transaction():
            phone = self.exchange.store.phone(TERMINAL)
        return self.say("" if phone.seat is None else "WHERE")

    def say(self, words: str) -> list[str]:
        """Sends a text; returns what the guide answers, and what timers said just before."""
        before = self.overdue()
        words = words.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        return before + self._mine(self.exchange.receive(TextIn(TERMINAL, words), self.clock()))

    def overdue(self) -> list[str]:
        """Fires the timers that are due; returns what they say here."""
        said: list[str] = []
        while (texts := self.exchange.fire_next(self.clock())) is not None:
            said += self._mine(texts)
        return said

    def _mine(self, texts: Iterable[TextOut]) -> list[str]:
        mine = [out for out in texts if out.number == TERMINAL]
        with self.exchange.store.transaction():
            self.exchange.store.handed_over([out.id for out in mine])
        if mine:
            self.last = mine[-1]
        return [clean(out.text) for out in mine]


def chat(exchange: Exchange, plain: bool = False) -> int:
    """Talks until the input ends. What was said is in the record: the next start goes on from there."""
    talker = Talker(exchange)
    show = _print_wrapped if sys.stdout.isatty() else _print_plain
    if exchange.book.settings.practice:
        show("Practice visit of the demo programme: nothing here counts as a real sample.")
    show("Answer as you would text. ? explains, BACK asks again. Ctrl-D leaves, everything is kept.")
    for text in talker.begin():
        show(text)
    if plain or not is_screen():
        _talk_plainly(talker, show)
    else:
        from guide.chat_screen import talk_on_screen

        talk_on_screen(talker)
    show(LEAVING)
    return 0


def is_screen() -> bool:
    """True for a terminal that can edit a line at its bottom."""
    return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM", "dumb") not in ("dumb", "unknown")


def wrapped(text: str, columns: int) -> str:
    """A text broken between words for a screen this wide; words are never broken."""
    width = max(10, min(columns - 1, WIDEST))
    lines = (textwrap.fill(line, width, break_long_words=False) for line in text.split("\n"))
    return "\n".join(lines)


def _print_wrapped(text: str) -> None:
    print(f"{wrapped(text, shutil.get_terminal_size().columns)}\n", flush=True)


def _print_plain(text: str) -> None:
    print(f"{text}\n", flush=True)


def _talk_plainly(talker: Talker, show: Callable[[str], None]) -> None:
    while True:
        try:
            line = input("> " if sys.stdin.isatty() else "")
        except EOFError:
            print()
            return
        except KeyboardInterrupt:
            print("\nCtrl-D leaves; everything is kept.")
            continue
        for text in talker.say(line):
            show(text)
