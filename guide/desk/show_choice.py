"""``desk choose``: prints a choice, what would change, and what is stored."""

import json
from collections.abc import Sequence
from typing import Any, Literal

from guide.counted import counted
from guide.desk.choose import REASONS, Larva, SiteChoice, Wishes, choose_at, keep_choice, stored_choice
from guide.desk.lab import DeskError, Lab, SiteRow
from guide.desk.show import table


def run_choose(
    lab: Lab, site: SiteRow, wishes: Wishes, how: Literal["keep", "what_if", "stored"], as_json: bool
) -> int:
    """Chooses and keeps, only shows what would be chosen, or shows what is stored."""
    before = stored_choice(lab, site)
    if how == "stored":
        if before is None:
            raise DeskError(f"no choice is stored for {site.name}: make one with desk choose --site {site.code}")
        choice = before
    else:
        choice = choose_at(lab, site, wishes)
    kept = how == "keep" and bool(choice.chosen) and keep_choice(lab, choice)
    if as_json:
        print(json.dumps(_as_json(choice, kept or how == "stored"), ensure_ascii=False))
        return 0
    print("\n".join(_lines(choice)))
    print(_end(lab, choice, before, how, kept))
    return 0


def _as_json(choice: SiteChoice, stored: bool) -> dict[str, Any]:
    wishes = choice.wishes
    return {
        "site": choice.site.code,
        "most": wishes.most,
        "minimum_mm": wishes.minimum_mm,
        "family_min": wishes.family_min,
        "stored": stored,
        "chosen": [_row(larva) for larva in choice.chosen],
        "left_out": [_row(larva) | {"reason": reason} for larva, reason in choice.left_out.items()],
        "notes": list(choice.notes),
    }


def _row(larva: Larva) -> dict[str, Any]:
    family = None if larva.family == "unsure" else larva.family
    row = {"tag": larva.tag, "mm": larva.length_mm, "family": family, "sure": bool(larva.sure)}
    return row | {"flags": larva.flags, "visit": larva.visit}


def _lines(choice: SiteChoice) -> list[str]:
    """What was asked, which go, which stay and why."""
    wishes, chosen = choice.wishes, choice.chosen
    asked = f"at most {wishes.most}, {wishes.minimum_mm:g} mm or longer, families of {wishes.family_min} or more"
    lines = [f"{choice.site.name}: {asked}"]
    if chosen:
        go = f"{_count(chosen, 'goes', 'go')} to the lab:"
        lines += ["", go, *table([_row(larva) for larva in chosen]), _sum(chosen)]
    else:
        lines += ["", "None can go to the lab." if choice.left_out else "No larva of a real, closed visit waits."]
    if choice.left_out:
        rows = [_row(larva) | {"why": REASONS[reason]} for larva, reason in choice.left_out.items()]
        lines += ["", f"{_count(rows, 'stays', 'stay')}:", *table(rows)]
    return [*lines, "", *(f"{note[0].upper()}{note[1:]}." for note in choice.notes)]


def _count(larvae: Sequence[Any], one: str, more: str) -> str:
    """How many, with the verb that fits."""
    return f"{len(larvae)} {one if len(larvae) == 1 else more}"


def _sum(chosen: Sequence[Larva]) -> str:
    families = len({larva.specimen.known_family for larva in chosen} - {None})
    unflagged = sum(not larva.flags for larva in chosen)
    total = sum(larva.length_mm or 0 for larva in chosen)
    named = counted(families, "family", "families")
    return f"{counted(len(chosen), 'larva', 'larvae')}, {unflagged} unflagged, {named}, {total:g} mm in all"


def _end(lab: Lab, choice: SiteChoice, before: SiteChoice | None, how: str, kept: bool) -> str:
    if how == "stored":
        now = choose_at(lab, choice.site, choice.wishes)
        return f"Stored on {choice.stored_on}. {_difference(choice, now, 'Chosen again today')}"
    if kept:
        return f"Stored. The next step: desk ship plan --site {choice.site.code}"
    end = "Nothing was stored."
    if how == "keep":
        end = "Nothing new was stored."
    if before is not None:
        end += f" {_difference(before, choice, f'Against the choice stored on {before.stored_on}')}"
    return end


def _difference(old: SiteChoice, new: SiteChoice, lead: str) -> str:
    """Which tags one choice has more than the other; larvae that a shipment holds are no difference."""
    was = {larva.uid: larva.tag or "?" for larva in old.chosen if larva.shipment is None}
    now = {larva.uid: larva.tag or "?" for larva in new.chosen}
    comes = sorted(now[uid] for uid in now.keys() - was.keys())
    goes = sorted(was[uid] for uid in was.keys() - now.keys())
    if not comes and not goes:
        return f"{lead}: the same larvae."
    parts = [f"in {', '.join(comes)}"] * bool(comes) + [f"out {', '.join(goes)}"] * bool(goes)
    return f"{lead}: {'; '.join(parts)}."
