"""The effects flow files may name: each changes the draft of the turn, and nothing else."""

from collections.abc import Callable, Mapping
from functools import partial

from guide.field.families import FAMILIES
from guide.flow.replies.clean import quote
from guide.talk import bottles, daylight, gear, plan, samples
from guide.talk.conditions import number, own_kept, sealed
from guide.talk.lab import remind_to_ship
from guide.talk.snapshot import SampleView
from guide.talk.summary import short_name
from guide.talk.turn import Turn
from guide.talk.words import set_pace

EITHER = "Corduliidae/Libellulidae"

_LONGEST_SAID_BACK = 50

# Arriving and safety


def _bank_only(turn: Turn) -> None:
    turn.answers["in_water"] = 0
    turn.log("answer", {"in_water": 0})


def _pass_safety(turn: Turn) -> None:
    turn.answers["gate"] = "safety"
    turn.log("answer", {"gate": "safety", "in_water": int(number(turn, "in_water"))})
    turn.tell_others(turn.phrase("gate_news"))
    _join_gate(turn)


def _join_gate(turn: Turn) -> None:
    """The safety questions are answered for the whole visit, by this seat or another."""
    daylight.start_dark_timer(turn)
    turn.state.base.facts.append("safety")
    turn.state.base.trail.clear()


def _pair_done(turn: Turn) -> None:
    counted = int(number(turn, "bags_counted"))
    turn.log("pair_done", {"kept": own_kept(turn), "bags_counted": counted})
    turn.stop_timer("check_in")
    turn.state.base.facts.append("dry")
    turn.tell_others(turn.phrase("pair_news"))


def _say_kept(turn: Turn) -> None:
    """Says back what was written down, so that nobody wonders if it was understood."""
    words, said = str(turn.value).split(), ""
    while words and len(more := f"{said} {quote(words[0])}".strip()) <= _LONGEST_SAID_BACK:
        said = more
        words.pop(0)
    turn.lead(turn.phrase("kept_words", {"words": f"{said} and more" if words else said}))


def _tell_word(turn: Turn) -> None:
    turn.lead(turn.phrase("second_phone"))


# A larva


def _open_sample(turn: Turn) -> None:
    sample = turn.sample()
    if sample is None or sample.kind != "larva":
        samples.open_sample(turn, observed=True)
    turn.state.base.trail[:] = turn.state.base.trail[-1:]  # BACK doesn't reach past a larva that is in hand


def _seal(turn: Turn) -> None:
    base, sample = turn.state.base, turn.sample()
    turn.log("sealed", {"gloves": "yes"}, sample_uid=base.sample)
    if sample is not None:
        gloves = sample.gloves if sample.gloves == "reported" else "yes"
        turn.put_sample(sample._replace(sealed=True, gloves=gloves))
    base.facts.append("sealed")
    base.trail.clear()


def _drop_open_sample(turn: Turn, reason: str = "let_go") -> None:
    sample = turn.sample()
    if sample is not None:
        samples.void(turn, sample, reason)


def _put_back(turn: Turn) -> None:
    turn.log("put_back")
    _drop_open_sample(turn)


def _outer_bag(turn: Turn) -> None:
    if turn.sample() is not None:
        turn.log("outer_bagged", sample_uid=turn.state.base.sample)


def _keep(turn: Turn) -> None:
    sample = turn.sample()
    if sample is not None:
        samples.keep(turn, sample)


def _open_told(turn: Turn) -> None:
    sample = samples.open_sample(turn, observed=False)
    samples.note(turn, sample, turn.value, turn.flags)


def _seal_told(turn: Turn) -> None:
    """In the steady pace the bag is shut by the time we hear of it; gloves were not asked."""
    turn.state.base.facts.append("sealed")
    turn.state.base.trail.clear()


def _take_told(turn: Turn) -> None:
    if isinstance(turn.value, dict):
        turn.got = samples.report(turn, turn.value, turn.flags)


def _unqueue(turn: Turn) -> None:
    if not turn.state.queue:
        return
    turn.state.base.trail.clear()
    turn.log("mended" if isinstance(turn.value, dict) else "skipped", {"problem": turn.state.queue[0]["problem"]})
    turn.state.queue.pop(0)


def _void_too_short(turn: Turn) -> None:
    turn.lead(turn.phrase("too_short_void"))
    _drop_open_sample(turn, "too_short")


def _empty_spot(turn: Turn) -> None:
    turn.answers["empty_spots"] = int(number(turn, "empty_spots")) + 1
    turn.log("answer", {"empty_spots": turn.answers["empty_spots"]})
    turn.lead(turn.phrase("spot_counted"))


def _pace(pace: str, turn: Turn) -> None:
    set_pace(turn, pace)


# The family key


def _key_to(family: str, turn: Turn) -> None:
    turn.state.top.slots["keyed"] = family


def _name(sure: bool, turn: Turn) -> None:
    family = turn.state.top.slots.get("keyed", "unsure")
    sample = turn.sample()
    if sample is not None:
        samples.note(turn, sample, {"family": family, "sure": sure})
    else:
        turn.lead(turn.phrase("keyed_hint", {"family": short_name(family)}))


def _key_unsure(turn: Turn) -> None:
    _key_to("unsure", turn)
    _name(False, turn)


def _void_damselfly(turn: Turn) -> None:
    samples.void(turn, turn.sample() or samples.open_sample(turn, observed=False), "damselfly")


# A slip


def _slip_sample(turn: Turn) -> SampleView | None:
    tag = turn.state.top.slots.get("slip_tag")
    return samples.sample_tagged(turn, tag) if tag else turn.sample()


_TOUCHED = {"UNSURE": "unsure", "BAG": "yes", "OPENED": "yes"}
"""Slips that answer by themselves whether larva or inside were touched."""


def _touch(answer: str, turn: Turn) -> None:
    turn.state.top.slots["touched"] = answer


def _untagged_slip(turn: Turn) -> None:
    turn.state.top.slots.pop("slip_tag", None)


def _note_slip(turn: Turn) -> None:
    slots = turn.state.top.slots
    slots["what"] = turn.value
    slots["slip"] = slots.get("slip") or f"{turn.seat.letter}{turn.seat.turn}"
    slots["touched"] = _TOUCHED.get(str(turn.value), "not asked")
    slots.pop("slip_tag", None)
    sample = turn.sample()
    gloves = {"gloves": "reported"} if turn.value == "GLOVE" and sample is not None else {}
    turn.log(
        "contamination",
        {"what": turn.value, "slip": slots["slip"], **gloves},
        sample_uid=turn.state.base.sample,
    )


def _touched(turn: Turn) -> None:
    turn.state.top.slots["touched"] = "unsure" if turn.value == "UNSURE" else "yes"


def _remedy(turn: Turn, remedy: str) -> None:
    slots = turn.state.top.slots
    sample = _slip_sample(turn)
    for slip in (*slots.get("earlier", []), slots["slip"]):
        data = {"slip": slip, "touched": slots.get("touched", "not asked"), "remedy": remedy}
        turn.log("remedy", data, sample_uid=sample.uid if sample else None)


def _start_again(turn: Turn) -> None:
    _remedy(turn, "new_bag")
    sample = turn.sample()
    if sample is not None:
        samples.flag(turn, sample, "rinsed_after_touch")
        _go_on_at(turn, "larva.bag")


def _no_slip(turn: Turn) -> None:
    _touch("no", turn)
    _remedy(turn, "no_slip")
    if turn.sample() is not None and not sealed(turn):
        _go_on_at(turn, "larva.look")


def _void_slip(turn: Turn, remedy: str = "void", reason: str = "slip") -> None:
    _remedy(turn, remedy)
    sample = _slip_sample(turn)
    if sample is not None:
        samples.void(turn, sample, reason)
    if "slip_tag" not in turn.state.top.slots:
        _go_on_at(turn, "larva.next")


def _bottle_again(turn: Turn) -> None:
    _remedy(turn, "void")
    _drop_open_sample(turn, "slip")
    bottles.again(turn)


def _third_bag(turn: Turn) -> None:
    _touch("no", turn)
    _remedy(turn, "third_bag")
    sample = _slip_sample(turn)
    if sample is not None:
        samples.flag(turn, sample, "third_bag")
    if turn.sample() is not None and not sealed(turn):
        _go_on_at(turn, "larva.look")


def _go_on_at(turn: Turn, state: str) -> None:
    """Where a pair in the middle of larvae goes on; a key that was running for a larva that is gone is left."""
    if turn.state.base.flow == "larva":
        turn.state.base.go(state)
        turn.state.base.trail.clear()
        turn.state.frames[1:-1] = [frame for frame in turn.state.frames[1:-1] if frame.flow not in ("family", "oops")]


# Danger


def _end_slips(turn: Turn) -> None:
    """Slips that danger cut short: what is not asked any more stands in the record as such."""
    for frame in turn.state.frames:
        if frame.flow == "oops" and "slip" in frame.slots:
            for slip in (*frame.slots.get("earlier", []), frame.slots["slip"]):
                data = {"slip": slip, "touched": "not asked", "remedy": "danger"}
                turn.log("remedy", data, sample_uid=turn.state.base.sample)


def _void_open_bag(turn: Turn) -> None:
    sample = turn.sample()
    if sample is not None and not sealed(turn):
        if turn.state.base.flow == "larva":
            _end_slips(turn)
        samples.void(turn, sample, "danger")
        if number(turn, "out_count") >= number(turn, "people"):
            turn.lead(turn.phrase("open_bag_void"))
        bottles.again(turn)
        _go_on_at(turn, "larva.next")


def _start_thunder_timer(turn: Turn) -> None:
    turn.state.top.slots["thunder_since"] = turn.now.isoformat()
    turn.log("thunder_wait", {"minutes": turn.settings.thunder_wait_min})
    turn.start_timer("thunder", turn.settings.thunder_wait_min)


def _all_well(turn: Turn) -> None:
    turn.log("all_well")
    turn.tell_others(turn.phrase("danger_over"))
    base = turn.state.base
    if base.state == "close.missing" and number(turn, "out_count") >= number(turn, "people"):
        base.go("close.out")  # nobody is missing any more: heads are counted afresh, no one is called for


def _close_early(turn: Turn) -> None:
    """From danger straight to closing: the partial visit is closed like any other."""
    turn.log("close_early")
    _end_slips(turn)
    facts = [fact for fact in turn.state.base.facts if fact != "safety"]
    turn.state.base.facts = [*facts, "left_early"]  # back only past the gate, and by questions of its own
    sample = turn.sample()
    if sample is not None:
        samples.void(turn, sample, "danger")
    del turn.state.frames[1:-1]
    turn.state.base.go("close.end" if turn.visit.status == "closed" else "close.start")
    turn.state.base.trail.clear()


# Closing


def _all_out(turn: Turn) -> None:
    turn.log("all_out", {"out_count": int(number(turn, "out_count"))})
    turn.stop_timer("check_in")
    turn.state.base.facts.append("dry")
    turn.state.base.trail.clear()
    bottles.say_days_apart(turn)


def _back_out(turn: Turn) -> None:
    """More larvae are wanted: people go to the water again, and silence is asked about again."""
    turn.log("back_out")
    turn.state.base.trail.clear()
    turn.state.base.facts = [fact for fact in turn.state.base.facts if fact != "dry"]


def _flag_bags(turn: Turn) -> None:
    counted = int(number(turn, "bags_counted"))
    if counted != len(turn.kept()):
        turn.log("bags_differ", {"counted": counted, "kept": len(turn.kept())})
        turn.lead(turn.phrase("bags_flagged"))


def _close_visit(turn: Turn) -> None:
    turn.log("visit_closed", {"kept": len(turn.kept())})
    remind_to_ship(turn)
    turn.state.base.trail.clear()
    turn.stop_timer("spot")
    if turn.answers.get("out_count") is not None:
        turn.start_timer("home", turn.settings.home_min)


def _all_home(turn: Turn) -> None:
    turn.log("all_home")
    turn.stop_timer("home_alarm")
    turn.lead(turn.phrase("all_home"))


def _ask_home_later(turn: Turn) -> None:
    turn.stop_timer("home_alarm")
    turn.start_timer("home", turn.settings.check_in_min)
    turn.lead(turn.phrase("ask_later"))


def _new_visit(turn: Turn) -> None:
    turn.new_visit = True
    turn.stop_timer("home")


def _note_offer(turn: Turn) -> None:
    turn.state.base.facts.append("pace_offered")


EFFECTS: Mapping[str, Callable[[Turn], None]] = {
    **gear.EFFECTS,
    **bottles.EFFECTS,
    **plan.EFFECTS,
    "bottle_again": _bottle_again,
    "bank_only": _bank_only,
    "pass_safety": _pass_safety,
    "warn_cool": lambda turn: turn.lead(turn.phrase("cool_water")),
    **daylight.EFFECTS,
    "say_kept": _say_kept,
    "join_gate": _join_gate,
    "pair_done": _pair_done,
    "tell_visit_word": lambda turn: turn.lead(turn.phrase("more_pairs")),
    "tell_word": _tell_word,
    "start_spot_timer": lambda turn: turn.start_timer("spot", turn.settings.spot_min),
    "stop_spot_timer": lambda turn: turn.stop_timer("spot"),
    "empty_spot": _empty_spot,
    "open_sample": _open_sample,
    "put_back": _put_back,
    "say_back_alive": lambda turn: turn.lead(turn.phrase("back_alive")),
    "drop_open_sample": _drop_open_sample,
    "seal": _seal,
    "outer_bag": _outer_bag,
    "keep": _keep,
    "say_bag_and_ice": lambda turn: turn.lead(turn.phrase("bag_and_ice")),
    "open_told": _open_told,
    "seal_told": _seal_told,
    "take_told": _take_told,
    "unqueue": _unqueue,
    "void_too_short": _void_too_short,
    "note_offer": _note_offer,
    "pace_coach": partial(_pace, "coach"),
    "pace_steady": partial(_pace, "steady"),
    "pace_brisk": partial(_pace, "brisk"),
    **{f"key_{f.latin.lower()}": partial(_key_to, f.latin) for f in FAMILIES if "/" not in f.latin},
    "key_either": partial(_key_to, EITHER),
    "key_unsure": _key_unsure,
    "name_sure": partial(_name, True),
    "name_half_sure": partial(_name, False),
    "void_damselfly": _void_damselfly,
    "note_slip": _note_slip,
    "touched": _touched,
    "untouched": partial(_touch, "no"),
    "surely_touched": partial(_touch, "yes"),
    "untagged_slip": _untagged_slip,
    "renewed": lambda turn: _remedy(turn, "renewed"),
    "start_again": _start_again,
    "no_slip": _no_slip,
    "void_dropped": partial(_void_slip, remedy="let_go", reason="dropped"),
    "void_slip": _void_slip,
    "third_bag": _third_bag,
    "void_open_bag": _void_open_bag,
    "start_thunder_timer": _start_thunder_timer,
    "stop_thunder_timer": lambda turn: turn.stop_timer("thunder"),
    "say_minutes_left": lambda turn: turn.lead(turn.phrase("minutes_left")),
    "all_well": _all_well,
    "close_early": _close_early,
    "all_out": _all_out,
    "back_out": _back_out,
    "say_full": lambda turn: turn.lead(turn.phrase("tally_is_full")),
    "flag_bags": _flag_bags,
    "close_visit": _close_visit,
    "all_home": _all_home,
    "ask_home_later": _ask_home_later,
    "new_visit": _new_visit,
}
