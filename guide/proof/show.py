"""A conversation that breaks a rule, as a transcript that people read and the program can play again."""

from guide.proof.explore import Problem
from guide.proof.world import START, Move, World, after
from guide.replay.transcript import INDENT
from guide.talk.decision import Decision

_OTHERS = {
    "gate": "another seat answers the safety questions",
    "finds": "another pair bags all that is wanted",
    "packs": "the other pair packs",
    "closes": "another seat closes the visit",
}


def conversation(problem: Problem) -> str:
    """The rule's name, the shortest conversation that breaks it, then its sentence."""
    side = f"\n# A visit with something unlike the usual: {problem.root.side}." if problem.root.side else ""
    lines = [f"{problem.name} is broken{side}", "", f"start {START:%Y-%m-%dT%H:%MZ}", ""]
    world = problem.root
    for move in problem.moves:
        try:
            now, decision = after(world, move)
        except Exception:
            lines += _heading(move, world)
            break
        lines += _heading(move, now) + _said(move, now, decision)
        world = now
    return "\n".join([*lines, "", f"broken: {problem.sentence}"])


def _heading(move: Move, world: World) -> list[str]:
    if move.kind == "text":
        return [f"{world.now:%H:%M} pair: {move.words}".rstrip()]
    return [f"# {_OTHERS[move.words]}"] if move.kind == "other" else []


def _said(move: Move, world: World, decision: Decision) -> list[str]:
    clock = f"{world.now:%H:%M} " if move.kind == "timer" else ""
    return [f"{INDENT}{clock}{say.text}" for say in decision.says if say.to is None]
