"""Progress of long work, on a terminal only: in a pipe nothing is said."""

import os
import sys
from collections.abc import Iterable, Iterator
from time import monotonic
from typing import TypeVar

Item = TypeVar("Item")

_STEPS = 400
"""How often a bar moves at most, so that showing costs little beside the work."""


QUIET_S = 0.5
"""Work that is done sooner shows nothing."""


def progress(items: Iterable[Item], total: int, label: str) -> Iterator[Item]:
    """Hands on ``items``; where standard error is a terminal, a bar tells how many of ``total`` are done.

    Nothing is shown for short work, in a pipe, on a dumb terminal, or where WADELINE_PLAIN asks for plain lines.
    """
    rest, begun, shows = iter(items), monotonic(), _shows()
    for done, item in enumerate(rest, 1):
        yield item
        if shows and monotonic() - begun > QUIET_S:
            yield from _with_bar(rest, done, total, label)


def _with_bar(rest: Iterator[Item], done: int, total: int, label: str) -> Iterator[Item]:
    from prompt_toolkit.output import create_output
    from prompt_toolkit.shortcuts import ProgressBar
    from prompt_toolkit.shortcuts.progress_bar import ProgressBarCounter

    step = max(1, total // _STEPS)
    with ProgressBar(output=create_output(stdout=sys.stderr)) as bar:
        counter: ProgressBarCounter[Item] = bar(label=label, total=total)
        for item in rest:
            yield item
            done += 1
            if done % step == 0:
                counter.items_completed = done
                bar.invalidate()
        counter.items_completed = total
        counter.done = True


def _shows() -> bool:
    plain = os.environ.get("WADELINE_PLAIN") or os.environ.get("TERM", "dumb") in ("dumb", "unknown")
    return sys.stderr.isatty() and not plain
