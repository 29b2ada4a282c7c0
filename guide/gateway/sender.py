"""Hands texts out to a gateway: in order per phone, again with back-off when that fails, never a stale one."""

import asyncio
import logging
import sqlite3
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Literal, NamedTuple, Protocol

from guide.gateway.outbox import Outbox, Waiting

log = logging.getLogger("wadeline")
_LEAST_TRIES = 8


class Handed(NamedTuple):
    """What a gateway said to a text: it took it, it may take it later, or it never will; ``why`` in words."""

    how: Literal["taken", "later", "never"]
    why: str = ""


class Carrier(Protocol):
    """A gateway's outward side."""

    async def hand(self, text: Waiting) -> Handed:
        """Hands over one text; never raises for what a network does."""
        ...

    async def close(self) -> None:
        """Lets go of connections."""
        ...


@dataclass(frozen=True)
class SendRules:
    """``at_once`` texts under way to different phones; the first wait after a failure and the longest, in seconds;
    after ``give_up_h`` hours a text is a failure; what waits longer than ``stale_s`` may be stale."""

    at_once: int = 16
    first_wait_s: float = 2.0
    longest_wait_s: float = 300.0
    give_up_h: float = 24.0
    stale_s: float = 60.0
    poll_s: float = 1.0


class Sender:
    """Keeps a queue for each phone and works them side by side."""

    def __init__(
        self, outbox: Outbox, carrier: Carrier, clock: Callable[[], datetime], random: Random, rules: SendRules
    ) -> None:
        self.outbox, self.carrier, self.clock, self.random, self.rules = outbox, carrier, clock, random, rules
        self.failing_since: datetime | None = None
        self._queues: dict[int, deque[Waiting]] = {}
        self._busy: dict[int, asyncio.Task[None]] = {}
        self._last = 0
        self._taken: list[int] = []
        self._wake = asyncio.Event()
        self._slots = asyncio.Semaphore(rules.at_once)

    def wake(self) -> None:
        """New texts may wait."""
        self._wake.set()

    @property
    def waiting(self) -> int:
        """How many texts wait."""
        return sum(map(len, self._queues.values()))

    async def run(self) -> None:
        """Sends until cancelled; texts of other processes on this record are found within a second."""
        while True:
            self._wake.clear()
            try:
                self._read()
            except sqlite3.Error as error:
                self.outbox.trouble.met(error)
            try:
                async with asyncio.timeout(self.rules.poll_s):
                    await self._wake.wait()
            except TimeoutError:
                continue

    async def close(self, within_s: float = 5.0) -> None:
        """Ends: what is under way is waited for, what still waits stays in the record."""
        self._queues.clear()
        if self._busy:
            await asyncio.wait(self._busy.values(), timeout=within_s)
        for task in self._busy.values():
            task.cancel()
        self._write_taken()
        await self.carrier.close()

    def _read(self) -> None:
        for text in self.outbox.waiting(self._last):
            self._last = text.id
            self._queues.setdefault(text.phone, deque()).append(text)
        for phone in self._queues.keys() - self._busy.keys():
            self._busy[phone] = asyncio.create_task(self._work(phone))

    async def _work(self, phone: int) -> None:
        """Sends one phone's texts, one after the other."""
        try:
            while queue := self._queues.get(phone):
                self._drop_stale(queue)
                wait_s = (queue[0].retry_at - self.clock()).total_seconds()
                if queue[0].tries and wait_s > 0:
                    await asyncio.sleep(min(wait_s, self.rules.longest_wait_s))
                    self._drop_stale(queue)
                async with self._slots:
                    await self._send(queue)
        except sqlite3.Error:
            pass  # the outbox said so: what became of the text is noted when it is tried again
        except Exception:
            log.exception("sending to a phone stopped; it is tried again")
        finally:
            if not self._queues.get(phone):
                self._queues.pop(phone, None)
            if not self._queues:
                self.failing_since = None  # nothing waits: the last text was sent, or was given up
            self._busy.pop(phone, None)

    async def _send(self, queue: deque[Waiting]) -> None:
        text = queue[0]
        handed = await self.carrier.hand(text)
        now = self.clock()
        if handed.how == "taken":
            queue.popleft()
            self._note_taken(text)
        elif handed.how == "never" or self._is_past(text, now):
            why = handed.why if handed.how == "never" else f"given up after {self.rules.give_up_h:g} h: {handed.why}"
            self.outbox.failed(text, why, now)
            log.warning("text t%d was not sent: %s", text.id, why)
            queue.popleft()
        else:
            self._later(queue, text, handed.why, now)

    def _is_past(self, text: Waiting, now: datetime) -> bool:
        """Whether a text was tried long enough: a clock that jumps ahead makes none of them old in one try."""
        return text.tries >= _LEAST_TRIES and now - text.made_at > timedelta(hours=self.rules.give_up_h)

    def _later(self, queue: deque[Waiting], text: Waiting, why: str, now: datetime) -> None:
        if self.failing_since is None:
            self.failing_since = now
            log.warning("texts can't be sent now: %s; trying again", why)
        wait_s = min(self.rules.first_wait_s * 2.0 ** min(text.tries, 30), self.rules.longest_wait_s)
        retry_at = now + timedelta(seconds=wait_s * self.random.uniform(0.5, 1.0))
        queue[0] = text._replace(tries=text.tries + 1, retry_at=retry_at)
        self.outbox.try_later(text.id, why, retry_at)

    def _note_taken(self, text: Waiting) -> None:
        if self.failing_since is not None:
            log.warning("texts can be sent again")
            self.failing_since = None
        if not self._taken:
            asyncio.get_running_loop().call_soon(self._write_taken)
        self._taken.append(text.id)

    def _write_taken(self) -> None:
        """Texts taken in the same pass share a commit; a crash before it sends them again, never loses them."""
        if not self._taken:
            return
        try:
            self.outbox.sent(self._taken, self.clock())
        except sqlite3.Error:
            asyncio.get_running_loop().call_later(self.rules.poll_s, self._write_taken)
        else:
            self._taken = []

    def _drop_stale(self, queue: deque[Waiting]) -> None:
        """After an outage: of what says where a talk stands only the newest goes out."""
        stale = stale_of(queue, self.clock() - timedelta(seconds=self.rules.stale_s))
        if stale:
            newer = next(text for text in reversed(queue) if text.answers is not None)
            self.outbox.dropped(stale, newer, self.clock())
            kept = [text for text in queue if text not in stale]
            queue.clear()
            queue.extend(kept)
            log.warning("%d stale text(s) to one phone were not sent; the newest goes out", len(stale))


def stale_of(texts: "deque[Waiting] | list[Waiting]", before: datetime) -> list[Waiting]:
    """Of one phone's waiting texts those made before ``before`` that a later one of them takes the place of."""
    newest = max((text.answers for text in texts if text.answers is not None), default=None)
    return [text for text in texts if text.answers is not None and text.answers != newest and text.made_at < before]
