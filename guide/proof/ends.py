"""From everywhere an end is reached: by some answers, and by always texting the reply that carries on."""

from guide.flow.model import REST
from guide.proof.explore import ENDED, Found, Problem
from guide.proof.world import World
from guide.talk.options import options_of
from guide.talk.turn import Turn
from guide.talk.words import WORDS

_WORDS = frozenset(word.name for word in WORDS)
NO_END = "An end is reached from everywhere, without calling danger."
NO_WAY = "The reply that carries on leads to an end, from everywhere, once timers and other seats have done theirs."


def without_end(found: Found) -> list[Problem]:
    """The first state from which no answers lead to an end, and the first that carrying on goes round in."""
    problems: list[Problem] = []
    for sentence, bad in ((NO_END, _no_answers_end(found)), (NO_WAY, _circle(found))):
        if bad:
            problems.append(Problem("ends", sentence, *found.path(min(bad, key=lambda node: len(found.path(node)[1])))))
    return problems


def _ends(found: Found, node: int) -> bool:
    world = found.nodes[node].world
    return world.talk.book.step(world.at.top.state).kind == REST


def _no_answers_end(found: Found) -> list[int]:
    before: list[list[int]] = [[] for _ in found.nodes]
    waiting = [node for node in range(len(found.nodes)) if _ends(found, node)]
    for node, edges in enumerate(found.edges):
        for edge in edges:
            if edge.move.words.partition(" ")[0] in _WORDS:
                continue
            if edge.target >= 0:
                before[edge.target].append(node)
            elif edge.target == ENDED:
                waiting.append(node)
    reached = set(waiting)
    while waiting:
        for node in before[waiting.pop()]:
            if node not in reached:
                reached.add(node)
                waiting.append(node)
    return [node for node in alive(found) if node not in reached]


def alive(found: Found) -> set[int]:
    """The states that the moves there are lead to (in a changed book some are left over from the one before)."""
    waiting = [edge.target for edge in found.begun if edge.target >= 0]
    reached = set(waiting)
    while waiting:
        for edge in found.edges[waiting.pop()]:
            if edge.target >= 0 and edge.target not in reached:
                reached.add(edge.target)
                waiting.append(edge.target)
    return reached


def _circle(found: Found) -> list[int]:
    """States that carrying on only goes round in."""
    onward = {}
    for node in alive(found):
        if node not in found.carry:
            found.carry[node] = _carry(found.nodes[node].world)
        carry = found.carry[node]
        carried = [edge.target for edge in found.edges[node] if edge.move.words == carry]
        waited = [edge.target for edge in found.edges[node] if edge.move.kind != "text"]
        onward[node] = next((target for target in [*carried, *waited] if target != node), node)
    good, bad = {ENDED}, []
    for start in onward:
        path, node = [], start
        while node not in good and node not in path and not (node >= 0 and _ends(found, node)):
            path.append(node)
            node = onward.get(node, ENDED)
        if node in path:
            bad += path[path.index(node) :]
            onward[node] = ENDED
        good.update(path)
    return bad


def _carry(world: World) -> str:
    options = options_of(Turn(world.talk, world.at, world.snapshot, world.seat, world.now))
    return options[0] if options else ""
