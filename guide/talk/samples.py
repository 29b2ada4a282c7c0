"""Samples in the talk: opened, measured, named, tagged, kept or void; and several of them in one text."""

import re
from typing import TYPE_CHECKING, Any

from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import quote
from guide.talk.snapshot import SampleView
from guide.talk.state import MOST_QUEUED
from guide.talk.turn import Turn

if TYPE_CHECKING:
    from guide.flow.replies.sample import SampleReading

WHOLE = ("length_mm", "family", "tag")
LENGTH_FLAGS = ("odd_length_mm", "under_minimum")
OTHER_SITE_FLAG = "tag_of_other_site"
_PARTS = re.compile(r"[;\n]")


def is_odd(value: Any, asked: Asked) -> bool:
    """True for a number outside what is plausible; for a sample, if its length is."""
    number = value.get("length_mm") if isinstance(value, dict) else value
    if isinstance(number, bool) or not isinstance(number, int | float):
        return False
    return (asked.least is not None and number < asked.least) or (asked.most is not None and number > asked.most)


def open_sample(turn: Turn, observed: bool, kind: str = "larva") -> SampleView:
    """A new sample in hand. ``observed`` is False where the talk hears of it only when it is bagged."""
    uid = turn.new_uid()
    data = {"kind": kind, "gloves": "not asked", "pace": turn.state.pace, "observed": observed}
    turn.log("sample_opened", data, sample_uid=uid)
    sample = SampleView(uid, "open", seat=turn.seat.letter, kind=kind)
    turn.put_sample(sample)
    turn.state.base.sample = uid
    return sample


def note(
    turn: Turn,
    sample: SampleView,
    data: dict[str, Any],
    flags: tuple[str, ...] = (),
    supersedes: str | None = None,
    kind: str = "answer",
) -> SampleView:
    """Writes answers about a sample, with the flags they bring; flags of a length they replace go with it."""
    if data.get("family") == "unsure":
        data = {**data, "sure": False}
    elif "family" in data:
        data = {"sure": True, **data}
    if data.get("length_mm", turn.settings.minimum_mm) < turn.settings.minimum_mm:
        flags = (*flags, "under_minimum")
        if len(turn.kept()) < turn.target:
            turn.lead(turn.phrase("short_kept"))
    if turn.site is not None and data.get("family") in turn.site.protected:
        flags = (*flags, "protected")
        turn.lead(turn.phrase("protected"))
    if _is_of_other_site(turn, data.get("tag")):
        flags = (*flags, OTHER_SITE_FLAG)
        turn.lead(turn.phrase("tag_other_site", {"tag": data["tag"]}))
    written = {**data, "flags": list(flags)} if flags else data
    turn.log(kind, written, sample_uid=sample.uid, supersedes=supersedes)
    if "tag" in data:
        if sample.tag:
            turn.put_tag(sample.tag, "free", None)
        turn.put_tag(data["tag"], "used", sample.uid)
    known = {name: value for name, value in data.items() if name in (*WHOLE, "sure")}
    dropped = (*(LENGTH_FLAGS if "length_mm" in data else ()), *((OTHER_SITE_FLAG,) if "tag" in data else ()))
    before = tuple(flag for flag in sample.flags if flag not in dropped)
    changed = sample._replace(**known, flags=(*before, *flags))
    turn.put_sample(changed)
    return changed


def keep(turn: Turn, sample: SampleView) -> None:
    """The sample counts: the seat's hands are free for the next one, and a change of pace takes hold."""
    if sample.kind == "larva" and len(turn.kept()) >= turn.target and "over_target" not in sample.flags:
        flag(turn, sample, "over_target")
        sample = turn.samples()[sample.uid]
    turn.log("kept", sample_uid=sample.uid)
    turn.put_sample(sample._replace(status="kept"))
    turn.state.kept = sample.uid
    if not sample.flags and sample.kind == "larva":
        turn.state.clean_run += 1
    if sample.kind == "larva" and len(turn.kept()) == turn.target:
        turn.tell_others(turn.phrase("news_full"))
    let_go_of(turn)


def flag(turn: Turn, sample: SampleView, name: str) -> None:
    """Flags a sample: it counts, and who reviews it looks twice."""
    turn.log("flag", {"flag": name}, sample_uid=sample.uid)
    turn.put_sample(turn.samples()[sample.uid]._replace(flags=(*sample.flags, name)))


def void(turn: Turn, sample: SampleView, reason: str) -> None:
    """The sample doesn't count and never will; its tag, if it has one, is void with it."""
    turn.log("void", {"reason": reason}, sample_uid=sample.uid)
    turn.put_sample(sample._replace(status="void"))
    if sample.tag:
        turn.put_tag(sample.tag, "void", sample.uid)
    if turn.state.base.sample == sample.uid:
        let_go_of(turn)


def let_go_of(turn: Turn) -> None:
    """Nothing is in hand any more; BACK can't reach past this."""
    base = turn.state.base
    base.sample = None
    base.slots.clear()
    base.trail.clear()
    base.facts = [fact for fact in base.facts if fact not in ("sealed", "outer")]
    if turn.state.pace_next:
        turn.log("pace", {"from": turn.state.pace, "to": turn.state.pace_next})
        turn.state.pace, turn.state.pace_next = turn.state.pace_next, None


def note_netted(turn: Turn) -> None:
    """The bottom is stirred from the first netting on."""
    if not turn.answers.get("netted"):
        turn.answers["netted"] = 1
        turn.log("answer", {"netted": 1})


def report(turn: Turn, given: dict[str, Any], flags: tuple[str, ...] = ()) -> SampleView:
    """A whole sample told in one text. What was not asked is stored as not asked."""
    base = turn.state.base
    in_hand, facts, slots, trail = base.sample, list(base.facts), dict(base.slots), list(base.trail)
    note_netted(turn)
    if len(turn.kept()) >= turn.target:
        flags = (*flags, "over_target")
    sample = note(turn, open_sample(turn, observed=False), given, flags)
    keep(turn, sample)
    if in_hand is not None:  # what is in hand stays as it was: a sealed bag is still sealed
        base.sample, base.facts, base.slots, base.trail = in_hand, facts, slots, trail
    return sample


# Tags


def _is_of_other_site(turn: Turn, code: str | None) -> bool:
    """A slip that was given to pairs of another water: kept, since it is the one at hand, and looked at later."""
    tag = turn.tag(code) if code else None
    return tag is not None and tag.site is not None and turn.site is not None and tag.site != turn.site.code


def tag_problem(turn: Turn, code: str) -> str:
    """What speaks against putting this tag on a new sample, as a sentence; empty if nothing does."""
    tag = turn.tag(code)
    if tag is None:
        return turn.phrase("tag_unknown", {"tag": code})
    if tag.status == "used" and tag.sample == turn.state.base.sample:
        return ""
    if tag.status == "used":
        return turn.phrase("tag_used", {"tag": code})
    if tag.status == "void":
        return turn.phrase("tag_void", {"tag": code})
    return ""


def sample_tagged(turn: Turn, code: str) -> SampleView | None:
    """The visit's sample with this tag, unless it is void."""
    return next((s for s in turn.samples().values() if s.tag == code and s.status != "void"), None)


def problem_of(turn: Turn, value: Any) -> str:
    """What in the record speaks against this answer, as a sentence; empty if nothing does."""
    if turn.step.kind == "tag" and value not in _codes(turn):
        if turn.step.tag_must == "kept":
            return "" if sample_tagged(turn, value) else turn.phrase("tag_not_here", {"tag": value})
        return tag_problem(turn, value)
    if isinstance(value, dict) and "tag" in value:
        if _is_known(turn, value):
            return turn.phrase("have_it", {"tag": value["tag"]})
        return tag_problem(turn, value["tag"])
    return ""


def _codes(turn: Turn) -> tuple[str, ...]:
    return tuple(option.code for option in turn.step.asked.options)


def _is_known(turn: Turn, given: dict[str, Any]) -> bool:
    sample = sample_tagged(turn, given["tag"])
    return sample is not None and (sample.length_mm, sample.family) == (
        given.get("length_mm"),
        given.get("family"),
    )


# Several samples in one text


def has_several(turn: Turn) -> bool:
    """True for a text of several samples, or of a whole one where the step asks for something else."""
    if turn.state.top.flow not in ("larva", "net") or turn.step.kind == "text":
        return False
    parts = [part for part in _PARTS.split(turn.text) if part.strip()]
    if turn.settings.tags.check and not any(map(str.isdecimal, turn.text)):
        return False  # no digit, no tag
    if len(parts) < 2 and turn.step.id not in ("larva.look", "larva.pace", "net.spot", "net.bank"):
        return False
    readings = _readings(turn)
    if len(parts) < 2:
        return len(readings) == 1 and not readings[0].problem
    return any({"length_mm", "tag"} <= set(reading.fields) for reading in readings)


def take_several(turn: Turn) -> None:
    """Keeps the good ones at once and queues the others to be asked singly."""
    good: list[str] = []
    known: list[str] = []
    for reading in _readings(turn):
        given = dict(reading.fields)
        problem = reading.problem or _tag_problem_code(turn, given["tag"])
        if "tag" in given and _is_known(turn, given):
            known.append(given["tag"])
        elif problem:
            _queue(turn, reading, problem)
        else:
            report(turn, given)
            good.append(given["tag"])
            if reading.phrase:
                turn.lead(turn.phrase(reading.phrase, dict(reading.blanks)))
    if good:
        turn.lead(turn.phrase("got_several", {"count": str(len(good)), "tally": str(len(turn.kept()))}))
    if len(set(known)) == 1:
        turn.lead(turn.phrase("have_it", {"tag": known[0]}))
    elif known:
        turn.lead(turn.phrase("have_several", {"count": str(len(set(known)))}))
    turn.value = None


def _readings(turn: Turn) -> "list[SampleReading]":
    """The text read as whole samples, whatever the step asks for."""
    from guide.flow.replies.sample import read_samples

    step = turn.book.step("larva.brisk")
    asked = turn.asked._replace(options=(), fields=WHOLE, least=step.asked.least, most=step.asked.most)
    return read_samples(turn.text, asked)


def _tag_problem_code(turn: Turn, code: str) -> str:
    tag = turn.tag(code)
    return "tag_unknown" if tag is None else "" if tag.status == "free" else f"tag_{tag.status}"


def _queue(turn: Turn, reading: "SampleReading", problem: str) -> None:
    queued = {**reading.fields, "said": quote(reading.text), "problem": problem}
    if len(turn.state.queue) < MOST_QUEUED:
        turn.state.queue.append(queued)
    else:
        turn.lead(turn.phrase("queue_full", {"said": queued["said"]}))


def _part(turn: Turn) -> "SampleReading | None":
    """A text read as one sample or a part of one."""
    readings = _readings(turn)
    return readings[0] if len(readings) == 1 and readings[0].fields else None


def keep_part(turn: Turn) -> None:
    """What was understood of an unfinished sample waits for the rest of it."""
    part = _part(turn)
    if part is not None and part.problem != "check_digit":
        slots = turn.state.top.slots
        slots["part"] = {**slots.get("part", {}), **part.fields}


def joined(turn: Turn) -> Reading | None:
    """A sample made whole: by the rest of one that was begun, or by the one thing that was wrong, such as its tag."""
    part = _part(turn)
    if part is None or part.problem in ("check_digit", "odd_length"):
        return None
    before, odd = dict(turn.state.top.slots.get("part", {})), False
    if turn.step.id == "larva.mend" and turn.state.queue:
        first = turn.state.queue[0]
        before = {name: first[name] for name in WHOLE if name in first}
        odd = first["problem"] == "odd_length" and "length_mm" not in part.fields
    whole = {**before, **part.fields}
    if not set(turn.step.asked.fields) <= set(whole) or odd or _has_wrong_digit(turn, whole):
        return None
    turn.state.top.slots.pop("part", None)
    return Reading(whole, sure=True)


def _has_wrong_digit(turn: Turn, given: dict[str, Any]) -> bool:
    from guide.field.tags import is_valid

    return "tag" in given and turn.settings.tags.check and not is_valid(given["tag"])


def problem_sentence(turn: Turn) -> str:
    """What is wrong with the first sample of the queue."""
    if not turn.state.queue:
        return ""
    first = turn.state.queue[0]
    return turn.phrase(f"mend.{first['problem']}", {"said": first["said"], "tag": first.get("tag", "")})
