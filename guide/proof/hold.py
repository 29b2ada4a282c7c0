"""Holds the rules against all states that were found: where can a rule forbid, and is it broken there?

A rule remembers one thing: does it forbid just now? Rules don't look at each other, so it is enough to follow for each
state which rules can forbid in it, move by move, until nothing new comes. What is found broken is played again from
its beginning before it is told.
"""

from collections import deque
from typing import NamedTuple

from guide.proof.explore import Edge, Found, Problem, broken_by
from guide.proof.rules import RuleBook
from guide.proof.world import Move, World

MOST_TRIED = 10
"""Conversations played again for one rule before it counts as kept."""


class _Step(NamedTuple):
    """Some rules that forbid in a state, and how that came: the step before, and the move."""

    node: int
    bits: int
    before: int
    move: Move


def hold(found: Found, rules: RuleBook, first_only: bool = False) -> tuple[list[Problem], int]:
    """The rules that are broken, each with a shortest conversation; and suspicions that did not come true."""
    holding = _Holding(found, rules, first_only)
    holding.run()
    return holding.problems, len(holding.tries) - len(holding.told)


class _Holding:
    def __init__(self, found: Found, rules: RuleBook, first_only: bool) -> None:
        self.found, self.rules, self.first_only = found, rules, first_only
        self.seen = [0] * len(found.nodes)
        self.reached = [False] * len(found.nodes)
        self.steps: list[_Step] = []
        self.waiting: deque[int] = deque()
        self.problems: list[Problem] = []
        self.tries: dict[int, int] = {}
        self.told: set[int] = set()

    def run(self) -> None:
        start = self.rules.start()
        for edge in self.found.begun:
            self._pass(edge, start, -1)
        while self.waiting and not (self.first_only and self.problems):
            place = self.waiting.popleft()
            step = self.steps[place]
            for edge in self.found.edges[step.node]:
                self._pass(edge, step.bits, place)

    def _pass(self, edge: Edge, bits: int, before: int) -> None:
        broken = edge.passage.broken(bits)
        if broken:
            self._broken(broken, edge, before)
        if edge.target < 0:
            return
        new = edge.passage.through(bits) & ~self.seen[edge.target]
        if new or not self.reached[edge.target]:
            self.reached[edge.target] = True
            self.seen[edge.target] |= new
            self.steps.append(_Step(edge.target, new, before, edge.move))
            self.waiting.append(len(self.steps) - 1)

    def _broken(self, broken: int, edge: Edge, before: int) -> None:
        for place, rule in enumerate(self.rules.rules):
            if not broken >> place & 1 or place in self.told or self.tries.get(place, 0) >= MOST_TRIED:
                continue
            self.tries[place] = self.tries.get(place, 0) + 1
            root, moves = self._conversation(edge, before)
            if broken_by(self.rules, root, moves) >> place & 1:
                self.told.add(place)
                self.problems.append(Problem(rule.name, rule.sentence, root, moves))

    def _conversation(self, edge: Edge, before: int) -> tuple[World, tuple[Move, ...]]:
        moves, node = [edge.move], -1
        while before >= 0:
            step = self.steps[before]
            moves.append(step.move)
            node, before = step.node, step.before
        root = self.found.nodes[node].root if node >= 0 else self.found.nodes[edge.target].root
        return root, tuple(reversed(moves))
