"""What a timer that is due does to a seat's talk."""

from collections.abc import Callable
from datetime import datetime, timedelta

from guide.flow.model import REST
from guide.flow.settings import Settings
from guide.talk import gear
from guide.talk.daylight import forecast
from guide.talk.decide import finish
from guide.talk.decision import Decision
from guide.talk.lab import AHEAD_H, hands_over_today
from guide.talk.snapshot import SeatFacts, Snapshot
from guide.talk.state import SeatState
from guide.talk.turn import Talk, Turn

_HOLDS = {"spot": timedelta(minutes=30), "dark": timedelta(hours=1)}
"""So long after its time what a timer has to say still holds; later nothing is said."""


def fire(
    talk: Talk,
    state: SeatState,
    snapshot: Snapshot,
    seat: SeatFacts,
    kind: str,
    now: datetime,
    late: timedelta = timedelta(0),
) -> Decision:
    """What follows when a seat's timer is due; nothing, if the talk is past what it was for.

    After an outage it comes ``late``: what is said holds now, or is not said.
    """
    turn = Turn(talk, state.copy(), snapshot, seat, now)
    if kind == "holding":
        _remind(turn, _holding(late))
    elif kind == "ship_day":
        if late < timedelta(hours=1) or hands_over_today(turn):
            _remind(turn, kind)
    elif late <= _HOLDS.get(kind, late):
        _TIMERS[kind](turn)
    return finish(turn)


def _spot(turn: Turn) -> None:
    if turn.state.top.state in ("net.spot", "net.bank"):
        turn.lead(turn.phrase("timer.spot"))


def _ask_at(turn: Turn, timer: str, state: str) -> None:
    """The time that was waited for is over: a paused talk goes on, at the step that asks about it."""
    turn.log("timer", {"timer": timer})
    turn.state.paused = False
    turn.state.top.go(state)
    turn.ask_again()


def _thunder(turn: Turn) -> None:
    if turn.state.top.state == "storm.wait":
        _ask_at(turn, "thunder", "storm.clear")


def _contact(turn: Turn) -> None:
    if turn.state.top.state == "disinfect.contact":
        _ask_at(turn, "contact", "disinfect.rinse")


def _gear(turn: Turn) -> None:
    """Drying or freezing is over: the kit is free for another water."""
    known = turn.snapshot.kit(gear.kit(turn))
    if known is not None and known.last_visit == turn.visit.uid:
        turn.log("kit_disinfected", {"kit": gear.kit(turn), "how": gear.disinfectant(turn)})
        turn.lead(turn.phrase("timer.gear"))


def _ice(turn: Turn) -> None:
    """On a long way the ice is looked at again and again until the freezer."""
    if turn.step.kind == REST:
        _ask_at(turn, "ice", "freeze.ice")
    else:
        turn.start_timer("ice", turn.settings.check_in_grace_min)


def _dark(turn: Turn) -> None:
    """An hour before sunset, while the visit is open."""
    if turn.visit.status == "open":
        turn.log("timer", {"timer": "dark"})
        turn.lead(turn.phrase("timer.dark"))
        if forecast(turn):
            turn.lead(turn.phrase("timer.dark_pace"))


def _check_in(turn: Turn) -> None:
    if turn.visit.status == "closed":
        return
    turn.log("timer", {"timer": "check_in"})
    turn.lead(turn.phrase("timer.check_in"))
    turn.start_timer("check_in_alarm", turn.settings.check_in_grace_min)


def _check_in_alarm(turn: Turn) -> None:
    if turn.visit.status == "closed":
        return
    turn.log("alarm", {"alarm": "check_in", "people": turn.answers.get("people"), "step": turn.state.top.state})
    turn.lead(turn.phrase("timer.check_in_alarm"))
    turn.tell_others(turn.phrase("timer.check_in_alarm"))


def _home(turn: Turn) -> None:
    if turn.step.kind == REST:
        _ask_at(turn, "home", "close.home")
        turn.start_timer("home_alarm", turn.settings.check_in_grace_min)
    elif turn.visit.status == "closed":
        turn.start_timer("home", turn.settings.check_in_grace_min)


def _home_alarm(turn: Turn) -> None:
    if turn.state.top.state in ("close.home", "close.not_home"):
        turn.log("alarm", {"alarm": "home", "people": turn.answers.get("people")})
        turn.lead(turn.phrase("timer.home_alarm"))
        turn.tell_others(turn.phrase("timer.home_alarm"))


def _remind(turn: Turn, name: str) -> None:
    """A reminder on the way to the lab, told to the seat and to the coordinators."""
    turn.log("reminder", {"reminder": name})
    turn.lead(turn.phrase(f"timer.{name}"))


def _holding(late: timedelta) -> str:
    """The reminder of water's holding time that is true so long after its own hour."""
    if late < timedelta(hours=1):
        return "holding"
    return "holding_less" if late < timedelta(hours=AHEAD_H) else "holding_over"


_TIMERS: dict[str, Callable[[Turn], None]] = {
    "spot": _spot,
    "thunder": _thunder,
    "contact": _contact,
    "gear": _gear,
    "ice": _ice,
    "dark": _dark,
    "check_in": _check_in,
    "check_in_alarm": _check_in_alarm,
    "home": _home,
    "home_alarm": _home_alarm,
}

_COUNTED_MIN: dict[str, Callable[[Settings], float]] = {
    "spot": lambda its: its.spot_min,
    "thunder": lambda its: its.thunder_wait_min,
    "contact": lambda its: its.contact_min,
    "gear": lambda its: 24 * 60 * max(its.dry_days, 1),
    "ice": lambda its: max(its.ice_check_min, its.check_in_grace_min),
    "check_in": lambda its: max(its.check_in_min, its.short_turn_min),
    "check_in_alarm": lambda its: its.check_in_grace_min,
    "home": lambda its: max(its.home_min, its.check_in_min, its.check_in_grace_min),
    "home_alarm": lambda its: its.check_in_grace_min,
}
"""The timers that count minutes, and how many at most. The others stand at a time of day, by the sun or a calendar."""


def latest(kind: str, settings: Settings, now: datetime) -> datetime | None:
    """When a timer that runs can be due at the latest, since it was set by now; None if it counts no minutes."""
    minutes = _COUNTED_MIN.get(kind)
    return None if minutes is None else now + timedelta(minutes=minutes(settings))
