"""Holds the rules against all states that were found: where can a rule forbid, and is it broken there?

A rule remembers one thing: does it forbid just now? Rules don't look at each other, so it is enough to follow for each
state which rules can forbid in it, move by move, until nothing new comes. What is found broken is played again from
its beginning before it is told: two states that the proof takes for one may differ in what a suspicion stands on.
"""

from collections import deque
from typing import NamedTuple

from guide.proof.explore import Edge, Found, Problem, broken_by
from guide.proof.rules import RuleBook
from guide.proof.world import Move, World

MOST_TRIED = 6
"""Conversations played again for one rule before it counts as kept."""


class Step(NamedTuple):
    """Some rules that forbid in a state, and how that came: the step before (-1: none), and the move."""

    node: int
    bits: int
    before: int
    move: Move


class Holding:
    """Which rules can forbid in which state, and those that are broken."""

    def __init__(self, found: Found, rules: RuleBook) -> None:
        self.found, self.rules = found, rules
        self.seen: dict[int, int] = {}
        self.steps: list[Step] = []
        self.problems: list[Problem] = []
        self.suspicions: set[tuple[int, int, Move]] = set()
        self._waiting: deque[int] = deque()
        self._tries: dict[int, int] = {}
        self._told: set[int] = set()

    def run(self) -> "Holding":
        """Follows the rules from the first moves on."""
        for edge in self.found.begun:
            self.follow(edge, self.rules.start(), -1)
        self.go_on()
        return self

    def go_on(self, first_only: bool = False) -> None:
        """Follows what is new; with ``first_only`` until a rule is broken."""
        while self._waiting and not (first_only and self.problems):
            place = self._waiting.popleft()
            step = self.steps[place]
            for edge in self.found.edges[step.node]:
                self.follow(edge, step.bits, place)

    def follow(self, edge: Edge, bits: int, before: int) -> None:
        """Takes a move with rules that forbid before it."""
        broken = edge.passage.broken(bits)
        if broken:
            self._broken(broken, edge, before)
        if edge.target < 0:
            return
        seen = self.seen.get(edge.target)
        new = edge.passage.through(bits) & ~(seen or 0)
        if new or seen is None:
            self.seen[edge.target] = (seen or 0) | new
            self.steps.append(Step(edge.target, new, before, edge.move))
            self._waiting.append(len(self.steps) - 1)

    def _broken(self, broken: int, edge: Edge, before: int) -> None:
        node = self.steps[before].node if before >= 0 else -1
        for place, rule in enumerate(self.rules.rules):
            if not broken >> place & 1 or place in self._told or (place, node, edge.move) in self.suspicions:
                continue
            self.suspicions.add((place, node, edge.move))
            self._tries[place] = self._tries.get(place, 0) + 1
            if self._tries[place] > MOST_TRIED:
                continue
            root, moves = self._conversation(edge, before)
            if broken_by(self.rules, root, moves) >> place & 1:
                self._told.add(place)
                self.problems.append(Problem(rule.name, rule.sentence, root, moves))

    def _conversation(self, edge: Edge, before: int) -> tuple[World, tuple[Move, ...]]:
        moves, node = [edge.move], -1
        while before >= 0:
            step = self.steps[before]
            moves.append(step.move)
            node, before = step.node, step.before
        return self.found.root(node if node >= 0 else edge.target), tuple(reversed(moves))


def hold(found: Found, rules: RuleBook) -> tuple[list[Problem], int]:
    """The rules that are broken, each with a shortest conversation; and how many suspicions did not come true."""
    holding = Holding(found, rules).run()
    return holding.problems, len({place for place, _, _ in holding.suspicions}) - len(holding.problems)
