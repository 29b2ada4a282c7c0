"""Which surprises come, and when: drawn from the session's seed, so that the same seed brings the same ones."""

from dataclasses import dataclass
from random import Random

from guide.drill.model import Coming, Drill, Surprise

LARVA_FLOWS = ("larva", "net")
"""Flows that are gone through once a larva: a surprise in them waits for its larva."""


@dataclass(frozen=True)
class Planned:
    """A surprise and the larva, counted from 1, at which it comes at the earliest (0: at once)."""

    surprise: Surprise
    larva: int


def seeded(*parts: object) -> Random:
    """Chance that is the same for the same seed, pair, round and purpose, whatever else was drawn before."""
    return Random("/".join(str(part) for part in parts))


def plan_round(drill: Drill, seed: int, pair: str, number: int) -> list[Planned]:
    """The surprises of one round, in the order they should come."""
    random = seeded(seed, pair, number, "plan")
    kept = [one for one in drill.coming if one.round == number]
    others = [one for one in drill.coming if not one.round and random.random() < one.chance]
    if not drill.listed:
        random.shuffle(others)
    chosen = (kept + others)[: drill.most]
    if drill.listed:
        chosen.sort(key=drill.coming.index)
    return [Planned(one.surprise, _larva(drill, one, random)) for one in chosen]


def _larva(drill: Drill, coming: Coming, random: Random) -> int:
    per_larva = any(step.split(".")[0] in LARVA_FLOWS for step in coming.surprise.at)
    return random.randint(1, drill.larvae) if per_larva and drill.larvae else 0
