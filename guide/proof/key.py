"""Which states of a talk are one for the proof.

Two states are one if the same step is being asked above the same flows, the conditions that these flows look at hold
alike, and the sample in hand is as far. Beneath a flow that a word called (oops, danger) only the flow that waits is
told apart, not its step: each step has its own way there and back tried instead. A deep proof tells the steps beneath
one such flow apart too.
"""

from collections.abc import Hashable
from itertools import pairwise

from guide.flow.model import FlowBook
from guide.proof.world import World
from guide.talk.bottles import REMEASURE_EVERY
from guide.talk.snapshot import SampleView
from guide.talk.state import Frame, SeatState
from guide.talk.turn import Turn

CALLED_BY_WORD = ("oops", "danger")
RETURNING = "returning"
"""A visit of a pair that has taken clean samples before."""
_DEEP = 2
"""Beneath more flows than this, a slip is only told apart as torn or not."""
_HANDS = ("larva", "net")
_SLOTS = ("what", "keyed", "slip_tag")
_FACTS = ("safety", "sealed", "dry")


class Keys:
    """Makes the keys of a book's states; ``deep`` tells the steps beneath a flow that a word called apart."""

    def __init__(self, book: FlowBook, deep: bool = False) -> None:
        self.deep = deep
        self._named = {flow: _conditions_of(book, flow) for flow in book.flows}

    def of(self, world: World) -> Hashable:
        """What tells a state from others."""
        state, turn = world.at, Turn(world.talk, world.at, world.snapshot, world.seat, world.now)
        top, base = state.top, state.base
        by_word = any(frame.flow in CALLED_BY_WORD for frame in state.frames) and not (
            self.deep and len(state.frames) == 2
        )
        return (
            world.side,
            top.state,
            _deeply(state) if by_word else tuple(frame.state for frame in state.frames[:-1]),
            state.paused,
            state.ask is not None and state.ask["step"] == top.state,
            self._slots(turn, top),
            tuple(fact for fact in _FACTS if fact in base.facts),
            _sample(turn.sample(), turn, by_word or top.flow == "family"),
            self._conditions(turn, top.flow),
            turn.visit.status,
            () if by_word else self._beneath(turn),
            _in_water(turn, world.side),
            _others(world) if world.snapshot.seats else (),
            _kits(world) if base.flow in ("arrive", "plan") else (),
        )

    def _beneath(self, turn: Turn) -> Hashable:
        """What the visit's own flow looks at; from the key it comes back to the pace there is then."""
        state = turn.state
        if state.top.flow == "family":
            return state.pace_next or state.pace
        return _visit(turn, state), self._conditions(turn, state.base.flow)

    def _slots(self, turn: Turn, top: Frame) -> tuple[str, ...]:
        """What was answered in this flow that it still looks at; parts of a sample only where one is asked for."""
        if turn.step.kind == "sample":
            return tuple(sorted(top.slots.get("part", {})))
        if top.step == turn.book.flows[top.flow].first:
            return ()
        if len(turn.state.frames) > _DEEP:
            return ("TORN",) if top.slots.get("what") == "TORN" else ()
        return tuple(str(top.slots[name]) for name in _SLOTS if name in top.slots)

    def _conditions(self, turn: Turn, flow: str) -> tuple[bool, ...]:
        conditions = turn.talk.registry.conditions
        return tuple(bool(conditions[name](turn)) for name in self._named[flow])


def _conditions_of(book: FlowBook, flow: str) -> tuple[str, ...]:
    """The conditions that a flow's branches name, and those at the beginning of the flows it calls."""
    branches = [branch for step in book.flows[flow].steps.values() for branch in step.branches]
    for called in {branch.call for branch in branches if branch.call}:
        first = book.flows[called].first
        branches += book.flows[called].steps[first].branches
    return tuple(sorted({name.removeprefix("not ") for branch in branches for name in branch.when}))


def _deeply(state: SeatState) -> tuple[str, ...]:
    """What waits beneath a flow that a word called: the flows; beneath two, only if larva or bottle is in hand.

    Beneath a flow that a step called it is the step that the talk comes back to.
    """
    frames = state.frames
    flows = [frame.flow if above.flow in CALLED_BY_WORD else frame.state for frame, above in pairwise(frames)]
    if len(flows) > 1 and frames[1].flow in CALLED_BY_WORD and frames[0].flow not in _HANDS:
        flows[0] = ""
    return tuple(flows)


def _sample(sample: SampleView | None, turn: Turn, by_word: bool) -> Hashable:
    if sample is None:
        return None
    if by_word:
        return sample.kind
    short = (sample.length_mm or 99) < turn.settings.minimum_mm
    return sample.kind, sample.length_mm is not None, short, sample.family is not None, sample.tag is not None


def _in_water(turn: Turn, side: str) -> Hashable:
    """How many go in, which floats are held against; then only if any do, until netting asks.

    A pair that has been here before comes to the larvae first: it takes the way on with it.
    """
    count, flow = turn.answers.get("in_water"), turn.state.top.flow
    if flow == "safety":
        return count
    taken_along = flow in ("kit", "roles") or (side == RETURNING and turn.state.base.flow in _HANDS)
    return not count if taken_along else None


def _visit(turn: Turn, state: SeatState) -> Hashable:
    kept = len(turn.kept())
    queue = state.queue[0]["problem"] if state.queue and state.top.state == "larva.mend" else ""
    bottles = [sample.kind for sample in turn.samples().values() if sample.kind != "larva" and sample.status == "kept"]
    return (
        kept if kept < turn.target else turn.target,
        max(0, kept // REMEASURE_EVERY - int(turn.answers.get("remeasured", 0))),
        queue,
        bool(state.queue),
        (state.pace, state.pace_next or state.pace) if state.base.flow in _HANDS else (),
        len(bottles) if state.top.flow in ("water", "sediment") else 0,
    )


def _others(world: World) -> Hashable:
    gate = world.snapshot.visit_view.answers.get("gate") == "safety"
    return tuple((seat.role, seat.at) for seat in world.snapshot.seats), gate


def _kits(world: World) -> Hashable:
    return tuple(sorted((name, kit.last_site or "", kit.disinfected) for name, kit in world.snapshot.kits.items()))
