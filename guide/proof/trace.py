"""A talk that remembers which steps were moved on from: what a text went through, and which branches were taken."""

from guide.flow.machine import Conversation, TalkMachine
from guide.flow.model import Branch, FlowBook
from guide.flow.registry import Registry
from guide.talk.turn import Talk


class TracedMachine(TalkMachine):
    """The machine of a book, with a list of the steps and outcomes moved on, and the branches taken."""

    def __init__(self, book: FlowBook, registry: Registry) -> None:
        super().__init__(book, registry)
        self.moves: list[tuple[str, str, Branch]] = []

    def move(self, talk: Conversation, state: str, outcome: str) -> Branch:
        """Moves as the machine does, and remembers it."""
        branch = super().move(talk, state, outcome)
        self.moves.append((state, outcome, branch))
        return branch


def traced(book: FlowBook, registry: Registry) -> Talk:
    """A book made ready to talk, on a machine that remembers."""
    return Talk(book, registry, TracedMachine(book, registry))


def moves_of(talk: Talk) -> list[tuple[str, str, Branch]]:
    """What was moved since the last call."""
    machine = talk.machine
    assert isinstance(machine, TracedMachine)
    moves, machine.moves = machine.moves, []
    return moves
