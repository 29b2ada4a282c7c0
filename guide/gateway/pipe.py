"""The pipe: JSON lines in and out, so that anything can carry the texts and any test can be a phone.

In: ``{"id", "from", "text", "at"}`` or ``{"tick": time}``. Out: ``{"id", "to", "text", "segments", "in_reply_to",
"step", "expects", "options"}``, then ``{"handled": id}`` once all of an input's texts are out; a line that can't be
used gives ``{"error", "line"}``.
"""

import json
import os
import queue
import sqlite3
import threading
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from typing import Any, BinaryIO, NamedTuple

from guide.errors import WadelineError
from guide.gateway.exchange import Exchange, OtherWordsError, TextIn
from guide.record.store import TextOut

LONGEST_LINE = 64 * 1024
_WAITING_LINES = 64
_NEWLINE = b"\n"
_LONGEST_SLEEP_S = 3600.0
_OTHERS_EVERY_S = 1.0


class LineError(WadelineError):
    """An input line can't be used; says what is wrong with it."""


class Line(NamedTuple):
    """One input line: a text, or a tick of the clock. ``at`` is the time it gives, if it gives one."""

    text: TextIn | None
    id: str | None
    at: datetime | None


def parse_line(raw: bytes) -> Line:
    """Reads one line; raises LineError."""
    if len(raw) > LONGEST_LINE:
        raise LineError(f"the line is longer than {LONGEST_LINE} bytes")
    try:
        data = json.loads(raw.decode("utf-8", "replace"))
    except (ValueError, RecursionError):
        raise LineError("the line is not JSON") from None
    if not isinstance(data, dict):
        raise LineError('the line must be an object such as {"id": "1", "from": "+100", "text": "ok"}')
    if "tick" in data:
        return Line(None, _string(data, "id", needed=False), _time(data["tick"], "tick"))
    number, text = _string(data, "from"), _string(data, "text", empty=True)
    ext_id = _string(data, "id", needed=False)
    at = _time(data["at"], "at") if data.get("at") is not None else None
    sent_at = data["at"] if at else None
    return Line(TextIn(number or "", text or "", ext_id, sent_at), ext_id, at)


def _string(data: dict[str, Any], name: str, needed: bool = True, empty: bool = False) -> str | None:
    value = data.get(name)
    if value is None and not needed:
        return None
    if not needed and isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    if not isinstance(value, str) or (not value and not empty):
        raise LineError(f'"{name}" must be a string' + ("" if empty else " that is not empty"))
    return value.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _time(value: Any, name: str) -> datetime:
    try:
        at = datetime.fromisoformat(value)
        if not 2000 <= at.year < 2100:
            raise ValueError
        return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(UTC)
    except (TypeError, ValueError, OverflowError):
        raise LineError(f'"{name}" must be a time such as "2026-07-04T09:30:00Z"') from None


def line_out(out: TextOut, in_reply_to: str | None) -> dict[str, Any]:
    """A text out as the pipe prints it."""
    return {
        "id": f"t{out.id}",
        "to": out.number,
        "text": out.text,
        "segments": out.segments,
        "in_reply_to": in_reply_to,
        "step": out.step,
        "expects": out.expects,
        "options": list(out.options),
    }


class Pipe:
    """Reads lines and answers them until the input ends.

    ``clock`` tells real time, which rules until a line brings a time of its own; from then on, and after a restart,
    only lines move the time, and it never goes back.
    """

    def __init__(self, exchange: Exchange, write: Callable[[bytes], None], clock: Callable[[], datetime]) -> None:
        self.exchange, self.write, self.clock = exchange, write, clock
        self.given = exchange.store.given_time()
        self.line = 0
        self._unmarked: list[int] = []
        self._waited: set[int] = set()

    def run(self, source: BinaryIO) -> None:
        """Works every line of ``source``; first hands over what was committed and never handed over."""
        try:
            self._run(source)
        except KeyboardInterrupt:
            os._exit(130)  # the reader waits in a system call that the interpreter can't end

    def _run(self, source: BinaryIO) -> None:
        self._start()
        lines: queue.Queue[bytes | None] = queue.Queue(_WAITING_LINES)
        threading.Thread(target=_read_lines, args=(source, lines), daemon=True).start()
        while True:
            try:
                raw = lines.get_nowait()
            except queue.Empty:
                self._mark()
                raw = self._wait(lines)
            if raw is None:
                break
            self.line += 1
            if raw.strip():
                self.take(raw)
        self._mark()

    def _start(self) -> None:
        """Hands over what waits from before, at once: also what another pipe has printed and not yet noted."""
        self._hand_over(self._waiting())

    def _waiting(self) -> list[TextOut]:
        """What waits; a terminal and a pair at a drill's laptop are shown theirs by their own process."""
        phones = "phone.number != 'terminal' AND phone.number NOT LIKE 'drill-%'"
        return self.exchange.store.texts(f"outgoing.status = 'waiting' AND {phones}", ())

    def _look_for_others(self) -> None:
        """Hands over what another process, such as a trainer's board, left for phones.

        What waits only since the last look may be in the hands of another pipe, which is about to note it.
        """
        waiting = self._waiting()
        self._hand_over([out for out in waiting if out.id in self._waited])
        self._waited = {out.id for out in waiting}
        self._mark()

    def _hand_over(self, waiting: list[TextOut]) -> None:
        replies = self.exchange.store.reply_ids([out.turn for out in waiting])
        self._print(line_out(out, replies.get(out.turn, {}).get(out.number)) for out in waiting)
        self._unmarked += [out.id for out in waiting]

    def _wait(self, lines: "queue.Queue[bytes | None]") -> bytes | None:
        """The next line; while none comes and time is real, timers fire."""
        while True:
            due = self.exchange.next_due() if self.given is None else None
            wait = _LONGEST_SLEEP_S if due is None else min((due - self.clock()).total_seconds(), _LONGEST_SLEEP_S)
            try:
                return lines.get(timeout=min(max(wait, 0.0), _OTHERS_EVERY_S))
            except queue.Empty:
                if self.given is None:
                    self._fire(self.clock())
                    self._mark()
                    self.exchange.hold_timers(self.clock())
                if wait >= _OTHERS_EVERY_S:
                    self._look_for_others()

    def take(self, raw: bytes) -> None:
        """Works one line."""
        try:
            line = parse_line(raw)
            self._advance(line.at)
            if line.text is not None:
                self._work(line.text)
        except (LineError, OtherWordsError, sqlite3.OperationalError) as error:
            self._print([{"error": str(error), "line": self.line}])
            return
        self._print([{"handled": line.id}])

    def _advance(self, at: datetime | None) -> None:
        if at is not None:
            self.given = at if self.given is None else max(self.given, at)
            self._fire(self.given)
        elif self.given is None:
            self._fire(self.clock())

    def _work(self, text: TextIn) -> None:
        now = self.given or self.clock()
        store = self.exchange.store
        with store.transaction():
            texts = self.exchange.work(text, now)
            store.handed_over(self._unmarked)
        self._unmarked = [out.id for out in texts]
        self._print(line_out(out, text.ext_id if out.number == text.number else None) for out in texts)

    def _fire(self, until: datetime) -> None:
        while (texts := self.exchange.fire_next(until)) is not None:
            self._print(line_out(out, None) for out in texts)
            self._unmarked += [out.id for out in texts]

    def _mark(self) -> None:
        """Notes as handed over what has been written; a text is otherwise handed over again after a crash."""
        if self._unmarked:
            try:
                with self.exchange.store.unsynced():
                    self.exchange.store.handed_over(self._unmarked)
            except sqlite3.OperationalError:
                return  # no space, or locked: the next text that can be worked notes it
            self._unmarked = []

    def _print(self, lines: Iterable[dict[str, Any]]) -> None:
        data = b"".join(json.dumps(line, ensure_ascii=False).encode() + _NEWLINE for line in lines)
        if data:
            self.write(data)


def _read_lines(source: BinaryIO, lines: "queue.Queue[bytes | None]") -> None:
    """Puts each line into the queue; of one that is too long only the beginning, enough to say so."""
    while raw := source.readline(LONGEST_LINE + 2):
        rest = raw
        while rest and not rest.endswith(_NEWLINE) and len(rest) > LONGEST_LINE:
            rest = source.readline(LONGEST_LINE + 2)
        lines.put(raw)
    lines.put(None)
