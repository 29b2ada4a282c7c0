"""The blanks texts may hold: how each is filled, and the most it can take (so that a prompt is proved to fit)."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from math import ceil

from guide.flow.registry import Blank, Registry
from guide.talk import bottles, daylight, gear, plan, samples
from guide.talk.conditions import CONDITIONS, drift_speed, most_in_water, number, others_at_work, own_kept
from guide.talk.effects import EFFECTS
from guide.talk.summary import both_names, short_name, tally_words, too_few
from guide.talk.turn import Turn

SITE_WIDTH = 20
PROGRAMME_WIDTH = 26


def _whole(name: str) -> Blank:
    """A blank for a whole-number answer about the visit."""
    return Blank(lambda turn: f"{number(turn, name):g}", 3, "digits")


def _setting(name: str, width: int = 3) -> Blank:
    return Blank(lambda turn: f"{getattr(turn.settings, name):g}", width, "digits")


def _sites(turn: Turn) -> str:
    """``1 Amberwell Pond 2 Quill Brook``, as many as fit."""
    words = ""
    for place, site in enumerate(turn.settings.sites, 1):
        more = f"{words} {place} {site.name}".strip()
        if len(more) > _SITES_WIDTH - 8:
            return f"{words} or name"
        words = more
    return words


_SITES_WIDTH = 80


def _length(turn: Turn) -> str:
    sample = turn.sample()
    return f"{sample.length_mm:g}" if sample and sample.length_mm is not None else "?"


def _other_length(turn: Turn) -> str:
    """A length for an example of FIX: near the one just told, and not the same."""
    sample = turn.sample()
    told = sample.length_mm if sample and sample.length_mm is not None else _TYPICAL_MM
    return f"{max(1, round(told) - 1)}"


_TYPICAL_MM = 27


def _other_family(turn: Turn) -> str:
    """A family for an example of FIX, never the one just told."""
    sample = turn.sample()
    return "DARNER" if sample and sample.family == "Libellulidae" else "SKIMMER"


def _family(turn: Turn) -> str:
    sample = turn.sample()
    return both_names(sample.family) if sample and sample.family else "?"


def _tag(turn: Turn) -> str:
    sample = turn.sample()
    return sample.tag if sample and sample.tag else "?"


def _tag_shape(turn: Turn) -> str:
    """What stands on a slip: ``5 digits, like 01428``, or the lab's own code."""
    from guide.field.tags import block

    tags = turn.settings.tags
    return f"{tags.width} digits, like {block(142, 1, tags.width)[0]}" if tags.check else "code, as it is printed"


def got(turn: Turn) -> str:
    """The sample this text told of, read back."""
    if turn.got is None:
        return ""
    return f"Got {turn.got.tag}: {turn.got.length_mm:g} mm {short_name(turn.got.family or 'unsure')}. "


def _slipped(turn: Turn) -> str:
    return "spoon" if turn.state.top.slots.get("what") == "SPOON" else "glove"


def _few(turn: Turn) -> str:
    few = [short_name(family) for family in too_few(turn)]
    if not few:
        return ""
    more = "" if len(few) == 1 else f" and {len(few) - 1} more"
    return f"Too few to use: {few[0]}{more}. "


def _full(turn: Turn) -> str:
    return "All larvae found! " if len(turn.kept()) >= turn.target else ""


def _last_tags(turn: Turn) -> str:
    return " ".join(sample.tag for sample in turn.kept()[-3:] if sample.tag)


def _minutes_left(turn: Turn) -> str:
    since = turn.state.top.slots.get("thunder_since")
    until = (datetime.fromisoformat(since) if since else turn.now) + timedelta(minutes=turn.settings.thunder_wait_min)
    return str(max(1, ceil((until - turn.now).total_seconds() / 60)))


def _opened_day(turn: Turn) -> str:
    opened = turn.visit.opened_at
    return (datetime.fromisoformat(opened) if opened else turn.now).astimezone(turn.zone).strftime("%a %d %b")


BLANKS: Mapping[str, Blank] = {
    **gear.BLANKS,
    **bottles.BLANKS,
    **plan.BLANKS,
    **daylight.BLANKS,
    "practice": Blank(lambda turn: "Practice, nothing counts. " if turn.visit.practice else "", 26),
    "programme": Blank(lambda turn: turn.settings.name, PROGRAMME_WIDTH),
    "sites": Blank(_sites, _SITES_WIDTH),
    "site": Blank(lambda turn: turn.site.name if turn.site else "no site yet", SITE_WIDTH),
    "emergency": Blank(lambda turn: turn.settings.emergency, 5),
    "thunder_wait": _setting("thunder_wait_min"),
    "spot_min": _setting("spot_min", 2),
    "knee": _setting("knee_cm"),
    "cold": _setting("cold_c", 2),
    "short_turn": _setting("short_turn_min"),
    "drift_m": _setting("drift_m", 2),
    "minimum": _setting("minimum_mm", 2),
    "family_min": _setting("family_min", 2),
    "people": _whole("people"),
    "in_water": _whole("in_water"),
    "floats": _whole("floats"),
    "out": _whole("out_count"),
    "home": _whole("home_count"),
    "empty": _whole("empty_spots"),
    "bags_counted": _whole("bags_counted"),
    "in_most": Blank(lambda turn: str(most_in_water(turn)), 3, "digits"),
    "speed": Blank(lambda turn: f"{drift_speed(turn):.2g}", 4, "digits"),
    "depth": Blank(lambda turn: f"{number(turn, 'depth_m') * 100:.0f}", 3, "digits"),
    "bags": Blank(lambda turn: str(2 * turn.target + turn.settings.bags_spare), 3, "digits"),
    "opened_day": Blank(_opened_day, 10),
    "word": Blank(lambda turn: turn.seat.word.upper(), 12),
    "visit_word": Blank(lambda turn: turn.visit.word.upper(), 12),
    "own_kept": Blank(lambda turn: str(own_kept(turn)), 3, "digits"),
    "pairs": Blank(lambda turn: " ".join(others_at_work(turn)) or "none", 11),
    "seat_name": Blank(lambda turn: "the leader" if turn.seat.role == "leader" else f"pair {turn.seat.letter}", 10),
    "last_step": Blank(lambda turn: turn.state.top.state.replace(".", " ").replace("_", " "), 22),
    "letter": Blank(lambda turn: turn.seat.letter, 2),
    "pace": Blank(lambda turn: turn.state.pace, 6),
    "n": Blank(lambda turn: str(min(len(turn.kept()) + 1, turn.target)), 3, "digits"),
    "target": Blank(lambda turn: str(turn.target), 3, "digits"),
    "kept": Blank(lambda turn: str(len(turn.kept())), 3, "digits"),
    "got": Blank(got, 44),
    "clean": Blank(lambda turn: str(turn.state.clean_run), 3, "digits"),
    "clean_wanted": _setting("clean_for_pace", 2),
    "length": Blank(_length, 5, "digits"),
    "other_length": Blank(_other_length, 3, "digits"),
    "family": Blank(_family, 28),
    "other_family": Blank(_other_family, 7),
    "tag": Blank(_tag, 8),
    "tag_shape": Blank(_tag_shape, 23),
    "keyed": Blank(lambda turn: both_names(turn.state.top.slots.get("keyed", "unsure")), 28),
    "slipped": Blank(_slipped, 5),
    "problem": Blank(samples.problem_sentence, 80),
    "families": Blank(lambda turn: tally_words(turn, 60), 60),
    "few": Blank(_few, 48),
    "full": Blank(_full, 18),
    "last_tags": Blank(_last_tags, 26),
    "minutes_left": Blank(_minutes_left, 3, "digits"),
    "code8": Blank(lambda turn: turn.visit.code8, 8),
    "mark": Blank(lambda turn: turn.snapshot.mark(turn.entries, turn.seat, turn.now)[:8], 8),
}

PHRASE_BLANKS: Mapping[str, Blank] = {
    name: Blank(lambda turn: "", width, alphabet)
    for name, width, alphabet in (
        ("answer", 20, "text"),
        ("code", 8, "text"),
        ("due", 15, "text"),
        ("names", 60, "text"),
        ("part", 2, "digits"),
        ("places", 160, "text"),
        ("problem", 160, "text"),
        ("latin", 25, "text"),
        ("width", 2, "digits"),
        ("count", 2, "digits"),
        ("family", 18, "text"),
        ("example", 40, "text"),
        ("how", 70, "text"),
        ("length", 5, "digits"),
        ("new", 25, "text"),
        ("old", 25, "text"),
        ("options", 60, "text"),
        ("other", 18, "text"),
        ("said", 20, "text"),
        ("sample", 10, "text"),
        ("tag", 8, "text"),
        ("tally", 3, "digits"),
        ("words", 60, "text"),
    )
}
"""Blanks that are given with a phrase and not looked up."""

OLDER_BLANKS: Mapping[str, Blank] = {"tag_width": Blank(lambda turn: str(turn.settings.tags.width), 1, "digits")}
"""Blanks of flow books that visits of earlier versions began with, and go on with."""

REGISTRY = Registry(CONDITIONS, EFFECTS, {**BLANKS, **OLDER_BLANKS})
"""All names of this program that flow files may use."""
