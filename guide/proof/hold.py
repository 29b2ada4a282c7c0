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
    """Which rules can forbid in which state, and those that are broken.

    ``suspicions`` are the moves that seemed to break a rule, by the rule's place and the state; with ``thorough`` all
    of them, though no more than MOST_TRIED of a rule are played.
    """

    def __init__(self, found: Found, rules: RuleBook, thorough: bool = False) -> None:
        self.found, self.rules, self.thorough = found, rules, thorough
        self.seen: dict[int, int] = {}
        self.steps: list[Step] = []
        self.problems: list[Problem] = []
        self.suspicions: set[tuple[int, int, Move]] = set()
        self._waiting: deque[int] = deque()
        self._tries: dict[int, int] = {}
        self._settled = 0

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
        move, target, _, _, (lifted, forbidden, from_before, from_here) = edge
        broken = ((from_before & bits) | from_here) & ~self._settled
        if broken:
            self._broken(broken, edge, before)
        if target < 0:
            return
        seen = self.seen.get(target)
        new = ((bits & ~lifted) | forbidden) & ~(seen or 0)
        if new or seen is None:
            self.seen[target] = (seen or 0) | new
            self.steps.append(Step(target, new, before, move))
            self._waiting.append(len(self.steps) - 1)

    def _broken(self, broken: int, edge: Edge, before: int) -> None:
        node = self.steps[before].node if before >= 0 else -1
        while broken:
            bit = broken & -broken
            broken ^= bit
            place = bit.bit_length() - 1
            if (place, node, edge.move) in self.suspicions:
                continue
            self.suspicions.add((place, node, edge.move))
            self._tries[place] = self._tries.get(place, 0) + 1
            if self._tries[place] <= MOST_TRIED:
                root, moves = self._conversation(edge, before)
                if broken_by(self.rules, root, moves) & bit:
                    self._settled |= bit
                    self.problems.append(
                        Problem(self.rules.rules[place].name, self.rules.rules[place].sentence, root, moves)
                    )
            elif not self.thorough:
                self._settled |= bit

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
