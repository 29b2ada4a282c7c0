"""Every state that a flow book's talk can reach, breadth first: each found by the shortest conversation to it."""

from collections import deque
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from guide.flow.model import Branch
from guide.proof import oracle, texts
from guide.proof.events import events
from guide.proof.key import Keys
from guide.proof.rules import Event, Passage, Rule, RuleBook
from guide.proof.trace import moves_of
from guide.proof.world import Move, World, after
from guide.talk.turn import Turn

ENDED = -1
"""Where a move leads that ends the visit: another one is begun."""
NOWHERE = -2
"""Where a move leads that raises an error."""


@dataclass(frozen=True)
class Problem:
    """A sentence that doesn't hold, and the shortest conversation found that breaks it."""

    name: str
    sentence: str
    root: World
    moves: tuple[Move, ...] = ()


class Edge(NamedTuple):
    """One move tried in a state: where it led, the steps it went through or stands at, branches, and the rules."""

    move: Move
    target: int
    through: frozenset[str]
    taken: tuple[tuple[str, Branch], ...]
    passage: Passage


class Node(NamedTuple):
    """One state: a world that is in it, and the move that first led here from ``parent`` (negative: from nowhere)."""

    world: World
    parent: int
    move: Move
    root: World


@dataclass
class Found:
    """All that an exploration found.

    ``begun`` are the first moves, from worlds nobody has texted to; ``carry`` the replies that carry on, as looked up.
    """

    nodes: list[Node] = field(default_factory=list)
    edges: list[list[Edge]] = field(default_factory=list)
    begun: list[Edge] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    index: dict[Hashable, int] = field(default_factory=dict)
    carry: dict[int, str] = field(default_factory=dict)
    tried: int = 0

    def root(self, node: int) -> World:
        """The world before the first text of the conversation to a state."""
        return self.nodes[node].root

    def path(self, node: int) -> tuple[World, tuple[Move, ...]]:
        """The root a node was reached from, and the moves there."""
        root, moves = self.root(node), []
        while node >= 0:
            moves.append(self.nodes[node].move)
            node = self.nodes[node].parent
        return root, tuple(reversed(moves))


class Explorer:
    """Visits every state from some worlds on, trying every text at each."""

    def __init__(self, rules: RuleBook, keys: Keys, found: Found | None = None) -> None:
        self.rules, self.keys, self.found = rules, keys, found or Found()
        self._waiting: deque[int] = deque()
        self._told: set[tuple[str, str]] = set()
        self._heard: set[Hashable] = set()

    def run(self, roots: Iterable[tuple[World, Move]], first_only: bool = False) -> Found:
        """Explores from worlds nobody has texted to yet, each with a first text."""
        for world, first in roots:
            self.found.begun.append(self.attempt(-1, world, first))
        self.go_on(first_only)
        return self.found

    def go_on(self, first_only: bool = False) -> None:
        """Visits what waits to be visited; with ``first_only`` until something is wrong."""
        while self._waiting and not (first_only and self.found.problems):
            place = self._waiting.popleft()
            world = self.found.nodes[place].world
            self.found.edges[place] = [self.attempt(place, world, move) for move in self.moves(world)]
            if not world.side:
                self._listen(place, world)

    def moves(self, world: World) -> list[Move]:
        """What is tried in a state."""
        tried = texts.answers(world) + texts.timers(world, True)
        if world.side:
            return tried + texts.words_aside(world) + texts.others(world)
        words = texts.MOVING if len(world.at.frames) == 1 else texts.URGENT
        tried += [Move("text", word) for word in (*words, *(["SLOWER"] if world.at.top.flow == "family" else []))]
        if world.at.base.flow in ("larva", "net") and len(world.at.frames) == 1:
            tried += texts.several(world)
        return tried

    def attempt(self, place: int, world: World, move: Move) -> Edge:
        """Tries one move; what is wrong with it is told, where it leads is kept."""
        self.found.tried += 1
        moves_of(world.talk)
        try:
            now, decision = after(world, move)
        except Exception as error:
            self._tell("error", f"No text raises an error: {type(error).__name__}: {error}", place, world, move)
            return Edge(move, NOWHERE, frozenset(), (), Passage(0, 0, 0, 0))
        moved = moves_of(world.talk)
        wrong = oracle.fault(world, move, now, decision) if move.kind != "other" else ""
        if wrong:
            self._tell("fault", wrong, place, world, move)
            return Edge(move, NOWHERE, frozenset(), (), Passage(0, 0, 0, 0))
        through = frozenset((*(state for state, _, _ in moved), *(frame.state for frame in now.at.frames)))
        taken = tuple((state, branch) for state, _, branch in moved)
        if decision.new_visit:
            return Edge(move, ENDED, through, taken, Passage(0, 0, 0, 0))
        passage = self._passage(events(world, move, now, decision, moved), now)
        return Edge(move, self._arrive(now, place, move, world), through, taken, passage)

    def _passage(self, happened: list[Event], now: World) -> Passage:
        """What the events do to the rules; a rule with conditions is broken only where they hold."""
        passage = self.rules.passage(happened)
        asked = (passage.from_before | passage.from_here) & self.rules.with_conditions
        if not asked:
            return passage
        turn, spared = Turn(now.talk, now.at, now.snapshot, now.seat, now.now), 0
        for place, rule in self.rules.conditional:
            if asked >> place & 1 and not _holds(rule, turn):
                spared |= 1 << place
        return passage._replace(from_before=passage.from_before & ~spared, from_here=passage.from_here & ~spared)

    def _arrive(self, now: World, place: int, move: Move, before: World) -> int:
        key = self.keys.of(now)
        known = self.found.index.get(key)
        if known is not None:
            return known
        number = len(self.found.nodes)
        self.found.index[key] = number
        root = before if place < 0 else self.found.nodes[place].root
        self.found.nodes.append(Node(now, place, move, root))
        self.found.edges.append([])
        self._waiting.append(number)
        return number

    def _listen(self, place: int, world: World) -> None:
        """Words that work anywhere, and texts that can't be read, once for each step above the same flows."""
        state = world.at
        heard = (tuple(f.flow for f in state.frames[:-1]), state.top.state, state.ask is not None)
        if heard in self._heard:
            return
        self._heard.add(heard)
        self.found.tried += len(texts.QUIET) + len(texts.UNREAD) + 9
        self.found.edges[place] += [self.attempt(place, world, move) for move in texts.timers(world, False)]
        try:
            wrong = oracle.word_faults(world) or oracle.unread_faults(world)
        except Exception as error:
            wrong = [], f"No word raises an error: {type(error).__name__}: {error}"
        if wrong is not None:
            self._tell("words", wrong[1], place, world, *wrong[0])

    def _tell(self, name: str, sentence: str, place: int, world: World, *moves: Move) -> None:
        """A problem is told once, by the first and so shortest conversation to it."""
        if (name, sentence) in self._told:
            return
        self._told.add((name, sentence))
        root, before = self.found.path(place) if place >= 0 else (world, ())
        self.found.problems.append(Problem(name, sentence, root, (*before, *moves)))


def _holds(rule: Rule, turn: Turn) -> bool:
    conditions = turn.talk.registry.conditions
    return all(
        bool(conditions[name.removeprefix("not ")](turn)) is not name.startswith("not ") for name in rule.conditions
    )


def broken_by(rules: RuleBook, root: World, moves: Iterable[Move]) -> int:
    """The rules that a conversation breaks by its last move, a bit each; played from its beginning."""
    explorer, bits, world, hit = Explorer(rules, Keys(root.talk.book)), rules.start(), root, 0
    for move in moves:
        if move.kind == "timer" and move.words not in world.timers:
            return 0
        moves_of(world.talk)
        try:
            now, decision = after(world, move)
        except Exception:
            return 0  # told where it was tried; here it only means that this is no conversation
        if decision.new_visit:
            return 0
        passage = explorer._passage(events(world, move, now, decision, moves_of(world.talk)), now)
        hit, bits, world = passage.broken(bits), passage.through(bits), now
    return hit
