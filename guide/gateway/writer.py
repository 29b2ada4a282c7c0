"""Takes texts in from many phones at once: those that arrive together share one commit.

One writer, on the event loop, without threads: SQLite has one writer anyway, and a commit takes less than a
millisecond. In a pass, phones take turns, so that a flood from one never holds up the others.
"""

import asyncio
import logging
import sqlite3
from collections import deque
from collections.abc import Callable
from datetime import datetime

from guide.gateway.exchange import Exchange, OtherWordsError, TextIn
from guide.gateway.trouble import Trouble, is_of_the_record
from guide.record.store import TextOut

log = logging.getLogger("wadeline")
MOST_IN_PASS = 64
MOST_OF_PHONE = 4
_Given = tuple[TextIn, "asyncio.Future[list[TextOut]]"]


class Writer:
    """Texts go in with ``take``; ``after`` is called after each commit that led to something."""

    def __init__(
        self, exchange: Exchange, clock: Callable[[], datetime], after: Callable[[], None], trouble: Trouble
    ) -> None:
        self.exchange, self.clock, self.after, self.trouble = exchange, clock, after, trouble
        self._phones: dict[str, deque[_Given]] = {}
        self._planned = False
        self.worked = 0
        """Texts worked since the start, those brought again among them."""

    async def take(self, text: TextIn) -> list[TextOut]:
        """Works a text; returns once it is durable. Raises what its work raised, or sqlite3.Error."""
        future: asyncio.Future[list[TextOut]] = asyncio.get_running_loop().create_future()
        self._phones.setdefault(text.number, deque()).append((text, future))
        self._plan()
        return await future

    def _plan(self) -> None:
        if not self._planned and self._phones:
            self._planned = True
            asyncio.get_running_loop().call_soon(self._work)

    def _work(self) -> None:
        self._planned = False
        batch = self._batch()
        try:
            results = self.exchange.work_all([text for text, _ in batch], self.clock())
        except Exception as error:
            if isinstance(error, sqlite3.Error):
                self.trouble.met(error)
            else:
                log.error("nothing could be written: %s", error)
            for _, future in batch:
                if not future.done():
                    future.set_exception(error)
        else:
            self.worked += len(batch)
            self.trouble.over()
            for given, result in zip(batch, results, strict=True):
                self._tell(given, result)
            self.after()
        self._plan()

    def _tell(self, given: _Given, result: list[TextOut] | Exception) -> None:
        """Lets the gateway know. A text that can't be worked is kept, or it would be brought again for ever; one that
        met a damaged page is not: it can be worked once a backup is in place."""
        text, future = given
        if isinstance(result, sqlite3.Error) and is_of_the_record(result):
            self.trouble.met(result)
        elif isinstance(result, Exception) and not isinstance(result, OtherWordsError):
            log.error("a text could not be worked, it is kept as it came", exc_info=result)
            result = self._kept(text)
        if future.done():
            return
        if isinstance(result, Exception):
            future.set_exception(result)
        else:
            future.set_result(result)

    def _kept(self, text: TextIn) -> list[TextOut] | Exception:
        try:
            return self.exchange.keep_unworked(text, self.clock())
        except Exception as error:
            if isinstance(error, sqlite3.Error):
                self.trouble.met(error)
            return error

    def _batch(self) -> list[_Given]:
        """The next texts: a few of each phone, in the order its texts came; a phone that has more goes to the end."""
        batch: list[_Given] = []
        for number in list(self._phones)[:MOST_IN_PASS]:
            queue = self._phones.pop(number)
            for _ in range(min(MOST_OF_PHONE, len(queue), MOST_IN_PASS - len(batch))):
                batch.append(queue.popleft())
            if queue:
                self._phones[number] = queue
        return batch
