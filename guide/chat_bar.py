"""The line at the bottom of the terminal: who acts, which larva, timers, pace, families."""

import re
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from guide.gateway.exchange import Exchange
from guide.talk.summary import tally_words

_WHO = re.compile(r"\b(CLEAN|DIRTY|BOTH|ALL|LEADER):")
_TIMERS = {"thunder": "shelter", "contact": "tub", "spot": "this spot", "check_in": "check-in", "home": "all home?"}


@dataclass(frozen=True)
class Bar:
    """What the bar tells. ``timers`` are names with the minutes they still run."""

    who: str = ""
    count: str = ""
    timers: tuple[tuple[str, int], ...] = ()
    pace: str = ""
    families: str = ""


def who_acts(text: str) -> str:
    """Who acts first by a prompt."""
    found = _WHO.search(text)
    return f"{found[1]} next" if found else ""


def read_bar(exchange: Exchange, number: str, now: datetime) -> Bar:
    """The bar for a phone."""
    turn = exchange.draft(number, now)
    if turn is None:
        return Bar()
    kept, target = len(turn.kept()), turn.target
    timers = exchange.store.running_timers(number)
    return Bar(
        who_acts(turn.prompt()),
        f"{kept} of {target} larvae",
        tuple(
            (_TIMERS[kind], max(0, ceil((due - now).total_seconds() / 60))) for kind, due in timers if kind in _TIMERS
        ),
        turn.state.pace,
        tally_words(turn, 60) if kept else "",
    )


def bar_text(bar: Bar, columns: int) -> str:
    """The bar in one line of a screen; what matters least is left out first."""
    parts = [bar.who, bar.count]
    parts += [f"{name} {minutes} min" for name, minutes in bar.timers]
    parts += [f"pace {bar.pace}" if bar.pace else "", bar.families]
    line = ""
    for part in filter(None, parts):
        longer = f"{line} | {part}" if line else part
        if len(longer) > columns - 1:
            break
        line = longer
    return line
