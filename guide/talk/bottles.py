"""Water and sediment, the freezer, the permit's limits, and measuring again: what is not one larva after the other."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta

from guide.flow.registry import Blank
from guide.talk import samples
from guide.talk.lab import remind_of_water
from guide.talk.plan import water_in_time
from guide.talk.snapshot import SampleView
from guide.talk.turn import Turn

_NAMES = {
    "water": "sample",
    "water_blank": "field blank",
    "water_duplicate": "duplicate",
    "sediment": "sediment",
}
_BEFORE_HANDS = ("order", "refused")
"""Steps at which it is not settled yet if there is to be a bottle."""
REMEASURE_EVERY = 10
WARM_FREEZER_C = -15


def _taken(turn: Turn, *kinds: str) -> int:
    return sum(1 for sample in turn.samples().values() if sample.kind in kinds and sample.status == "kept")


def _next_bottle(turn: Turn) -> str | None:
    """The bottle that comes next: samples first, then the blanks and duplicates that so many samples need."""
    wanted = turn.settings.water_bottles or turn.answers.get("extra_water", 0)
    if not wanted or turn.answers.get("bottles_skipped"):
        return None
    if _taken(turn, "water") < wanted:
        return "water"
    if _taken(turn, "water_blank") * turn.settings.blank_every < wanted:
        return "water_blank"
    if _taken(turn, "water_duplicate") * turn.settings.duplicate_every < wanted:
        return "water_duplicate"
    return None


def _sediment_wanted(turn: Turn) -> bool:
    wanted = turn.settings.sediment_jars or turn.answers.get("extra_sediment", 0)
    return not turn.answers.get("bottles_skipped") and _taken(turn, "sediment") < wanted


def _bottle(turn: Turn) -> str:
    sample = turn.sample()
    return sample.kind if sample else _next_bottle(turn) or "water"


def at_bottle(turn: Turn) -> bool:
    """A bottle or jar is being filled."""
    return any(frame.flow in ("water", "sediment") for frame in turn.state.frames)


def _want(name: str) -> Callable[[Turn], None]:
    """One more is asked for by word, whether or not the programme wants any."""

    def want(turn: Turn) -> None:
        turn.answers[name] = int(turn.answers.get(name, 0)) + 1
        turn.answers["bottles_skipped"] = 0
        turn.log("answer", {name: turn.answers[name], "bottles_skipped": 0})

    return want


def _skip(turn: Turn) -> None:
    turn.answers["bottles_skipped"] = 1
    turn.log("answer", {"bottles_skipped": 1})


def _open(turn: Turn, kind: str) -> None:
    if turn.sample() is None:
        _warn_of_lab_days(turn, kind)
        sample = samples.open_sample(turn, observed=True, kind=kind)
        if turn.answers.get("netted"):
            samples.flag(turn, sample, "after_netting")
    turn.state.top.trail[:] = turn.state.top.trail[-1:]  # BACK doesn't reach past a bottle that is in hand


def _warn_of_lab_days(turn: Turn, kind: str) -> None:
    """Before the visit's first water is taken, on a day from which it can't be at the lab in time."""
    is_first = kind.startswith("water") and not any(s.kind.startswith("water") for s in turn.samples().values())
    if is_first and not water_in_time(turn, turn.now.astimezone(turn.zone).date()):
        turn.lead(turn.phrase("water_late"))


def _seal(turn: Turn) -> None:
    """Bags shut: what was asked of gloves at the start of this bottle stands with it."""
    turn.log("sealed", {"gloves": "yes"}, sample_uid=turn.state.base.sample)
    turn.state.base.facts.append("sealed")
    turn.state.top.trail.clear()


def _keep(turn: Turn) -> None:
    sample = turn.sample()
    if sample is not None:
        samples.keep(turn, sample)
        remind_of_water(turn, sample)
        turn.state.top.trail.clear()


def again(turn: Turn) -> None:
    """A new bottle from the beginning, in whichever flow was filling one."""
    for frame in turn.state.frames:
        if frame.flow in ("water", "sediment") and frame.step not in _BEFORE_HANDS:
            frame.go(f"{frame.flow}.hands")
            frame.trail.clear()


def withdraw(turn: Turn, flow: str) -> None:
    """BACK out of a bottle before it was filled: the open one is void, the one that was asked for is not wanted."""
    sample = turn.sample()
    if sample is not None and sample.kind != "larva":
        samples.void(turn, sample, "withdrawn")
    name = f"extra_{flow}"
    if turn.answers.get(name):
        turn.answers[name] = int(turn.answers[name]) - 1
        turn.log("answer", {name: turn.answers[name]})


def _bycatch(what: str) -> Callable[[Turn], None]:
    def note(turn: Turn) -> None:
        turn.log("bycatch", {"what": what})
        turn.lead(turn.phrase(f"bycatch.{what}"))

    return note


def _local(turn: Turn, hours: float) -> str:
    """A moment that many hours from now, as people at the site say it."""
    return (turn.now + timedelta(hours=hours)).astimezone(turn.zone).strftime("%a %d %b %H:%M")


def _preserve_by(turn: Turn) -> str:
    from guide.field.windows import preserve_by

    return preserve_by(turn.now, preserve_h=turn.settings.preserve_h).astimezone(turn.zone).strftime("%a %d %b %H:%M")


def say_days_apart(turn: Turn) -> None:
    """Larvae of today beside the site's last water or sediment: days between them, and whether they still count."""
    from guide.field.windows import check_window

    taken = turn.snapshot.last_bottle_day(turn.site.code) if turn.site and turn.kept() else None
    if taken is None or turn.site is None:
        return
    today = turn.now.astimezone(turn.zone).date()
    window = check_window(date.fromisoformat(taken), today, today, turn.settings.window_days)
    days = abs((today - date.fromisoformat(taken)).days)
    turn.log("days_apart", {"days": days, "state": window.state})
    name = "days_apart" if days <= turn.settings.window_days else "days_over"
    turn.lead(turn.phrase(name, {"count": str(min(days, 99)), "tally": str(turn.settings.window_days)}))


# Measuring again


def _remeasure(turn: Turn) -> SampleView | None:
    """Every tenth larva is measured again by the other person, who doesn't know the first length."""
    done = turn.answers.get("remeasured", 0)
    place = REMEASURE_EVERY * (int(done) + 1) - 1
    kept = [sample for sample in turn.kept() if sample.length_mm is not None and sample.tag]
    return kept[place] if place < len(kept) else None


def _again_tag(turn: Turn) -> str:
    """The tag that is measured again; the last one, where a FIX left none to measure while it was being asked."""
    found = _remeasure(turn)
    tags = [found.tag] if found else [sample.tag for sample in turn.kept()]
    return next((tag for tag in reversed(tags) if tag), "0")


def _note_remeasure(turn: Turn) -> None:
    sample = _remeasure(turn)
    turn.answers["remeasured"] = int(turn.answers.get("remeasured", 0)) + 1
    if sample is not None and not isinstance(turn.value, str):
        data = {"first_mm": sample.length_mm, "second_mm": turn.value}
        turn.log("remeasured", data, sample_uid=sample.uid)
    turn.log("answer", {"remeasured": turn.answers["remeasured"]})
    turn.state.base.trail.clear()


# The freezer


def _flag_all(turn: Turn, flag: str) -> None:
    for sample in [one for one in turn.samples().values() if one.status == "kept" and one.kind == "larva"]:
        samples.flag(turn, sample, flag)


def _frozen(turn: Turn) -> None:
    kinds = ("larva", "sediment") if turn.settings.sediment_frozen else ("larva",)
    turn.log("frozen", {"kinds": list(kinds)})
    turn.stop_timer("ice")
    freezer_c = turn.answers.get("freezer_c")
    if isinstance(freezer_c, int | float) and freezer_c > WARM_FREEZER_C:
        _flag_all(turn, "warm_freezer")
        turn.lead(turn.phrase("warm_freezer"))


def _flag_thawed(turn: Turn) -> None:
    _flag_all(turn, "thawed")
    turn.log("desk_question", {"about": "thawed"}, words=f"thawed at {turn.value}: ask the lab")
    turn.lead(turn.phrase("thawed"))


CONDITIONS: Mapping[str, Callable[[Turn], bool]] = {
    "netted": lambda turn: bool(turn.answers.get("netted")),
    "late_water": lambda turn: turn.settings.late_water,
    "late_agreed": lambda turn: bool(turn.answers.get("late_water") or turn.answers.get("late_sediment")),
    "water_wanted": lambda turn: _next_bottle(turn) is not None,
    "sediment_wanted": _sediment_wanted,
    "bottle_is_blank": lambda turn: _bottle(turn) == "water_blank",
    "bottle_preserved": lambda turn: turn.settings.bottle == "preserved",
    "bottle_empty": lambda turn: turn.settings.bottle == "empty",
    "at_bottle": at_bottle,
    "remeasure_due": lambda turn: _remeasure(turn) is not None,
}

EFFECTS: Mapping[str, Callable[[Turn], None]] = {
    "want_water": _want("extra_water"),
    "want_sediment": _want("extra_sediment"),
    "skip_bottles": _skip,
    "open_bottle": lambda turn: _open(turn, _next_bottle(turn) or "water"),
    "open_jar": lambda turn: _open(turn, "sediment"),
    "seal_bottle": _seal,
    "keep_bottle": _keep,
    "say_window": lambda turn: turn.lead(turn.phrase("window")),
    "note_netted": samples.note_netted,
    "note_fish": _bycatch("fish"),
    "note_mussel": _bycatch("mussel"),
    "note_snail": _bycatch("snail"),
    "note_remeasure": _note_remeasure,
    "start_ice_timer": lambda turn: turn.start_timer("ice", turn.settings.ice_check_min),
    "flag_warm": lambda turn: _flag_all(turn, "ice_gone"),
    "frozen": _frozen,
    "flag_thawed": _flag_thawed,
}

BLANKS: Mapping[str, Blank] = {
    "bottle_kind": Blank(lambda turn: _NAMES.get(_bottle(turn), "sample"), 11),
    "rinses": Blank(lambda turn: str(turn.settings.rinse_times), 1, "digits"),
    "top_cm": Blank(lambda turn: str(turn.settings.sediment_top_cm), 2, "digits"),
    "headspace": Blank(lambda turn: "Leave a finger of air. " if turn.settings.sediment_frozen else "", 23),
    "preserve_by": Blank(_preserve_by, 17),
    "preserve_h": Blank(lambda turn: str(turn.settings.preserve_h), 3, "digits"),
    "window_day": Blank(lambda turn: _local(turn, 24 * turn.settings.window_days)[:10], 10),
    "again_tag": Blank(_again_tag, 8, "digits"),
}
