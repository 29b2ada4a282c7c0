"""When it gets dark here, and when the last larva is likely to be bagged at this pace."""

import re
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from guide.flow.registry import Blank
from guide.talk.decision import TimerChange
from guide.talk.turn import Turn

if TYPE_CHECKING:
    from guide.field.daylight import SunTimes

WARN_BEFORE_MIN = 60
_BAGS = re.compile(r"(\d+)\s*(?:zip\s*)?bags?\b", re.IGNORECASE)


def _sun(turn: Turn) -> "SunTimes | None":
    from guide.field.daylight import sun_times

    site = turn.site
    if site is None or site.lat is None or site.lon is None:
        return None
    return sun_times(site.lat, site.lon, turn.now.astimezone(turn.zone).date())


def _last_larva(turn: Turn) -> datetime | None:
    """When the last larva is bagged if all pairs go on as they do; None before there is a pace."""
    from guide.field.daylight import last_specimen_at
    from guide.field.pace import seconds_each_by_pair, seconds_each_together

    kept: dict[str, list[datetime]] = {}
    for seat, at in turn.snapshot.kept_times():
        kept.setdefault(seat, []).append(at)
    seconds = seconds_each_together(list(seconds_each_by_pair(kept).values()))
    if seconds is None or len(turn.kept()) >= turn.target:
        return None
    return last_specimen_at(turn.now, len(turn.kept()), turn.target, seconds)


def _clock(turn: Turn, at: datetime | None) -> str:
    if at is None:
        return "?"
    return at.astimezone(turn.zone).strftime("%H:%M")


def _sunset(turn: Turn) -> str:
    sun = _sun(turn)
    return _clock(turn, sun.sunset if sun else None)


def start_dark_timer(turn: Turn) -> None:
    """An hour before sunset everyone is told, once."""
    sun = _sun(turn)
    if sun is not None and sun.sunset is not None:
        due = sun.sunset - timedelta(minutes=WARN_BEFORE_MIN)
        if due > turn.now:
            turn.timers.append(TimerChange("dark", due))


def forecast(turn: Turn) -> str:
    """Words on when the last larva is likely and when it gets dark; empty before there is a pace."""
    return turn.phrase("forecast") if _last_larva(turn) is not None else ""


def bags_for(turn: Turn) -> None:
    """``20 bags`` in what is short is told as the larvae it is enough for: two a larva and some spare."""
    found = _BAGS.search(str(turn.value))
    turn.lead(turn.phrase("kit_short"))
    if found:
        larvae = max(0, (int(found[1]) - turn.settings.bags_spare) // 2)
        turn.log("bags_short", {"bags": int(found[1]), "larvae": larvae})
        turn.lead(turn.phrase("bags_enough", {"count": found[1][:3], "tally": str(larvae)}))


EFFECTS: Mapping[str, Callable[[Turn], None]] = {"warn_short": bags_for}

BLANKS: Mapping[str, Blank] = {
    "sunset": Blank(_sunset, 5, "digits"),
    "last_larva": Blank(lambda turn: _clock(turn, _last_larva(turn)), 5, "digits"),
}
