"""The kit: which one, may it go in this water, and how it was disinfected."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from math import ceil
from typing import TYPE_CHECKING

from guide.flow.registry import Blank
from guide.talk.turn import Turn

if TYPE_CHECKING:
    from guide.field.dilution import Mix

LONGEST_KIT = 8
LABEL_LEAST_PERCENT, LABEL_MOST_PERCENT = 5.0, 9.0
"""Household bleach that the sums are made for (public-health guidance for bleach)."""


def _number(turn: Turn, name: str) -> float:
    value = turn.answers.get(name, 0)
    return value if isinstance(value, int | float) else 0


def kit(turn: Turn) -> str:
    """The kit of this visit."""
    return str(turn.answers.get("kit", "?"))


def _note_kit(turn: Turn) -> None:
    code = "".join(char for char in str(turn.value).upper() if char.isalnum() and char.isascii())[:LONGEST_KIT] or "K1"
    _set_kit(turn, code)


def _set_kit(turn: Turn, code: str) -> None:
    turn.answers["kit"] = code
    turn.log("answer", {"kit": code})


def _kit_unclean(turn: Turn) -> bool:
    """The record knows the kit was last in another water and knows of no disinfection since."""
    known = turn.snapshot.kit(kit(turn))
    return known is not None and not known.disinfected and known.last_site != turn.answers.get("site")


def _last_water(turn: Turn) -> str:
    known = turn.snapshot.kit(kit(turn))
    site = known.last_site if known else None
    return next((one.name for one in turn.settings.sites if one.code == site), "another water")


def _fresh_kit(turn: Turn) -> str:
    """A label that no record speaks against."""
    for number in range(2, 99):
        known = turn.snapshot.kit(f"K{number}")
        if known is None or known.disinfected:
            return f"K{number}"
    return "K99"


def _waiver_given(turn: Turn) -> bool:
    word = turn.settings.waiver_word.casefold()
    return bool(word) and word in turn.text.casefold().split()


def _waive(turn: Turn) -> None:
    turn.log("waiver", {"kit": kit(turn), "why": "disinfection"})


def _kit_used(turn: Turn) -> None:
    turn.log("kit_used", {"kit": kit(turn), "site": turn.answers.get("site")})


def _method(name: str) -> Callable[[Turn], bool]:
    return lambda turn: disinfectant(turn) == name


def disinfectant(turn: Turn) -> str:
    """What the site's permit asks for, else the programme: bleach, dry, hot or freeze."""
    return (turn.site.disinfectant if turn.site else "") or turn.settings.disinfectant


def _gear_clean(turn: Turn) -> None:
    how = disinfectant(turn)
    data: dict[str, object] = {"kit": kit(turn), "how": how}
    if how == "bleach":
        mixed = mix(turn)
        data |= {"tub_l": mixed.tub_l, "bleach_ml": mixed.bleach_ml, "percent_by_volume": mixed.percent_by_volume}
        data["contact_min"] = turn.settings.contact_min
    turn.log("kit_disinfected", data)


def _gear_drying(turn: Turn) -> None:
    """Drying and freezing are over later: a timer says when, and only then is the kit free."""
    minutes = 24 * 60 * (turn.settings.dry_days if disinfectant(turn) == "dry" else 1)
    turn.log("kit_drying", {"kit": kit(turn), "how": disinfectant(turn)})
    turn.start_timer("gear", minutes)


def mix(turn: Turn) -> "Mix":
    """Bleach and water for this tub."""
    from guide.field.dilution import mix_by_volume, mix_to_strength

    label, strength = _number(turn, "label_percent"), turn.settings.bleach_strength_percent
    if strength and label > strength:
        return mix_to_strength(_number(turn, "tub_l") or 1, strength, label)
    return mix_by_volume(
        _number(turn, "tub_l") or 1, turn.settings.bleach_percent, _number(turn, "label_percent") or None
    )


def _household(turn: Turn) -> str:
    words = mix(turn).bleach.words()
    return words if len(words) <= 26 else f"{mix(turn).bleach_ml / 250:.1f} cups"


def _contact_until(turn: Turn) -> datetime:
    since = turn.state.base.slots.get("contact_since")
    begun = datetime.fromisoformat(since) if since else turn.now
    return begun + timedelta(minutes=turn.settings.contact_min)


def _start_contact(turn: Turn) -> None:
    turn.state.base.slots["contact_since"] = turn.now.isoformat()
    turn.log("contact_started", {"contact_min": turn.settings.contact_min})
    turn.start_timer("contact", turn.settings.contact_min)


def _contact_left(turn: Turn) -> None:
    minutes = max(1, ceil((_contact_until(turn) - turn.now).total_seconds() / 60))
    turn.lead(turn.phrase("contact_left", {"count": str(min(minutes, 99))}))


def _is_label(turn: Turn) -> bool:
    """A kit's label has a letter and a digit: a bare number is an answer's place, or a slip."""
    said = str(turn.value)
    return len(said) <= LONGEST_KIT and any(map(str.isdecimal, said)) and any(map(str.isalpha, said))


CONDITIONS: Mapping[str, Callable[[Turn], bool]] = {
    "kit_named": _is_label,
    "kit_unclean": _kit_unclean,
    "waiver_given": _waiver_given,
    "by_drying": _method("dry"),
    "by_hot_water": _method("hot"),
    "by_freezing": _method("freeze"),
    "label_odd": lambda turn: not LABEL_LEAST_PERCENT <= _number(turn, "label_percent") <= LABEL_MOST_PERCENT,
    "contact_waited": lambda turn: turn.now >= _contact_until(turn),
}

EFFECTS: Mapping[str, Callable[[Turn], None]] = {
    "note_kit": _note_kit,
    "say_kit_unread": lambda turn: turn.lead(turn.phrase("kit_unread")),
    "usual_kit": lambda turn: _set_kit(turn, "K1"),
    "waive": _waive,
    "kit_used": _kit_used,
    "say_no_waiver": lambda turn: turn.lead(turn.phrase("no_waiver")),
    "bottle_unlabelled": lambda turn: turn.log("bottle_refused", {"why": "unlabelled"}),
    "gear_clean": _gear_clean,
    "gear_drying": _gear_drying,
    "start_contact_timer": _start_contact,
    "stop_contact_timer": lambda turn: turn.stop_timer("contact"),
    "say_contact_left": _contact_left,
}

BLANKS: Mapping[str, Blank] = {
    "kit": Blank(lambda turn: str(turn.answers.get("kit", "used")), LONGEST_KIT),
    "fresh_kit": Blank(_fresh_kit, 3),
    "last_water": Blank(_last_water, 20),
    "dry_days": Blank(lambda turn: str(turn.settings.dry_days), 2, "digits"),
    "contact": Blank(lambda turn: str(turn.settings.contact_min), 3, "digits"),
    "mix_water": Blank(lambda turn: f"{mix(turn).water_ml / 1000:.1f}", 5, "digits"),
    "mix_bleach": Blank(lambda turn: f"{mix(turn).bleach_ml:.0f}", 5, "digits"),
    "mix_household": Blank(_household, 26),
    "mix_percent": Blank(lambda turn: f"{mix(turn).percent_by_volume:.3g}", 4, "digits"),
}
