"""Plays a transcript over the same exchange that real texts go through, on a fresh record that is thrown away.

What is random in a real record and shows in no text (the machine's own id) is left random. The mark that closes a visit
shows, and is masked: see ``transcript.py``.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory

from guide.flow.load import load_book
from guide.flow.model import FlowBook
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange, TextIn
from guide.record.open import open_record
from guide.record.store import Store, TextOut
from guide.replay.expect import found_instead
from guide.replay.transcript import Beat, GuideLine, Transcript, clock
from guide.talk.blanks import REGISTRY
from guide.talk.turn import Talk

MASK = "********"


@dataclass(frozen=True)
class Problem:
    """A line of a transcript that isn't as the guide or the record has it."""

    line: int
    what: str
    written: str
    found: str


@dataclass(frozen=True)
class Replayed:
    """What came of playing a transcript: what the guide said in each beat, and where that isn't what is written."""

    said: list[tuple[GuideLine, ...]]
    problems: list[Problem]


def replay(transcript: Transcript, book: FlowBook, watch: Callable[[Beat], None] = lambda beat: None) -> Replayed:
    """Plays a whole transcript and checks it; ``watch`` is given each beat, with what the guide said, as it is over."""
    with TemporaryDirectory(prefix="wadeline-replay-") as folder:
        player = _Player(transcript, book, Path(folder) / "record.db")
        try:
            beats = []
            for beat in player.play():
                watch(beat)
                beats.append(beat)
            problems = [p for was, now in zip(transcript.beats, beats, strict=True) for p in _compare(was, now)]
            return Replayed([beat.guide for beat in beats], problems + player.check())
        finally:
            player.close()


def _compare(written: Beat, played: Beat) -> Iterator[Problem]:
    last = written.line
    for was, now in zip_longest(written.guide, played.guide):
        last = was.line if was else last
        if was != now:
            what = "the guide said" if was and now else "the guide said nothing" if was else "the guide said more"
            yield Problem(last, what, _line(was), _line(now))


def _line(line: GuideLine | None) -> str:
    if line is None:
        return "(nothing)"
    return f"{clock(line.at) + ' ' if line.at else ''}{f'to {line.to}: ' if line.to else ''}{line.text}"


class _Player:
    """A record, phones by role, and the time."""

    def __init__(self, transcript: Transcript, book: FlowBook, path: Path) -> None:
        self.transcript, self.book, self.path = transcript, book, path
        self.numbers = {role: f"+{100 + place}" for place, role in enumerate(transcript.phones)}
        self.roles = {number: role for role, number in self.numbers.items()}
        self.texts: dict[str, TextIn] = {}
        self.texted = transcript.phones[0]
        self.starts = 0
        self.exchange = self._open()

    def _open(self) -> Exchange:
        book, transcript = self.book, self.transcript

        def load(text: str) -> Talk:
            return Talk.of(book if text == book.text else load_book(text, REGISTRY, KINDS), REGISTRY)

        exchange = Exchange(Store(open_record(self.path)), book, load, transcript.seed + self.starts, transcript.lossy)
        exchange.set_up(transcript.start)
        self.starts += 1
        return exchange

    def close(self) -> None:
        self.exchange.store.db.close()

    def play(self) -> Iterator[Beat]:
        """Each beat with what the guide said in it, once no more can be said before the next."""
        before: Beat | None = None
        for beat in self.transcript.beats:
            until = beat.at if beat.act in ("text", "again") else None
            if before is not None:
                yield replace(before, guide=(*before.guide, *(self._timers(until) if until else ())))
            before = replace(beat, guide=tuple(self._act(beat)))
        if before is not None:
            yield before

    def _act(self, beat: Beat) -> Iterator[GuideLine]:
        if beat.act == "restart":
            self.close()
            self.exchange = self._open()
        elif beat.act == "wait":
            yield from self._timers(beat.at)
        else:
            self.texted = beat.phone
            if beat.act == "text":
                self.texts[beat.phone] = TextIn(self.numbers[beat.phone], beat.words, f"m{beat.line}")
            outs = self.exchange.receive(self.texts[beat.phone], beat.at.astimezone(UTC))
            yield from (self._said(out, None) for out in outs)

    def _timers(self, until: datetime) -> Iterator[GuideLine]:
        """Fires what is due by then; a timer's text has a clock."""
        while (due := self.exchange.next_due()) is not None and due <= until:
            for out in self.exchange.fire_next(due) or ():
                yield self._said(out, due.astimezone(until.tzinfo))

    def _said(self, out: TextOut, at: datetime | None) -> GuideLine:
        role = self.roles[out.number]
        return GuideLine(self._masked(out.text), None if role == self.texted else role, at)

    def _masked(self, text: str) -> str:
        """The text with the mark of a visit that is closed masked, if it is the right one."""
        for (mark,) in self.exchange.store.db.execute("SELECT hash FROM log WHERE kind = 'visit_closed'"):
            text = text.replace(mark[:8], MASK)
        return text

    def check(self) -> list[Problem]:
        """Holds every ``expect`` line against the record."""
        problems = []
        for expect in self.transcript.expects:
            found = found_instead(self.exchange.store.db, expect.words)
            if found is not None:
                problems.append(Problem(expect.line, "the record has", " ".join(expect.words), found))
        return problems
