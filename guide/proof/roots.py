"""Where the talks of a proof begin: a small programme made of the one that is checked, and visits unlike the usual."""

from typing import Any

from guide.flow.model import FlowBook
from guide.flow.registry import Registry
from guide.proof.key import RETURNING
from guide.proof.trace import traced
from guide.proof.world import Move, World, new_world
from guide.talk.snapshot import KitView, SeatView
from guide.talk.turn import Talk

TARGET, TAGS = 2, 28
_WAYS = ("bleach", "dry", "hot", "freeze")
KITS = {"K3": KitView("elsewhere", False, "v0"), "K4": KitView("elsewhere", True, "v0")}
"""Kits with a past: one not disinfected since another water, one that was."""


def small(book: FlowBook, **changed: Any) -> FlowBook:
    """The same flows for a programme of few larvae, so that a whole visit is short; its sites ask for every method."""
    settings = book.settings
    ways = (settings.disinfectant, *(way for way in _WAYS if way != settings.disinfectant))
    sites = tuple(site._replace(disinfectant=way) for site, way in zip(settings.sites, ways, strict=False))
    few = settings._replace(
        sites=(*sites, *settings.sites[len(sites) :]),
        target=min(TARGET, settings.target),
        clean_for_pace=min(1, settings.clean_for_pace),
        tags=settings.tags._replace(count=min(TAGS, settings.tags.count)),
        **changed,
    )
    return book._replace(settings=few)


def roots(book: FlowBook, registry: Registry) -> list[tuple[World, Move]]:
    """The usual visit, a plan, a pair that has been here before, several pairs, a leader, other bottles."""
    talk = traced(small(book), registry)
    pair = SeatView(2, "B", "pair", "v1", "+200", "larva.look")
    leader = SeatView(3, "L", "leader", "v1", "+300", "lead.menu")
    hello, plan, join = Move("text", "hello"), Move("text", "plan"), Move("text", "join yarrow18")
    found = [
        (new_world(talk, KITS), hello),
        (new_world(talk, KITS), plan),
        (new_world(talk, KITS, RETURNING, clean=5), hello),
        (new_world(talk, KITS, "another pair", others=(pair,)), join),
        (new_world(talk, KITS, "with a leader", others=(leader,)), hello),
        (new_world(talk, KITS, "leader", others=(pair,)), join),
    ]
    for site in book.settings.sites[1:]:
        found.append((new_world(talk, KITS, site.name), Move("text", site.name)))
    for side, changed in SIDES.items():
        found.append((new_world(_other_talk(book, talk, changed), KITS, side), hello))
    return found


SIDES: dict[str, dict[str, Any]] = {
    "preserved bottles": {"bottle": "preserved", "water_bottles": 1, "sediment_jars": 1},
    "empty bottles": {"bottle": "empty", "late_water": False},
    "jars": {"sediment_jars": 2, "late_water": False},
}
"""Programmes whose settings lead to steps that others don't."""


def _other_talk(book: FlowBook, talk: Talk, changed: dict[str, Any]) -> Talk:
    return Talk(small(book, **changed), talk.registry, talk.machine)
