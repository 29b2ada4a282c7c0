"""What must hold after any text whatever, in any state."""

import re

from guide.flow.replies.clean import quote
from guide.proof.texts import QUIET, UNREAD
from guide.proof.world import Move, World, after
from guide.talk.decision import Decision
from guide.talk.sms import segments
from guide.talk.state import MOST_FRAMES, Frame, SeatState

MOST_SEGMENTS = 2
_HOW = re.compile(r"\? (?:(?:tells|shows) how|for help|explains)")
_EMPTY_BLANK = re.compile(r"[{}]|(?:^|\s)\?(?:[\s.,]|$)")
_UNDONE = {"dry": "back_out", "safety": "close_early"}
"""Facts that an entry takes back: people go to the water again, or come back to the gate after a danger."""
_FACTS_OF_A_SAMPLE = ("sealed", "outer")


def fault(before: World, move: Move, now: World, decision: Decision) -> str:
    """What is wrong with what followed from a move, as a sentence; empty if nothing is."""
    if move.kind == "text" and not decision.new_visit and not any(say.to is None for say in decision.says):
        return "A text is answered."
    quoted = "".join([quote(move.words), *(queued["said"] for queued in now.at.queue)])
    for say in decision.says:
        if segments(say.text) > MOST_SEGMENTS:
            return "An answer is two SMS at most."
        if "?" not in quoted and _EMPTY_BLANK.search(_HOW.sub("", say.text)):
            return "A prompt reads back only what was said."
    if not 1 <= len(now.at.frames) <= MOST_FRAMES:
        return f"Flows are gone into {MOST_FRAMES} deep at most."
    return _lost(before, now, decision)


def _lost(before: World, now: World, decision: Decision) -> str:
    if before.snapshot is not now.snapshot:
        later = {sample.uid: sample for sample in now.snapshot.sample_views}
        for sample in before.snapshot.sample_views:
            if sample.uid not in later:
                return "A sample never vanishes."
            if sample.status != "open" and later[sample.uid].status not in (sample.status, "void"):
                return "A void sample stays void, a kept one is kept or made void."
    if before.state is None or not before.state.base.facts:
        return ""
    gone = [fact for fact in before.state.base.facts if fact not in now.at.base.facts]
    same_sample = before.state.base.sample is not None and before.state.base.sample == now.at.base.sample
    for fact in gone:
        if any(entry.kind == _UNDONE.get(fact) for entry in decision.entries):
            continue
        if fact not in _FACTS_OF_A_SAMPLE or same_sample:
            return "What is done is done: a fact is never lost."
    return ""


def unread_faults(world: World) -> tuple[list[Move], str] | None:
    """Texts that can't be read, tried here; the first that changes something it shouldn't, with a sentence."""
    for text in UNREAD:
        now, decision = after(world, Move("text", text))
        if now.at.misses > world.at.misses and unread_fault(world, now, decision):
            return _moves(text), "A reply not understood changes nothing."
    return None


def unread_fault(before: World, now: World, decision: Decision) -> bool:
    """True if more changed than how many replies were not understood in a row."""
    return bool(decision.entries) or decision.new_visit or _kept_of(before.at) != _kept_of(now.at)


def _kept_of(state: SeatState) -> object:
    """The state without what a reply that is not understood may change."""
    frames = [(f.flow, f.step, f.sample, _slots(f), tuple(f.facts), tuple(f.trail)) for f in state.frames]
    return frames, state.pace, state.pace_next, state.clean_run, state.paused, state.queue, state.kept


def _slots(frame: Frame) -> dict[str, object]:
    return {name: value for name, value in frame.slots.items() if name not in ("unread", "part")}


# Words that work anywhere


def word_faults(world: World) -> tuple[list[Move], str] | None:
    """Every word that works anywhere, tried here; the texts and the sentence of the first that doesn't."""
    for check in (_quiet, _pause, _trouble_in_a_pause, _oops_and_back, _danger_and_back):
        found = check(world)
        if found is not None:
            return found
    return None


def _run(world: World, texts: list[str]) -> World:
    for text in texts:
        world, _ = after(world, Move("text", text))
    return world


def _moves(*texts: str) -> list[Move]:
    return [Move("text", text) for text in texts]


def _quiet(world: World) -> tuple[list[Move], str] | None:
    for text in QUIET:
        now, decision = after(world, Move("text", text))
        wrong = fault(world, Move("text", text), now, decision)
        if not wrong and _place(now) != _place(world):
            wrong = f"{text.split()[0]} leaves the talk where it is."
        if wrong:
            return _moves(text), wrong
    return None


def _place(world: World) -> object:
    return [(frame.state, frame.sample, tuple(frame.facts)) for frame in world.at.frames]


def _pause(world: World) -> tuple[list[Move], str] | None:
    now = _run(world, ["PAUSE", "GO"])
    if now.at.paused or _place(now) != _place(world):
        return _moves("PAUSE", "GO"), "GO after PAUSE asks the same again."
    return None


def _trouble_in_a_pause(world: World) -> tuple[list[Move], str] | None:
    """Who pauses may not think of GO when somebody fell in."""
    texts = ["PAUSE", "somebody is hurt"]
    flow = _run(world, texts).at.top.flow
    return None if flow in ("danger", "storm") else (_moves(*texts), "A talk that pauses hears of trouble.")


def _oops_and_back(world: World) -> tuple[list[Move], str] | None:
    if "oops" in [frame.flow for frame in world.at.frames]:
        return None
    now = _run(world, ["OOPS"])
    if world.at.top.flow in ("danger", "storm"):
        return None if _place(now) == _place(world) else (_moves("OOPS"), "In danger a slip can wait.")
    if now.at.top.flow != "oops":
        return _moves("OOPS"), "OOPS works at every step."
    now = _run(now, ["BACK"])
    if _place(now) != _place(world):
        return _moves("OOPS", "BACK"), "BACK out of OOPS goes on where it was."
    return None


def _danger_and_back(world: World) -> tuple[list[Move], str] | None:
    now = _run(world, ["DANGER"])
    if now.at.top.state != "danger.out" and "danger" not in [frame.flow for frame in now.at.frames]:
        return _moves("DANGER"), "DANGER works at every step."
    if world.at.top.flow in ("danger", "storm") or len(world.at.frames) > 1:
        return None
    texts = ["DANGER", str(world.snapshot.visit_view.answers.get("people", 0)), "6", "STAY"]
    now = _run(world, texts)
    void = any(s.status == "void" for s in now.snapshot.sample_views if s.uid == world.at.base.sample)
    if world.at.top.state == "close.missing":  # all were counted in the danger: nobody is called for any more
        return None if now.at.top.state == "close.out" else (_moves(*texts), "Who was counted in danger is not missed.")
    if not void and _place(now) != _place(world):
        return _moves(*texts), "After a false alarm the talk goes on where it was."
    return None
