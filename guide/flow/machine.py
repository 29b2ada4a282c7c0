"""A flow book as one flat ``transitions`` machine, built once and shared by every conversation.

No model is ever registered: a conversation is a light object whose state is set for each text (a registered model
weighs 33 KB and an added one costs more than the step itself).
"""

import logging
from collections.abc import Callable
from typing import Any

from transitions import Machine

from guide.flow.model import RETURN, Branch, FlowBook, Step
from guide.flow.registry import Registry

logging.getLogger("transitions").setLevel(logging.WARNING)


class Conversation:
    """What the machine moves: the state it is in, the turn its conditions look at, the branch it took last."""

    __slots__ = ("branch", "state", "turn")

    def __init__(self, turn: Any) -> None:
        self.turn = turn
        self.state = ""
        self.branch: Branch | None = None


class TalkMachine:
    """The moves a flow book allows."""

    def __init__(self, book: FlowBook, registry: Registry) -> None:
        self._machine = Machine(model=None, states=[RETURN], initial=RETURN, auto_transitions=False, send_event=True)
        self._book, self._registry = book, registry
        self._names = frozenset(book.states)
        self._built: set[str] = set()

    def _meet(self, state: str) -> None:
        """Has the machine know a state; raises ValueError for one the book doesn't have."""
        if state not in self._machine.states:
            if state not in self._names:
                raise ValueError(f"the flow book has no step {state!r}")
            self._machine.add_states(state)

    def _build(self, step: Step) -> None:
        """The moves out of a step, made when it is first left: a start pays only for the steps it meets."""
        for outcome in self._book.outcomes(step):
            self._add(step, outcome, self._registry, self._book)
        self._built.add(step.id)

    def _add(self, step: Step, outcome: str, registry: Registry, book: FlowBook) -> None:
        for branch in step.branches:
            if branch.serves(outcome):
                target = f"{branch.call}.{book.flows[branch.call].first}" if branch.call else branch.go
                self._meet(target)
                self._machine.add_transition(
                    outcome,
                    step.id,
                    target,
                    conditions=[_holds(name, registry) for name in branch.when],
                    before=_note(branch),
                )

    def move(self, talk: Conversation, state: str, outcome: str) -> Branch:
        """Moves from ``state`` on ``outcome``; returns the branch taken. Raises ValueError for an unknown state."""
        if state not in self._built:
            self._meet(state)
            self._build(self._book.step(state))
        talk.state = state
        self._machine.events[outcome].trigger(talk)
        assert talk.branch is not None
        return talk.branch


def _holds(name: str, registry: Registry) -> Callable[[Any], bool]:
    condition, wanted = registry.conditions[name.removeprefix("not ")], not name.startswith("not ")
    return lambda event: bool(condition(event.model.turn)) is wanted


def _note(branch: Branch) -> Callable[[Any], None]:
    def note(event: Any) -> None:
        event.model.branch = branch

    return note
