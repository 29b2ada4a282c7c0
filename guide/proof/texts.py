"""The texts that are tried at a step: one for each way a reply can be taken, odd and unreadable ones, and the words."""

from collections.abc import Iterable, Mapping

from guide.flow.model import REST
from guide.proof.world import Move, World
from guide.talk.bottles import REMEASURE_EVERY
from guide.talk.options import options_of
from guide.talk.turn import Turn

BY_KIND: Mapping[str, tuple[str, ...]] = {
    "done": ("OK",),
    "yes_no": ("Y", "N"),
    "count": ("0", "1", "2", "5", "99"),
    "length": ("27", "11", "5", "2.7"),
    "distance": ("30 cm", "90 cm", "40"),
    "family": ("darner", "skimmer", "UNSURE", "KEY"),
    "temperature": ("22 C", "18 C", "8 C", "-18 C", "60"),
    "duration": ("25 s", "5 s", "0.2 s"),
    "percent": ("6", "12", "40"),
    "volume": ("20 L", "900 L"),
    "date": ("6 July", "tomorrow", "4/7/2026"),
    "time": ("14:30", "7"),
    "text": ("K1", "K3", "bittern", "some words of our own", "20 bags"),
}
"""For each reply kind: values that conditions tell apart, and odd ones. Tags and samples depend on the pool."""

UNREAD = ("blub", "")
QUIET = ("?", "WHERE", "NOTE cut my glove", "DESK where do we park", "SWAP", "GO", "PAUSE", "FIX", 'Liked "old words"')
"""Words and texts that leave the talk where it is."""
MOVING = ("BACK", "OOPS", "DANGER", "FASTER", "SLOWER", "FIX 26", "FIX skimmer", "FIX void", "we hear thunder")
MOVING_TIMERS = ("thunder", "contact", "home", "ice", "gear")
_DECIDING = ("count", "distance", "temperature", "duration", "yes_no")
"""The kinds whose values decide who may go in the water."""
URGENT = ("BACK", "OOPS", "DANGER", "FIX void", "we hear thunder")
"""The words that may move the talk on, and those of them that may in a flow that was called."""
_LEFT = 6
"""Tags that a text of many leaves free, for what comes after it."""


def answers(world: World) -> list[Move]:
    """The texts that can be answers at the step that is being asked."""
    turn = Turn(world.talk, world.at, world.snapshot, world.seat, world.now)
    step = turn.step
    words = [option.code for option in step.asked.options]
    if step.kind == REST:
        words += [site.name for site in turn.settings.sites[-1:]]
    else:
        words += options_of(turn)
        words += _more(world, step.kind)
    ask = world.at.ask
    if ask is not None and ask["step"] == step.id:
        words += ["Y", "N"]
    return [Move("text", text) for text in dict.fromkeys(words) if not (world.side and text == "KEY")]


def _more(world: World, kind: str) -> Iterable[str]:
    """Values beside those that are offered; in an unlike visit only those that decide about the water."""
    if world.side and kind == "sample":
        return _samples(world)[1:2]
    if world.side and kind not in _DECIDING and world.at.base.flow != "arrive":
        return ()
    return _tags(world) if kind == "tag" else _samples(world) if kind == "sample" else BY_KIND.get(kind, ())


def _tags(world: World) -> list[str]:
    """A free one, one on another sample, a void one, one that is not ours, one with a wrong digit."""
    tags = world.snapshot.tags
    first = {
        status: next((code for code, tag in tags.items() if tag.status == status), "")
        for status in ("free", "used", "void")
    }
    return [code for code in (*first.values(), "01435", "01477") if code]


def _samples(world: World) -> list[str]:
    tag = world.snapshot.free_tag() or "01402"
    return [f"27 darner {tag}", f"11 darner {tag}", f"70 darner {tag}", "27 darner", "27", tag]


def several(world: World) -> list[Move]:
    """Two samples in one text, the second with a tag that is not ours; so many that one or two are measured again."""
    free = [code for code, tag in world.snapshot.tags.items() if tag.status == "free"]
    moves = [Move("text", f"27 darner {free[0] if free else '01402'}; 31 skimmer 01477")]
    for many in (REMEASURE_EVERY, 2 * REMEASURE_EVERY):
        if world.at.top.state == "larva.look" and len(free) >= many + _LEFT:
            moves.append(Move("text", "; ".join(f"27 darner {code}" for code in free[:many])))
    return moves


def timers(world: World, moving: bool) -> list[Move]:
    """The timers that run: those that move the talk on, or those that only say something."""
    return [Move("timer", kind) for kind in sorted(world.timers) if (kind in MOVING_TIMERS) is moving]


def words_aside(world: World) -> list[Move]:
    """The words that are tried in an unlike visit: DANGER before a pair begins or when it packs, BACK at bottles."""
    if world.at.base.flow == "pairs" and len(world.at.frames) == 1:
        return [Move("text", "DANGER")]
    return [Move("text", "BACK")] if world.at.top.flow in ("water", "sediment") else []


def others(world: World) -> list[Move]:
    """What another seat of the visit may do."""
    seats = world.snapshot.seats
    if not seats or world.snapshot.visit_view.status == "closed":
        return []
    moves = [] if world.snapshot.visit_view.answers.get("gate") == "safety" else ["gate"]
    moves += ["finds"] if len(world.snapshot.sample_views) < 9 and world.at.base.flow == "larva" else []
    moves += ["packs"] if any(s.role == "pair" and not s.at.startswith("pairs.done") for s in seats) else []
    return [Move("other", what) for what in (*moves, "closes")]
