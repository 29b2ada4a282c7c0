"""The line at the bottom of the terminal: who acts, which larva, timers, pace, families."""

import re
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from guide.flow.model import REST
from guide.gateway.exchange import Exchange
from guide.talk.summary import tally_words
from guide.talk.turn import Turn

_WHO = re.compile(r"\b(CLEAN|DIRTY|BOTH|ALL|LEADER)\b[^.:!?]*:")
_TIMERS = {
    "thunder": "shelter",
    "contact": "tub",
    "spot": "spot",
    "check_in": "check-in",
    "check_in_alarm": "alarm",
    "home": "all home?",
    "home_alarm": "alarm",
}


_BEFORE_LARVAE = ("plan", "arrive", "safety", "kit", "roles")
"""Flows in which nobody thinks of larvae yet: a count would only puzzle."""


@dataclass(frozen=True)
class Bar:
    """What the bar tells. ``timers`` are names with the minutes they still run."""

    who: str = ""
    count: str = ""
    timers: tuple[tuple[str, int], ...] = ()
    pace: str = ""
    families: str = ""
    practice: bool = False


def who_acts(text: str) -> str:
    """Who acts first by a prompt."""
    found = _WHO.search(text)
    return f"{found[1]} next" if found else ""


def read_bar(exchange: Exchange, number: str, now: datetime) -> Bar:
    """The bar for a phone."""
    turn = exchange.draft(number, now)
    if turn is None:
        return Bar()
    timers = exchange.store.running_timers(number)
    kept = len(turn.kept())
    return Bar(
        _stands(turn),
        "" if turn.state.base.flow in _BEFORE_LARVAE and not kept else _count(kept, turn.target),
        tuple((_TIMERS[kind], _minutes(due, now)) for kind, due in timers if kind in _TIMERS),
        turn.state.pace,
        tally_words(turn, 60) if kept else "",
        turn.visit.practice,
    )


def _stands(turn: Turn) -> str:
    if turn.step.kind == REST:
        return "visit closed"
    return "paused, GO goes on" if turn.state.paused else who_acts(turn.prompt())


def _count(kept: int, target: int) -> str:
    """The larva that is next, as prompts count them; with all found, how many are bagged."""
    return f"{kept + 1} of {target}" if kept < target else f"{kept} bagged"


def _minutes(due: datetime, now: datetime) -> int:
    return max(0, ceil((due - now).total_seconds() / 60))


def bar_text(bar: Bar, columns: int) -> str:
    """The bar in one line of a screen; what matters least is left out first."""
    parts = [bar.who, bar.count]
    parts += [f"{name} {minutes} min" for name, minutes in bar.timers]
    parts += [f"pace {bar.pace}" if bar.pace else "", bar.families, "practice" if bar.practice else ""]
    line = ""
    for part in filter(None, parts):
        longer = f"{line} | {part}" if line else part
        if len(longer) > columns - 1:
            break
        line = longer
    return line
