"""The conditions flow files may name: each looks at the turn and says yes or no."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from guide.talk import bottles, gear, plan
from guide.talk.turn import Turn

if TYPE_CHECKING:
    from guide.field.wading import WadingLimits

MANY_PEOPLE = 4
"""From so many people on there may be a second pair: the word to join with is said."""

STILL_S = 10**6
"""Seconds of drift that stand for water that doesn't move."""


def number(turn: Turn, name: str, default: float = 0) -> float:
    """An answer about the visit as a number; the default where it was not given as one."""
    value = turn.answers.get(name, default)
    return value if isinstance(value, int | float) else default


def most_in_water(turn: Turn) -> int:
    """How many may go in: nobody under 18, and no adult who is needed on the bank.

    Each minor keeps an adult there, and one more adult watches the water: who minds a child doesn't watch.
    """
    people, minors = int(number(turn, "people")), int(number(turn, "minors"))
    adults = people - minors
    return max(0, adults - minors - 1)


def wading_limits(turn: Turn) -> "WadingLimits":
    """The programme's limits for wading."""
    from guide.field.wading import WadingLimits

    s = turn.settings
    return WadingLimits(s.knee_cm / 100, s.speed_most_m_s, s.depth_speed_most_m2_s)


def drift_speed(turn: Turn) -> float:
    """Speed of the water from the stick, m/s; 0 before it was timed."""
    from guide.field.wading import drift_speed_m_s

    seconds = number(turn, "drift_s", STILL_S)
    return drift_speed_m_s(turn.settings.drift_m, max(seconds, 0.1))


def _drift_unsafe(turn: Turn) -> bool:
    from guide.field.wading import check_wading

    return not check_wading(number(turn, "depth_m"), drift_speed(turn), wading_limits(turn)).ok


def _too_short_now(turn: Turn) -> bool:
    """Too short, and the tally doesn't need it: a short one is kept with a flag while larvae are wanted."""
    sample = turn.sample()
    short = sample is not None and (sample.length_mm or 0) < turn.settings.minimum_mm
    return short and len(turn.kept()) >= turn.target


def _thunder_waited(turn: Turn) -> bool:
    since = turn.state.top.slots.get("thunder_since")
    waited = turn.now - datetime.fromisoformat(since) if since else timedelta(0)
    return waited >= timedelta(minutes=turn.settings.thunder_wait_min)


def _may_be_another(turn: Turn) -> bool:
    """The bag spoken of may be one already counted: its sealing was not asked for step by step."""
    return bool(turn.kept()) and not sealed(turn)


def sealed(turn: Turn) -> bool:
    """The larva in hand is in a sealed bag."""
    return "sealed" in turn.state.base.facts


def _pace_offer(turn: Turn) -> bool:
    return (
        turn.state.pace == "coach"
        and turn.state.clean_run >= turn.settings.clean_for_pace
        and "pace_offered" not in turn.state.base.facts
    )


def _family_known(turn: Turn) -> bool:
    sample = turn.sample()
    return sample is not None and sample.family is not None


def others_at_work(turn: Turn) -> list[str]:
    """Letters of the visit's other seats that have not packed up."""
    seats = turn.snapshot.other_seats()
    return [seat.letter for seat in seats if seat.role == "pair" and not seat.at.startswith(("pairs.done", "close."))]


def _leader_present(turn: Turn) -> bool:
    return any(seat.role == "leader" for seat in turn.snapshot.other_seats())


def own_kept(turn: Turn) -> int:
    """Larvae this seat has kept."""
    return sum(1 for sample in turn.kept() if sample.seat == turn.seat.letter)


CONDITIONS: Mapping[str, Callable[[Turn], bool]] = {
    **gear.CONDITIONS,
    **bottles.CONDITIONS,
    **plan.CONDITIONS,
    "returning": lambda turn: turn.snapshot.clean_before() >= turn.settings.clean_for_pace,
    "too_many_in": lambda turn: number(turn, "in_water") > most_in_water(turn),
    "floats_short": lambda turn: number(turn, "floats") < number(turn, "in_water"),
    "too_deep": lambda turn: number(turn, "depth_m") > turn.settings.knee_cm / 100,
    "site_flows": lambda turn: turn.site is not None and turn.site.flows,
    "drift_unsafe": _drift_unsafe,
    "cold": lambda turn: number(turn, "water_c", 99) < turn.settings.cold_c,
    "cool": lambda turn: number(turn, "water_c", 99) < turn.settings.cool_c,
    "bank_only": lambda turn: number(turn, "in_water") == 0,
    "gate_passed": lambda turn: turn.answers.get("gate") == "safety",
    "past_gate": lambda turn: "safety" in turn.state.base.facts,
    "is_leader": lambda turn: turn.seat.role == "leader",
    "leader_present": _leader_present,
    "others_at_work": lambda turn: bool(others_at_work(turn)),
    "many_people": lambda turn: number(turn, "people") >= MANY_PEOPLE,
    "own_bags_differ": lambda turn: number(turn, "bags_counted") != own_kept(turn),
    "queue_waiting": lambda turn: bool(turn.state.queue),
    "tally_full": lambda turn: len(turn.kept()) >= turn.target,
    "pace_offer": _pace_offer,
    "steady": lambda turn: turn.state.pace == "steady",
    "brisk": lambda turn: turn.state.pace == "brisk",
    "too_short_now": _too_short_now,
    "tagged": lambda turn: (sample := turn.sample()) is not None and sample.tag is not None,
    "all_minors": lambda turn: number(turn, "minors") >= number(turn, "people"),
    "has_sample": lambda turn: turn.sample() is not None,
    "family_known": _family_known,
    "sealed": sealed,
    "may_be_another": _may_be_another,
    "slip_torn": lambda turn: turn.state.top.slots.get("what") == "TORN",
    "someone_missing": lambda turn: number(turn, "out_count") < number(turn, "people"),
    "thunder_waited": _thunder_waited,
    "bags_differ": lambda turn: number(turn, "bags_counted") != len(turn.kept()),
    "not_all_home": lambda turn: number(turn, "home_count") < number(turn, "people"),
}
