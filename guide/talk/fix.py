"""FIX: a correction, itself an entry. The old answer stays in the log; its effects go."""

from typing import Any, NamedTuple

from guide.flow.model import REST
from guide.flow.replies.clean import quote
from guide.talk import bottles, samples
from guide.talk.moves import next_larva
from guide.talk.snapshot import SampleView
from guide.talk.summary import short_name
from guide.talk.turn import Turn

_FIELDS = {
    "length": "length_mm",
    "mm": "length_mm",
    "long": "length_mm",
    "family": "family",
    "fam": "family",
    "tag": "tag",
    "swap": "swap",
    "void": "void",
}


class Correction(NamedTuple):
    """What a FIX asks for: which sample (None: the one in hand or the last), which field, the words of the value."""

    tag: str | None
    name: str
    words: str


def fix(turn: Turn, rest: str) -> None:
    """Puts a wrong answer right, and says back what was changed."""
    if turn.step.kind == REST:
        turn.log("fix_request", words=rest or None)
        turn.lead(turn.phrase("fix_to_desk"))
        return
    asked = _parse(turn, rest)
    sample = _which(turn, asked.tag) if asked else None
    if asked is None:
        turn.lead(turn.phrase("fix_how"))
    elif asked.tag and sample is None:
        turn.lead(turn.phrase("tag_not_here", {"tag": asked.tag}))
    elif sample is None:
        turn.lead(turn.phrase("fix_nothing"))
    elif asked.name == "void":
        in_hand = turn.state.base.sample == sample.uid
        samples.void(turn, sample, "fix")
        if in_hand and bottles.at_bottle(turn):
            bottles.again(turn)
            turn.ask_again()
        elif in_hand:
            next_larva(turn)
            turn.ask_again()
        if asked.words:
            turn.log("note", words=asked.words, sample_uid=sample.uid)
        turn.lead(turn.phrase("fixed_void", {"sample": _name(sample)}))
    elif asked.name == "swap":
        _swap(turn, sample, asked.words)
    else:
        _change(turn, sample, asked)


def _parse(turn: Turn, rest: str) -> Correction | None:
    words = rest.replace("=", " ").replace(":", " ").split()
    tag = None
    if len(words) > 1 and (read := _read(turn, "tag", words[0])) is not None:
        tag, words = read, words[1:]
    if not words:
        return None
    name = _FIELDS.get(words[0].casefold())
    if name is not None:
        return Correction(tag, name, " ".join(words[1:])) if len(words) > 1 or name == "void" else None
    value = " ".join(words)
    for name in ("tag", "length_mm", "family"):
        if _read(turn, name, value) is not None:
            return Correction(tag, name, value)
    return None


def _read(turn: Turn, name: str, words: str) -> Any:
    kind = turn.book.kinds["length" if name == "length_mm" else name]
    asked = turn.book.step("larva.measure").asked if name == "length_mm" else turn.asked._replace(options=())
    value = kind.read(words, asked).value
    return None if value == "key" else value


def _which(turn: Turn, tag: str | None) -> SampleView | None:
    if tag is not None:
        return samples.sample_tagged(turn, tag)
    last = turn.sample_of(turn.state.kept)
    return turn.sample() or (last if last is not None and last.status == "kept" else None)


def _change(turn: Turn, sample: SampleView, asked: Correction) -> None:
    value = _read(turn, asked.name, asked.words)
    old = getattr(sample, asked.name)
    if value is None:
        turn.lead(turn.phrase("fix_unread", {"said": quote(asked.words)}))
        return
    if old is None:
        turn.lead(turn.phrase("fix_nothing"))
        return
    if value == old:
        turn.lead(turn.phrase("fix_same", {"sample": _name(sample), "new": _show(asked.name, value)}))
        turn.ask_again()
        return
    if asked.name == "tag" and (problem := samples.tag_problem(turn, value)):
        turn.lead(problem)
        return
    flags: tuple[str, ...] = ()
    if asked.name == "length_mm" and samples.is_odd(value, turn.book.step("larva.measure").asked):
        if turn.state.base.slots.get("odd_fix") != value:
            turn.state.base.slots["odd_fix"] = value
            turn.lead(turn.phrase("fix_odd", {"said": quote(asked.words)}))
            return
        flags = ("odd_length_mm",)
    supersedes = turn.snapshot.answer_ref(asked.name, sample.uid)
    samples.note(turn, sample, {asked.name: value}, flags, supersedes, kind="fix")
    turn.lead(
        turn.phrase("fixed", {"sample": _name(sample), "new": _show(asked.name, value), "old": _show(asked.name, old)})
    )
    turn.ask_again()


def _swap(turn: Turn, sample: SampleView, words: str) -> None:
    other = _which(turn, _read(turn, "tag", words) or "?")
    if other is None or sample.tag is None or other.tag is None or other.uid == sample.uid:
        turn.lead(turn.phrase("fix_how"))
        return
    turn.log("swap", {"tags": {sample.uid: other.tag, other.uid: sample.tag}})
    turn.put_sample(sample._replace(tag=other.tag))
    turn.put_sample(other._replace(tag=sample.tag))
    turn.lead(turn.phrase("swapped", {"sample": sample.tag, "other": other.tag}))
    turn.ask_again()


def _name(sample: SampleView) -> str:
    return sample.tag or "this larva"


def _show(name: str, value: Any) -> str:
    if name == "length_mm":
        return f"{value:g} mm"
    return short_name(value) if name == "family" else str(value)
