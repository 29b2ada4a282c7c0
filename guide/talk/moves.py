"""Moving on: an answer is taken, its branch followed, called flows gone into and returned from."""

from guide.flow.model import RETURN, ROUTE, Branch
from guide.flow.replies.base import Reading
from guide.talk import samples
from guide.talk.state import Frame
from guide.talk.turn import Turn

_MOST_ROUTES = 12
_LONGEST_SHOWN = 20


def accept(turn: Turn, reading: Reading, flags: tuple[str, ...] = ()) -> None:
    """Takes a reading as the answer to the step, unless the tag pool or the record speaks against it."""
    turn.value = reading.value
    problem = samples.problem_of(turn, reading.value)
    if problem:
        turn.lead(problem)
        return
    if reading.phrase and not reading.sure:
        turn.echo = turn.phrase(reading.phrase, reading.blanks)
    step, kind = turn.step, turn.kind
    turn.flags = flags
    if _is_saved(turn):
        _save(turn, flags)
    turn.state.last = {
        "text": turn.text.casefold(),
        "at": turn.now.isoformat(),
        "show": "OK" if step.kind == "done" else kind.show(reading.value)[:_LONGEST_SHOWN],
        "read_back": False,
    }
    settle(turn, kind.outcome(reading.value, turn.asked))


def settle(turn: Turn, outcome: str | None) -> None:
    """After an answer: the misses are over, and the talk moves on if there is an outcome to move on."""
    turn.state.misses = 0
    turn.state.ask = None
    if outcome is not None:
        advance(turn, outcome)
    turn.ask_again()


def next_larva(turn: Turn) -> None:
    """Puts the visit's talk to the beginning of a larva; a key for one that is gone is left."""
    frames = turn.state.frames
    frames[:] = [frame for frame in frames if frame.flow != "family"]
    turn.state.base.go("larva.next")
    if turn.step.kind == ROUTE:
        advance(turn, "any")


def _is_saved(turn: Turn) -> bool:
    """A word beside the step's kind (MOVE, KEY) is a way on, not an answer to keep."""
    step = turn.step
    if not step.save or turn.value == "key":
        return False
    return step.kind == "choice" or turn.value not in [option.code for option in step.asked.options]


def _save(turn: Turn, flags: tuple[str, ...]) -> None:
    step, value = turn.step, turn.value
    sample = turn.sample() if step.about == "sample" else None
    supersedes = None
    if step.id in turn.state.redo:
        turn.state.redo.remove(step.id)
        supersedes = turn.snapshot.answer_ref(step.save, sample.uid if sample else None)
    if sample is not None:
        samples.note(turn, sample, {step.save: value}, flags, supersedes)
    elif step.kind == "text":
        turn.log("answer", {step.save: "words"}, words=value, supersedes=supersedes)
    else:
        turn.answers[step.save] = value
        flagged = {"flags": list(flags)} if flags else {}
        turn.log("answer", {step.save: value, **flagged}, supersedes=supersedes)
    turn.state.top.slots[step.save] = value


def advance(turn: Turn, outcome: str) -> None:
    """Moves on from the step that was answered, through steps that only route, to the next that says something."""
    for _ in range(_MOST_ROUTES):
        frame, step = turn.state.top, turn.step
        branch = turn.talk.machine.move(turn.conversation, step.id, outcome)
        if step.kind != ROUTE:
            frame.trail.append(step.id)
        for effect in branch.do:
            turn.talk.registry.effects[effect](turn)
        _take(turn, frame, branch)
        if turn.step.kind != ROUTE:
            return
        outcome = "any"
    raise RuntimeError(f"routes go round in a circle at {turn.step.id}")


def _take(turn: Turn, frame: Frame, branch: Branch) -> None:
    if branch.go == RETURN:
        turn.state.frames = [other for other in turn.state.frames if other is not frame]
    else:
        frame.go(branch.go)
    if branch.call:
        enter(turn, branch.call)


def enter(turn: Turn, flow: str) -> None:
    """Goes into a called flow on a frame of its own."""
    called = turn.book.flows[flow]
    if flow == "storm":  # one wait is enough: it starts anew, on top
        turn.state.frames = [frame for frame in turn.state.frames if frame.flow != flow]
    turn.state.frames.append(Frame(called.name, called.first, since=turn.seat.turn))
