"""The whole proof of a book: explore, hold the rules, look for ends, and say what was found."""

import gc
import re
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from guide.counted import counted
from guide.flow.load import load_book
from guide.flow.model import REST, Branch, FlowBook
from guide.flow.replies.kinds import KINDS
from guide.proof.ends import without_end
from guide.proof.explore import Explorer, Found, Problem
from guide.proof.hold import hold
from guide.proof.key import Keys
from guide.proof.roots import roots
from guide.proof.rules import RuleBook, read_rules
from guide.proof.show import conversation
from guide.talk.blanks import REGISTRY

_YOUNG, _NEVER = 50_000, 10**9


@dataclass
class Proof:
    """What was proved of a book. ``problems`` are sentences with the conversation that breaks each."""

    states: int = 0
    texts: int = 0
    seconds: float = 0.0
    rules: int = 0
    unconfirmed: int = 0
    problems: list[str] = field(default_factory=list)
    through: set[str] = field(default_factory=set)
    taken: set[tuple[str, Branch]] = field(default_factory=set)

    def add(self, other: "Proof") -> None:
        """Takes in what was proved of another part of the visits."""
        self.states += other.states
        self.texts += other.texts
        self.unconfirmed += other.unconfirmed
        self.problems += [problem for problem in other.problems if problem.split("\n")[0] not in self._first_lines()]
        self.through |= other.through
        self.taken |= other.taken

    def as_text(self) -> str:
        """For people: the problems with their conversations, then what was tried."""
        tried = f"{self.states} states, {self.texts} texts tried, {self.rules} rules, {self.seconds:.0f} s"
        if self.problems:
            return "\n\n".join([*self.problems, f"{tried}: {counted(len(self.problems), 'problem')}"])
        tried += f"; {self.unconfirmed} suspicions played again and found groundless" if self.unconfirmed else ""
        return f"{tried}\nok: every state leads to an end, every word works in each, no rule can be broken"

    def _first_lines(self) -> set[str]:
        return {problem.split("\n")[0] for problem in self.problems}


def prove(book: FlowBook, folder: Path, deep: bool = False) -> Proof:
    """Proves a book against the rules of a folder: the usual visit in one process, unlike ones in another."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    began = time.monotonic()
    rules = read_rules(folder, book, REGISTRY)
    proof = Proof(rules=len({rule.name for rule in rules.rules}))
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        parts = [workers.submit(prove_part, book.text, str(folder), side, deep) for side in (False, True)]
        for part in parts:
            proof.add(part.result())
    proof.problems += list(unstated_acts(book, rules))
    proof.problems += list(never_taken(book, proof.through, proof.taken))
    proof.seconds = time.monotonic() - began
    return proof


def prove_part(text: str, folder: str, sides: bool, deep: bool) -> Proof:
    """The proof of the usual visit, or of the unlike ones."""
    gc.set_threshold(_YOUNG, _NEVER, _NEVER)  # what a text leaves goes; what is kept is never looked through again
    book = load_book(text, REGISTRY, KINDS)
    rules = read_rules(Path(folder), book, REGISTRY)
    found = Explorer(rules, Keys(book, deep)).run(root for root in roots(book, REGISTRY) if bool(root[0].side) is sides)
    problems, unconfirmed = problems_of(found, rules)
    through, taken = gone_through([*found.edges, found.begun])
    shown = [conversation(problem) for problem in problems]
    return Proof(len(found.nodes), found.tried, 0.0, 0, unconfirmed, shown, through, taken)


def problems_of(found: Found, rules: RuleBook) -> tuple[list[Problem], int]:
    """All that is wrong with what was found, and suspicions that did not come true."""
    broken, unconfirmed = hold(found, rules)
    return [*found.problems, *broken, *without_end(found)], unconfirmed


def gone_through(edges: Iterable[Iterable[object]]) -> tuple[set[str], set[tuple[str, Branch]]]:
    """The steps that were come to, and the branches that were taken."""
    through: set[str] = set()
    taken: set[tuple[str, Branch]] = set()
    for some in edges:
        for edge in some:
            through |= edge.through  # type: ignore[attr-defined]
            taken.update(edge.taken)  # type: ignore[attr-defined]
    return through, taken


def unstated_acts(book: FlowBook, rules: RuleBook) -> Iterable[str]:
    """Prompts whose words call for an act that the step doesn't state: no rule could hold them."""
    for act, pattern in rules.words.items():
        for step in book.steps.values():
            found = re.search(pattern, step.say.get("en", ""))
            if found and act not in step.acts:
                yield f"{step.flow}.toml, step {step.id}: says {found[0]!r} and doesn't state the act {act!r}"


def never_taken(book: FlowBook, through: set[str], taken: set[tuple[str, Branch]]) -> Iterable[str]:
    """Steps that no conversation comes to, and branches that none takes."""
    for step in book.steps.values():
        if step.id not in through:
            yield f"{step.flow}.toml, step {step.id}: no conversation comes to this step"
        elif step.kind != REST:
            for place, branch in enumerate(step.branches, 1):
                if (step.id, branch) not in taken:
                    yield f"{step.flow}.toml, step {step.id}: no conversation takes its branch {place} (to {branch.go})"
