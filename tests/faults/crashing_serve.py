"""A server that kills itself with -9 at one placed moment of its n-th text: for tests of what a crash leaves."""

import os
import signal
import sys
from collections.abc import Awaitable, Callable
from typing import Any

from guide.cli import main
from guide.gateway.exchange import Exchange
from guide.gateway.http_out import HttpCarrier
from guide.gateway.outbox import Outbox
from guide.record.store import Store

PLACES = ("before_commit", "before_answer", "before_handing", "before_note", "after_note")


def dies_in(count: int) -> Callable[[], None]:
    """What ends this process, as a pulled plug would, when it is called for the count-th time."""
    left = count

    def passes() -> None:
        nonlocal left
        left -= 1
        if not left:
            os.kill(os.getpid(), signal.SIGKILL)

    return passes


def arm(place: str, passes: Callable[[], None]) -> None:
    """Puts the moment in its place: of texts in around their commit, of texts out around the gateway's answer."""
    work_all, commit, hand, sent = Exchange.work_all, Store.commit, HttpCarrier.hand, Outbox.sent
    working = False

    def watched_work(*given: Any) -> Any:
        nonlocal working
        working = True
        results = work_all(*given)
        working = False
        if place == "before_answer":
            passes()
        return results

    def watched_commit(store: Store) -> None:
        if place == "before_commit" and working:
            passes()
        commit(store)

    async def watched_hand(*given: Any) -> Any:
        if place == "before_handing":
            passes()
        handed: Awaitable[Any] = hand(*given)
        said = await handed
        if place == "before_note":
            passes()
        return said

    def watched_sent(*given: Any) -> None:
        sent(*given)
        if place == "after_note":
            passes()

    Exchange.work_all, Store.commit = watched_work, watched_commit  # type: ignore[method-assign,assignment]
    HttpCarrier.hand, Outbox.sent = watched_hand, watched_sent  # type: ignore[method-assign,assignment]


if __name__ == "__main__":
    arm(sys.argv[1], dies_in(int(sys.argv[2])))
    sys.exit(main(sys.argv[3:]))
