"""A pipe that kills itself with -9 at one placed moment of its first text: for tests of what a crash leaves."""

import os
import signal
import sys
from datetime import UTC, datetime

from guide.cli import build_parser, open_exchange
from guide.gateway.pipe import Pipe


def die() -> None:
    """As a pulled battery would."""
    os.kill(os.getpid(), signal.SIGKILL)


def main() -> None:
    """Usage: crashing_pipe.py PLACE pipe --db FILE; PLACE is before_commit, before_output or before_handled."""
    place = sys.argv[1]
    args = build_parser(sys.argv[2:]).parse_args(sys.argv[2:])
    exchange = open_exchange(args)
    written = 0

    def write(data: bytes) -> None:
        nonlocal written
        written += 1
        if place == "before_output" and b'"in_reply_to": "m' in data:
            die()
        if place == "before_handled" and b'"handled"' in data:
            die()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()

    pipe = Pipe(exchange, write, lambda: datetime.now(UTC))
    commit, work = exchange.store.commit, exchange.work
    working = False

    def watched_work(*given: object) -> object:
        nonlocal working
        working = True
        return work(*given)  # type: ignore[arg-type]

    def watched_commit() -> None:
        if place == "before_commit" and working:
            die()
        commit()

    exchange.work, exchange.store.commit = watched_work, watched_commit  # type: ignore[method-assign,assignment]
    pipe.run(sys.stdin.buffer)


if __name__ == "__main__":
    main()
