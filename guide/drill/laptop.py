"""A drill on one laptop: the pairs take turns at it, each answers as it would text, specimens are drawn.

Plain lines in and out, so that a screen reader, a pipe and the oldest terminal do as well.
"""

import shutil
import sqlite3
import sys
from collections.abc import Callable
from datetime import UTC, datetime

from guide.chat import Talker, let_timers_speak, wrapped
from guide.drill.score import Point, points_of
from guide.drill.session import Session
from guide.drill.specimens import drawing, words
from guide.flow.replies.clean import clean
from guide.gateway.exchange import TextIn

SAFETY = "This is practice, nothing here counts. Real danger? Stop playing, call {emergency}."
HOW = "Answer as you would text. ? explains, OOPS tells of a slip, DANGER stops all. Ctrl-D ends the drill."


class LeavesError(Exception):
    """Somebody ended the drill with Ctrl-D."""


class PairTalker(Talker):
    """The pair whose turn it is at the laptop."""

    def __init__(self, session: Session, pair: str, clock: Callable[[], datetime]) -> None:
        super().__init__(session.exchange, clock)
        self.session, self.pair, self.number = session, pair, session.number(pair)

    def say(self, words: str) -> list[str]:
        """Sends a text; returns what the guide and the drill say to it."""
        words = words.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        before = self.overdue()
        self.exchange.receive(TextIn(self.number, words, gateway="laptop"), self.clock())
        return before + self.overdue()

    def overdue(self) -> list[str]:
        """What timers, the drill and its trainer have to say by now."""
        try:
            while self.exchange.fire_next(self.clock(), given_time=False) is not None:
                pass
            self.session.look(self.clock())
            return self.waiting()
        except sqlite3.OperationalError:
            return []  # another process writes just now: still due, and tried again at the next look

    def waiting(self) -> list[str]:
        """The pair's texts that were not shown yet."""
        store = self.exchange.store
        mine = store.texts("outgoing.status = 'waiting' AND phone.number = ?", (self.number,))
        if mine:
            with store.transaction():
                store.handed_over([out.id for out in mine])
        return [clean(out.text) for out in mine]


def play(session: Session, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
    """Plays all rounds of a session at this terminal, pair after pair; Ctrl-D ends it."""
    emergency = session.book.settings.emergency
    _show(f"{session.drill.title}, about {session.drill.minutes} minutes. {session.drill.about['en']}")
    _show(SAFETY.format(emergency=emergency))
    _show(HOW)
    try:
        for number in range(1, session.view.rounds + 1):
            for pair in session.view.pairs:
                _hand_over(session, pair, number)
                _play_round(PairTalker(session, pair, clock))
    except LeavesError:
        session.end(clock())
    print()


def _hand_over(session: Session, pair: str, number: int) -> None:
    """The laptop changes hands; a first round of one pair begins at once."""
    several = len(session.view.pairs) > 1
    if number == 1 and not several:
        return
    who = f"Pair {pair}, take the laptop. " if several else ""
    _read(f"{who}Round {number} of {session.view.rounds}. Enter begins. ")


def _play_round(talker: PairTalker) -> None:
    session = talker.session
    session.begin_round(talker.pair, talker.clock())
    begun = len(session.view.pairs[talker.pair].rounds)
    _show_all(talker, talker.waiting() + talker.overdue())
    while session.read().pairs[talker.pair].now() is not None:
        line = _read("> ", talker)
        _show_all(talker, talker.say(line))
    _show(_round_words([p for p in points_of(session.view) if (p.pair, p.round) == (talker.pair, begun)], begun))


def _round_words(points: list[Point], number: int) -> str:
    """A round in one line, and what went wrong in it."""
    right = sum(point.right for point in points)
    soon = sum(point.kind == "step" for point in points)
    slips = [point.what for point in points if not point.right and point.kind != "step"]
    times = "once" if soon == 1 else f"{soon} times"
    wrong = "; ".join([*slips, *([f"{times} OK sooner than hands can do it"] if soon else [])])
    return (
        f"Round {number} is over: {right} of {len(points)} right. {f'To look at: {wrong}.' if wrong else 'Well done.'}"
    )


def _read(mark: str, talker: PairTalker | None = None) -> str:
    """A line from the keyboard; clocks and the trainer may speak while it is waited for."""
    while True:
        try:
            if talker is not None and sys.stdin.isatty():
                print(mark, end="", flush=True)
                let_timers_speak(talker, lambda text: _show_one(talker, text))
                return input()
            return input(mark)
        except EOFError:
            raise LeavesError from None
        except KeyboardInterrupt:
            print("\nCtrl-D ends the drill; what was played is kept.")


def _show_all(talker: PairTalker, texts: list[str]) -> None:
    for text in texts:
        _show_one(talker, text)


def _show_one(talker: PairTalker, text: str) -> None:
    """A text; a specimen is drawn under its words."""
    _show(text)
    specimen = talker.session.specimen(talker.pair)
    if specimen is not None and text == words(specimen):
        print(drawing(specimen), end="\n\n", flush=True)


def _show(text: str) -> None:
    if sys.stdout.isatty():
        text = wrapped(text, shutil.get_terminal_size().columns)
    print(f"{text}\n", flush=True)
