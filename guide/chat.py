"""``wadeline chat``: the talk in a terminal. The first question is on the screen before anything slow is imported.

On a terminal the talk scrolls and the line at the bottom is edited (``chat_screen``); with input piped, on a dumb
terminal or with ``--plain``, lines are read and printed as they are, which screen readers like best.
"""

import os
import shutil
import sqlite3
import sys
import textwrap
from collections.abc import Callable
from datetime import UTC, datetime

from guide.flow.replies.clean import clean
from guide.gateway.exchange import Exchange, TextIn
from guide.record.store import TextOut

TERMINAL = "terminal"
"""The terminal's number in the record."""

HINT = "Answer as you would text. ? explains, BACK asks again. Ctrl-D leaves, everything is kept."
LEAVING = "Everything is kept. Go on later with:"
STOPPED = "Texts are stopped, so nothing is answered here. START brings them back."
NOT_TAKEN = "That was not taken, the record can't be written now ({error}). Send it again."
WIDEST = 100
TICK_S = 1.0
"""How often timers are looked at while a line is being typed."""


class Talker:
    """One person at a terminal, talking over an exchange. Times are read from ``clock``."""

    def __init__(self, exchange: Exchange, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.exchange, self.clock = exchange, clock
        self.last: TextOut | None = None

    def begin(self) -> list[str]:
        """The first texts: a first visit begins, or one that is going on says where it stands."""
        return self.say("" if self.exchange.draft(TERMINAL, self.clock()) is None else "WHERE")

    def say(self, words: str) -> list[str]:
        """Sends a text; returns what the guide answers, and what timers said just before."""
        words = words.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        before = self.overdue()
        try:
            self.exchange.receive(TextIn(TERMINAL, words), self.clock())
            said = before + self._waiting()
            return said or ([STOPPED] if self._is_stopped() else [])
        except sqlite3.OperationalError as error:
            return [*before, NOT_TAKEN.format(error=error)]

    def overdue(self) -> list[str]:
        """Fires the timers that are due; returns what they, or others of the visit, say here."""
        try:
            while self.exchange.fire_next(self.clock()) is not None:
                pass
            return self._waiting()
        except sqlite3.OperationalError:
            return []  # still due, and tried again at the next look

    def _waiting(self) -> list[str]:
        """The texts for this terminal that were not shown yet, also those of a process that was killed."""
        store = self.exchange.store
        mine = store.texts("outgoing.status = 'waiting' AND phone.number = ?", (TERMINAL,))
        if mine:
            with store.transaction():
                store.handed_over([out.id for out in mine])
            self.last = mine[-1]
        return [clean(out.text) for out in mine]

    def _is_stopped(self) -> bool:
        with self.exchange.store.transaction():
            return self.exchange.store.phone(TERMINAL).stopped_at is not None


def chat(exchange: Exchange, again: str, plain: bool = False) -> int:
    """Talks until the input ends, then says how to go on (``again``): the record has all that was said."""
    talker = Talker(exchange)
    show = _print_wrapped if sys.stdout.isatty() else _print_plain
    on_screen = is_screen() and not plain and not os.environ.get("WADELINE_PLAIN")
    if exchange.book.settings.practice:
        show("Practice visit of the demo programme: nothing here counts as a real sample.")
    show(f"{HINT} Tab lists answers." if on_screen else HINT)
    for text in talker.begin():
        show(text)
    if on_screen:
        from guide.chat_screen import talk_on_screen

        talk_on_screen(talker)
    else:
        _talk_plainly(talker, show)
    show(f"{LEAVING} {again}")
    return 0


def is_screen() -> bool:
    """True for a terminal that can edit a line at its bottom."""
    return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM", "dumb") not in ("dumb", "unknown")


def wrapped(text: str, columns: int) -> str:
    """A text broken between words for a screen this wide; words are never broken."""
    width = max(10, min(columns - 1, WIDEST))
    lines = (textwrap.fill(line, width, break_long_words=False, break_on_hyphens=False) for line in text.split("\n"))
    return "\n".join(lines)


def _print_wrapped(text: str) -> None:
    print(f"{wrapped(text, shutil.get_terminal_size().columns)}\n", flush=True)


def _print_plain(text: str) -> None:
    print(f"{text}\n", flush=True)


def _talk_plainly(talker: Talker, show: Callable[[str], None]) -> None:
    while True:
        try:
            if sys.stdin.isatty():
                print("> ", end="", flush=True)
                let_timers_speak(talker, show)
            line = input()
        except EOFError:
            print()
            return
        except KeyboardInterrupt:
            print("\nCtrl-D leaves; everything is kept.")
            continue
        for text in talker.say(line) if line.strip() else ():
            show(text)


def let_timers_speak(talker: Talker, show: Callable[[str], None]) -> None:
    """Waits for a line on standard input; texts that fall due meanwhile are shown, with a new mark to type at."""
    if os.name == "nt":
        return  # a console's input can't be waited for there: timers speak with the next line
    from select import select

    while not select([sys.stdin], [], [], TICK_S)[0]:
        texts = talker.overdue()
        if texts:
            print("\n")
        for text in texts:
            show(text)
        if texts:
            print("> ", end="", flush=True)
