"""What a text may change, told apart from how the talk works it out: anything beyond it was not meant."""

from guide.flow.model import REST
from guide.flow.replies.clean import clean
from guide.proof.world import World
from guide.talk.decision import Decision
from guide.talk.snapshot import SampleView
from guide.talk.state import SeatState
from guide.talk.words import SAFETY_FLOWS, WORDS, find_word

WRITES: dict[str, set[str]] = {
    "?": set(),
    "WHERE": set(),
    "PAUSE": {"paused"},
    "GO": {"resumed"},
    "NOTE": {"note"},
    "DESK": {"desk_question"},
    "SWAP": {"roles_swapped"},
    "FASTER": {"pace"},
    "SLOWER": {"pace"},
    "FIX": {"fix", "swap", "void", "note", "pace", "fix_request"},
    "BACK": {"withdrawn", "remedy", "void", "pace", "back_out", "answer"},
    "OOPS": {"note", "answer", "contamination", "remedy"},
    "DANGER": {"danger", "remedy"},
}
"""The entries that a word which works anywhere may write."""

WISHES = {"extra_water", "extra_sediment"}
"""What a pair asked for beside the plan, and BACK takes back."""

STAYS = {"?", "WHERE", "PAUSE", "GO", "NOTE", "DESK", "SWAP"}
"""The words that leave the talk where it is."""

LOOKED_OVER = ("close", "freeze", "oops", "danger", "disinfect", "net", "larva")
"""Flows that flag or void what is not in hand: a warm cooler, a torn bag, a second measure."""


def not_meant(before: World, text: str, now: World, decision: Decision) -> str:
    """What the text changed and shouldn't have, as a sentence; empty if nothing."""
    checks = (_out_of_step, _by_word, _unread, _others_changed, _not_said)
    return next((wrong for check in checks if (wrong := check(before, clean(text), now, decision))), "")


# What always holds


def _out_of_step(before: World, text: str, now: World, decision: Decision) -> str:
    state = now.at
    if SeatState.from_json(state.to_json()).to_json() != state.to_json():
        return "A state is read again as it was written."
    if any(frame.state not in now.talk.book.steps for frame in state.frames):
        return "A talk stands at steps that there are."
    if decision.new_visit:
        return ""
    live = [sample for sample in now.snapshot.sample_views if sample.status != "void"]
    tags = [sample.tag for sample in live if sample.tag]
    if len(tags) != len(set(tags)):
        return "A tag is on one sample."
    for code, tag in now.snapshot.tags.items():
        if (tag.status == "used") != (code in tags) and not before.snapshot.seats:
            return "A tag is used where a sample has it, else free or void."
    ours = [sample.uid for sample in live if sample.status == "open" and sample.seat == now.seat.letter]
    if ours != ([state.base.sample] if state.base.sample else []) and not _void_elsewhere(now):
        return "One sample at most is open, and it is the one in hand."
    return ""


def _void_elsewhere(now: World) -> bool:
    """What was in hand was made void by another seat: the next text says so."""
    return any(s.uid == now.at.base.sample and s.status == "void" for s in now.snapshot.sample_views)


# Words that work anywhere


def word_of(text: str) -> str:
    """The word that works anywhere which a text is, or nothing."""
    found = find_word(text)
    return next((word.name for word in WORDS if found and word.act is found.act), "")


def _by_word(before: World, text: str, now: World, decision: Decision) -> str:
    name = word_of(text)
    if not name or _visit_ended(before, now):
        return ""
    kinds = {entry.kind for entry in decision.entries}
    if not kinds <= WRITES[name]:
        return f"{name} writes {', '.join(sorted(kinds - WRITES[name]))}"
    if name == "BACK" and any(e.kind == "answer" and not e.data.keys() <= WISHES for e in decision.entries):
        return "BACK takes back a wish, it answers nothing."
    if name in STAYS and _places(before.at) != _places(now.at):
        return f"{name} leaves the talk where it is."
    return ""


def _places(state: SeatState) -> object:
    return [(f.state, f.sample, tuple(f.facts), tuple(f.trail)) for f in state.frames], state.pace, state.queue


def _visit_ended(before: World, now: World) -> bool:
    """Another seat closed the visit: whatever is texted at work, the pair is told so."""
    return before.snapshot.visit_view.status == "closed" and _places(before.at) != _places(now.at)


# What can't be read


def _unread(before: World, text: str, now: World, decision: Decision) -> str:
    """A text that is no word, and nothing that the step takes, writes nothing and leads nowhere."""
    if word_of(text) or _visit_ended(before, now) or _goes_on_by_itself(before):
        return ""
    changed = bool(decision.entries) or decision.new_visit or _places(before.at) != _places(now.at)
    if not changed or any(entry.kind == "danger" for entry in decision.entries):
        return ""
    state, book = before.at, before.talk.book
    if state.paused and state.top.flow not in SAFETY_FLOWS:
        return "A talk that pauses takes no answer."
    step = book.step(state.top.state)
    asks_odd = state.ask is not None and state.ask["step"] == step.id
    reacts = '"' in text
    tells_samples = any(entry.kind == "sample_opened" for entry in decision.entries) or state.queue != now.at.queue
    if asks_odd or reacts or tells_samples or step.kind in ("sample", REST):
        return ""
    asked = step.asked._replace(now=before.now)
    return "" if book.kind(step).read(text, asked).value is not None else "What is not read as an answer is none."


def _goes_on_by_itself(before: World) -> bool:
    """The sample in hand was made void, or the gate passed, from another seat: any text is told so."""
    gate = before.snapshot.visit_view.answers.get("gate") == "safety" and before.at.base.flow == "safety"
    return gate or _void_elsewhere(before)


# What a text doesn't name


def _others_changed(before: World, text: str, now: World, decision: Decision) -> str:
    """Only the sample in hand, the one kept last, and those whose tag is in the text are changed."""
    if before.snapshot is now.snapshot or decision.new_visit:
        return ""
    later = {sample.uid: sample for sample in now.snapshot.sample_views}
    digits = _digits(text)
    looked_over = before.at.top.flow in LOOKED_OVER and not word_of(text)
    for sample in before.snapshot.sample_views:
        after = later[sample.uid]
        named = sample.uid in (before.at.base.sample, before.at.kept) or _has(digits, sample.tag)
        if after == sample or named:
            continue
        if not looked_over or _without_flags(after) != _without_flags(sample):
            return f"A text changes no sample that it doesn't name: {sample} became {after}"
    touched = {sample.tag for sample in (*before.snapshot.sample_views, *now.snapshot.sample_views)}
    for code, tag in before.snapshot.tags.items():
        if now.snapshot.tags[code] != tag and code not in touched and not _has(digits, code):
            return f"A text changes no tag that it doesn't name: {code}"
    return ""


def _without_flags(sample: SampleView) -> SampleView:
    return sample._replace(flags=(), status="kept" if sample.status == "void" else sample.status)


_LIKE_DIGITS = str.maketrans("oOlLiI", "001111")


def _digits(text: str) -> str:
    """The digits of a text, and letters that people text for them."""
    return "".join(char for char in text.translate(_LIKE_DIGITS) if char.isdecimal())


def _has(digits: str, code: str | None) -> bool:
    """True if a text has a tag's digits; phones drop zeros in front."""
    return code is not None and code.lstrip("0") in digits


def _not_said(before: World, text: str, now: World, decision: Decision) -> str:
    """A tag is recorded only where the text has its digits, or the pair was asked about just this one."""
    held = str(before.at.ask), str(before.at.queue), str([frame.slots for frame in before.at.frames])
    for entry in decision.entries:
        code = str(entry.data.get("tag") or "")
        if code and not _has(_digits(text), code) and not any(code in one for one in held):
            return f"A tag that nobody texted is recorded: {code}"
    return ""
