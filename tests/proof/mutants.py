"""Flow books that are wrong in one place, made from the shipped one: does the check catch each?

``python -m tests.proof.mutants`` makes every one (steps dropped, neighbours swapped, branches sent elsewhere), prints
how many of each kind are caught and by what, and writes the survivors to ``tests/proof/survivors.txt``, each beneath
why it survives; reasons that are there already are kept.
``python -m tests.proof.mutants 40`` takes every 40th only, ``40 3`` of these from the third on.
``python -m tests.proof.mutants listed`` judges only those that are listed as survivors.
"""

import sys
import textwrap
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

from guide.errors import WadelineError
from guide.flow.check import check_book
from guide.flow.load import book_text, check_targets, load_book, shipped_flows
from guide.flow.model import RETURN, Branch, Flow, FlowBook, Step
from guide.flow.replies.kinds import KINDS
from guide.proof.ends import alive, without_end
from guide.proof.explore import Explorer, Found, Problem
from guide.proof.hold import Holding
from guide.proof.key import Keys
from guide.proof.prove import gone_through, never_taken
from guide.proof.roots import roots
from guide.proof.rules import RuleBook, read_rules
from guide.proof.show import conversation
from guide.proof.trace import TracedMachine
from guide.proof.world import World
from guide.talk.blanks import REGISTRY
from guide.talk.turn import Talk

SURVIVORS = Path(__file__).parent / "survivors.txt"


@dataclass(frozen=True)
class Mutant:
    """A wrong book, its kind (dropped, swapped, redirected), and what is wrong with it in words."""

    kind: str
    what: str
    book: FlowBook


@dataclass(frozen=True)
class Verdict:
    """What caught a mutant (empty: nothing did), and the shortest conversation where there is one."""

    kind: str
    what: str
    caught_by: str
    shown: str = ""


# Making them


def mutants(book: FlowBook) -> Iterator[Mutant]:
    """Every mutant of a book, in the order of its flows."""
    for flow in book.flows.values():
        names = list(flow.steps)
        for name in names:
            yield from _dropped(book, flow, flow.steps[name])
        for first, second in pairwise(names):
            yield _swapped(book, flow, flow.steps[first], flow.steps[second])
        for step in flow.steps.values():
            for place, branch in enumerate(step.branches):
                for name in names:
                    target = f"{flow.name}.{name}"
                    if target != branch.go:
                        what = f"{step.id}, branch {place + 1} to {branch.go}: sent to {target}"
                        yield Mutant("redirected", what, _with_branch(book, step, place, branch._replace(go=target)))


def _dropped(book: FlowBook, flow: Flow, step: Step) -> Iterator[Mutant]:
    """The step is gone; who went to it goes on to where its first branch leads."""
    if not step.branches:
        return
    onward = step.branches[0].go
    if onward == step.id:
        onward = next((branch.go for branch in step.branches if branch.go != step.id), RETURN)
    changed = _redirected(book, {step.id: onward}, skip=step.id)
    steps = {name: one for name, one in changed.flows[flow.name].steps.items() if name != step.name}
    first = flow.first
    if first == step.name:
        first = onward.removeprefix(f"{flow.name}.") if onward.startswith(f"{flow.name}.") else next(iter(steps), "")
    yield Mutant("dropped", step.id, _with_flow(changed, changed.flows[flow.name]._replace(steps=steps, first=first)))


def _swapped(book: FlowBook, flow: Flow, one: Step, two: Step) -> Mutant:
    """The two change places: who came to one comes to the other, and between them the way turns round."""
    ways = {one.id: two.id, two.id: one.id}
    changed = _redirected(book, ways, skip="")
    if any(branch.go == two.id for branch in one.branches):
        onward = two.branches[-1].go if two.branches else RETURN
        first = [b._replace(go=onward) if b.go == two.id else b for b in one.branches]
        second = [b._replace(go=one.id) if b.go == onward else b for b in two.branches]
        changed = _with_step(changed, one._replace(branches=tuple(first)))
        changed = _with_step(changed, two._replace(branches=tuple(second)))
    names = {one.name: two.name, two.name: one.name}
    new = changed.flows[flow.name]
    changed = _with_flow(changed, new._replace(first=names.get(flow.first, flow.first)))
    return Mutant("swapped", f"{one.id} and {two.name}", changed)


def _redirected(book: FlowBook, ways: dict[str, str], skip: str) -> FlowBook:
    flows = {}
    for flow in book.flows.values():
        steps = {
            name: step._replace(branches=tuple(b._replace(go=ways.get(b.go, b.go)) for b in step.branches))
            if step.id != skip
            else step
            for name, step in flow.steps.items()
        }
        flows[flow.name] = flow._replace(steps=steps)
    return book._replace(flows=flows)


def _with_branch(book: FlowBook, step: Step, place: int, branch: Branch) -> FlowBook:
    branches = tuple(branch if at == place else old for at, old in enumerate(step.branches))
    return _with_step(book, step._replace(branches=branches))


def _with_step(book: FlowBook, step: Step) -> FlowBook:
    flow = book.flows[step.flow]
    return _with_flow(book, flow._replace(steps={**flow.steps, step.name: step}))


def _with_flow(book: FlowBook, flow: Flow) -> FlowBook:
    return book._replace(flows={**book.flows, flow.name: flow})


# Judging them


class Court:
    """The shipped book explored once; each mutant is explored only where it differs."""

    def __init__(self) -> None:
        self.book = load_book(book_text(shipped_flows()), REGISTRY, KINDS)
        self.rules: RuleBook = read_rules(shipped_flows(), self.book, REGISTRY)
        self.keys = Keys(self.book)
        self.found = Explorer(self.rules, self.keys).run(roots(self.book, REGISTRY))
        self.holding = Holding(self.found, self.rules, thorough=True).run()
        self.ends = without_end(self.found)
        self.steps_of: dict[int, list[int]] = {}
        for place, step in enumerate(self.holding.steps):
            self.steps_of.setdefault(step.node, []).append(place)
        self.by_step: dict[str, list[tuple[int, int]]] = {}
        for node, edges in enumerate([*self.found.edges, self.found.begun]):
            for place, edge in enumerate(edges):
                for step in edge.through:
                    self.by_step.setdefault(step, []).append((node, place))
        self.gone = [
            (set().union(*(e.through for e in edges)), {one for e in edges for one in e.taken})
            for edges in self.found.edges
        ]

        self.missed_before = {
            _place(one) for one in never_taken(self.book, *gone_through([*self.found.edges, self.found.begun]))
        }

    def judge(self, mutant: Mutant, walk_only: bool = False) -> Verdict:
        """What catches a mutant first: the loader, the static check, the walk, or a rule."""
        try:
            check_targets(mutant.book, REGISTRY)
            report = check_book(mutant.book)
        except (WadelineError, KeyError) as error:
            return Verdict(mutant.kind, mutant.what, f"loader: {error}")
        if not report.ok and not walk_only:
            return Verdict(mutant.kind, mutant.what, f"static: {report.problems[0]}")
        changed = _Changed(self, mutant.book)
        problem, words = changed.first_problem()
        shown = conversation(problem) if problem and problem.moves else ""
        return Verdict(mutant.kind, mutant.what, words, shown)


def _place(missed: str) -> str:
    """Where a branch that is never taken stands, wherever it leads."""
    return missed.split(" (to ")[0]


class _FoundAnew(Found):
    """What is found of a mutant; conversations begin in the mutant's own book."""

    in_book: Callable[[World], World]

    def root(self, node: int) -> World:
        return self.in_book(super().root(node))


class _Changed:
    """The states of a mutant: those of the shipped book, and what is different."""

    def __init__(self, court: Court, book: FlowBook) -> None:
        self.court, self.book, self.steps = court, book, book.steps
        old = court.found
        self.found = _FoundAnew(
            list(old.nodes), list(old.edges), list(old.begun), [], dict(old.index), old.carry.copy(), old.tried
        )
        self.found.in_book = self._in_book
        self.explorer = Explorer(court.rules, court.keys, self.found)
        self.machine = TracedMachine(book, REGISTRY)
        self.talks: dict[str, Talk] = {}
        self.tried_anew: list[tuple[int, int]] = []

    def first_problem(self) -> tuple[Problem | None, str]:
        self._try_anew()
        if self.found.problems:
            return self.found.problems[0], f"walk: {self.found.problems[0].sentence}"
        self.explorer.go_on(first_only=True)
        if self.found.problems:
            return self.found.problems[0], f"walk: {self.found.problems[0].sentence}"
        broken = self._hold()
        if broken:
            return broken[0], f"rule {broken[0].name}: {broken[0].sentence}"
        ends = without_end(self.found)
        if ends:
            return ends[0], f"ends: {ends[0].sentence}"
        never = never_taken(self.book, *self._gone_through())
        missed = next((one for one in never if _place(one) not in self.court.missed_before), "")
        return None, f"walk: {missed}" if missed else ""

    def _try_anew(self) -> None:
        """Every move that went through what was changed is tried again in the changed book."""
        nodes = len(self.court.found.nodes)
        for node, place in sorted(self._affected()):
            edges = self.court.found.begun if node == nodes else self.court.found.edges[node]
            world = edges[place].target if node == nodes else -1
            if node == nodes:
                root = self.court.found.nodes[world].root
                self.found.begun[place] = self.explorer.attempt(-1, self._in_book(root), edges[place].move)
                continue
            world_there = self.court.found.nodes[node].world
            if not self._stands(world_there):
                continue
            edge = self.explorer.attempt(node, self._in_book(world_there), edges[place].move)
            if self.found.edges[node] is self.court.found.edges[node]:
                self.found.edges[node] = list(edges)
            self.found.edges[node][place] = edge
            self.tried_anew.append((node, place))
            if self.found.problems:
                return

    def _affected(self) -> set[tuple[int, int]]:
        old, new = self.court.book.steps, self.book.steps
        gone = {step for step in old if step not in new}
        firsts = {
            f"{f.name}.{f.first}" for f in self.court.book.flows.values() if self.book.flows[f.name].first != f.first
        }
        changed = {step for step in new if new[step].branches != old[step].branches}
        found: set[tuple[int, int]] = set()
        for step in gone | firsts:
            found.update(self.court.by_step.get(step, ()))
        nodes = len(self.court.found.nodes)
        for step in changed:
            for node, place in self.court.by_step.get(step, ()):
                edge = (self.court.found.begun if node == nodes else self.court.found.edges[node])[place]
                if any(at == step and branch not in new[step].branches for at, branch in edge.taken):
                    found.add((node, place))
        return found

    def _stands(self, world: World) -> bool:
        return all(frame.state in self.steps for frame in world.at.frames)

    def _in_book(self, world: World) -> World:
        if world.side not in self.talks:
            book = self.book._replace(settings=world.talk.book.settings)
            self.talks[world.side] = Talk(book, REGISTRY, self.machine)
        return world._replace(talk=self.talks[world.side])

    def _hold(self) -> list[Problem]:
        """The rules, followed only from what was tried anew."""
        old, new = self.court.holding, Holding(self.found, self.court.rules)
        new.seen, new.steps, new.suspicions = dict(old.seen), list(old.steps), set(old.suspicions)
        for edge in self.found.begun:
            new.follow(edge, self.court.rules.start(), -1)
        for node, place in self.tried_anew:
            for step in self.court.steps_of.get(node, ()):
                new.follow(self.found.edges[node][place], old.steps[step].bits, step)
        new.go_on(first_only=True)
        return new.problems

    def _gone_through(self) -> tuple[set[str], set[tuple[str, Branch]]]:
        through: set[str] = set()
        taken: set[tuple[str, Branch]] = set()
        for edge in self.found.begun:
            through |= edge.through
            taken.update(edge.taken)
        for node in alive(self.found):
            edges = self.found.edges[node]
            if node < len(self.court.gone) and edges is self.court.found.edges[node]:
                through |= self.court.gone[node][0]
                taken |= self.court.gone[node][1]
            else:
                for edge in edges:
                    through |= edge.through
                    taken.update(edge.taken)
        return through, taken


# Survivors, and why


NO_REASON = "no reason is known"


def name_of(mutant: Mutant | Verdict) -> str:
    """A mutant's line in the list of survivors."""
    return f"{mutant.kind}: {mutant.what}"


def read_survivors(file: Path = SURVIVORS) -> dict[str, str]:
    """The listed survivors, each with why it survives: the lines with # above it."""
    found: dict[str, str] = {}
    for part in file.read_text("utf-8").split("\n\n") if file.exists() else ():
        lines = part.strip().splitlines()
        why = " ".join(line.removeprefix("#").strip() for line in lines if line.startswith("#"))
        found |= {line: why or NO_REASON for line in lines if not line.startswith("#")}
    return found


def write_survivors(names: list[str], file: Path = SURVIVORS) -> None:
    """Writes the list anew, grouped by reason; a survivor that was not listed has none yet."""
    known = read_survivors(file)
    groups: dict[str, list[str]] = {why: [] for why in (*dict.fromkeys(known.values()), NO_REASON)}
    for name in names:
        groups[known.get(name, NO_REASON)].append(name)
    parts = ["\n".join([*wrap(why), *some]) for why, some in groups.items() if some]
    file.write_text("\n\n".join(parts) + "\n", "utf-8")


def wrap(why: str) -> list[str]:
    """A reason as lines of comment."""
    return textwrap.wrap(why, 118, initial_indent="# ", subsequent_indent="# ")


# The whole run

TOLD_EVERY = 50
"""Verdicts between two lines of progress."""


def judge_some(part: int, parts: int, wanted: Iterable[str]) -> list[Verdict]:
    """Judges a process's own share of the mutants that are wanted."""
    court, names, began = Court(), set(wanted), time.monotonic()
    chosen = [mutant for mutant in mutants(court.book) if name_of(mutant) in names][part::parts]
    verdicts: list[Verdict] = []
    for mutant in chosen:
        verdicts.append(court.judge(mutant))
        if len(verdicts) % TOLD_EVERY == 0:
            left = sum(1 for verdict in verdicts if not verdict.caught_by)
            told = f"{len(verdicts)} of {len(chosen)} judged, {left} survive, {time.monotonic() - began:.0f} s"
            print(f"process {part + 1}: {told}", flush=True)
    return verdicts


def wanted_of(given: list[str]) -> list[str]:
    """The names of the mutants that a command line asks for."""
    if given == ["listed"]:
        return list(read_survivors())
    every, first = int(given[0]) if given else 1, int(given[1]) if len(given) > 1 else 0
    names = [name_of(one) for one in mutants(load_book(book_text(shipped_flows()), REGISTRY, KINDS))]
    return names[first::every]


def main(given: list[str]) -> None:
    began, wanted = time.monotonic(), wanted_of(given)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        running = [workers.submit(judge_some, part, 2, wanted) for part in range(2)]
        verdicts = [verdict for one in running for verdict in one.result()]
    for kind in ("dropped", "swapped", "redirected"):
        some = [verdict for verdict in verdicts if verdict.kind == kind]
        by = Counter(verdict.caught_by.split(":")[0].split(" ")[0] or "survived" for verdict in some)
        caught = sum(1 for verdict in some if verdict.caught_by)
        share = 100 * caught / max(1, len(some))
        print(f"{kind}: {caught} of {len(some)} caught ({share:.1f} %): {dict(by.most_common())}")
    survivors = [name_of(verdict) for verdict in verdicts if not verdict.caught_by]
    caught, share = len(verdicts) - len(survivors), 100 - 100 * len(survivors) / max(1, len(verdicts))
    print(f"in all {caught} of {len(verdicts)} ({share:.1f} %), {time.monotonic() - began:.0f} s")
    if given:
        print("\n".join(survivors))
    else:
        write_survivors(sorted(survivors))


if __name__ == "__main__":
    main(sys.argv[1:])
