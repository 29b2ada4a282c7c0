"""``desk ship plan``: prints the days with their reasons, the dry ice with its working, and the checklist."""

import json
import shutil
import sys
import textwrap
from collections.abc import Iterable
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from guide.desk.checklist import Load, cautions, checklist
from guide.desk.lab import DeskError, Lab
from guide.desk.ship_plan import KIND_WORDS, PlanWish, ShipPlan, keep_plan, make_plan, ship_rules
from guide.field.dry_ice import BULK_KG_L, MARGIN, RULE_KG_DAY, SAY, SUBLIMATION_C, DryIce, heat_leak_w
from guide.field.ship_days import ShipDay, explain, good_days


def run_plan(lab: Lab, wish: PlanWish, day: date | None, agreed: bool, as_json: bool) -> int:
    """Prints a plan; with ``day`` keeps it as a shipment. Returns 0 if there is a good day, else 1."""
    plan = make_plan(lab, wish)
    chosen = plan.day(day) if day else next((one for one in plan.days if one.ok), None)
    if day and chosen and not chosen.ok and not agreed:
        raise DeskError(f"{explain(chosen, plan.holidays)} With the lab's and the carrier's word, add --agreed.")
    code = keep_plan(lab, plan, chosen, agreed) if day and chosen else None
    if as_json:
        print(json.dumps(_as_json(plan, chosen, code), ensure_ascii=False))
    else:
        print("\n".join(_lines(plan, chosen, code)))
    return 0 if chosen else 1


def _as_json(plan: ShipPlan, chosen: ShipDay | None, code: str | None) -> dict[str, Any]:
    ice = plan.ice_for(chosen) if chosen and plan.frozen else None
    return {
        "shipment": code,
        "day": chosen.day.isoformat() if chosen else None,
        "arrival": chosen.arrival.isoformat() if chosen else None,
        "samples": [{"tag": one.tag, "kind": one.kind, "site": one.site, "visit": one.visit} for one in plan.going],
        "days": [
            {
                "day": one.day.isoformat(),
                "good": one.ok,
                "reasons": list(one.reasons),
                "arrival": one.arrival.isoformat(),
                "says": explain(one, plan.holidays),
            }
            for one in plan.days
        ],
        "dry_ice_kg": ice.mark_kg if ice else 0,
        "checklist": checklist(_load(plan, ice)) if chosen else [],
        "notes": list(plan.notes),
    }


def _lines(plan: ShipPlan, chosen: ShipDay | None, code: str | None) -> list[str]:
    ice = plan.ice_for(chosen) if chosen and plan.frozen else None
    what = ", ".join(f"{plan.counts[sort]} {words}" for sort, words in KIND_WORDS.items() if plan.counts[sort])
    lines = [f"{what} of {', '.join(site.name for site in plan.sites)}", *_deadline_lines(plan), ""]
    lines += _wrapped(explain(day, plan.holidays) for day in plan.days)
    lines += ["", *_wrapped(_advice(plan))]
    if chosen and ice:
        lines += ["", *ice_lines(plan, chosen, ice)]
    if chosen:
        load = _load(plan, ice)
        lines += ["", "Before it leaves:", *_wrapped((f"[ ] {step}" for step in checklist(load)), "    ")]
        lines += ["", *_wrapped(cautions(load))]
    lines += ["", *_wrapped(plan.notes)] if plan.notes else []
    if code:
        lines += ["", f"Kept as shipment {code}. Pack it with: desk ship pack {code}"]
    elif chosen:
        lines += ["", f"Nothing was stored. Keep it with: --day {chosen.day}"]
    return lines


def _deadline_lines(plan: ShipPlan) -> list[str]:
    """By when the lab must have what can't wait, in the lab's time."""
    lines = []
    for one in plan.deadlines:
        at = one.at.astimezone(ZoneInfo(plan.settings.lab_zone))
        lines.append(f"The lab must have the {one.kind} in hand by {_said(at.date())} {at:%H:%M} of its own time.")
    return lines


def _advice(plan: ShipPlan) -> list[str]:
    """The good days; else what would be good alone, or good if nothing is late."""
    good = [day for day in plan.days if day.ok]
    if good:
        return [f"Good: {_listed(good)}."]
    lines = []
    for sort, words in KIND_WORDS.items():
        alone = [one for one in plan.going if one.sort == sort]
        if alone and len(alone) < len(plan.going):
            rules, _, _ = ship_rules(plan.settings, alone, plan.days[0].day, len(plan.days))
            if days := good_days(plan.days[0].day, len(plan.days), rules):
                lines.append(f"No day is good for all of it. The {words} alone: {_listed(days)} (--only {sort}).")
    tight = [day for day in plan.days if all(reason.startswith("slip_holding") for reason in day.reasons)]
    if tight:
        lines.append(
            f"In time only if nothing is late: {_listed(tight)}. Ask the lab and the carrier first (--agreed)."
        )
    return lines or ["No day among these is good: look further with --days, or ask the lab and the carrier."]


def _listed(days: Iterable[ShipDay]) -> str:
    return ", ".join(_said(day.day) for day in days)


def _said(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def ice_lines(plan: ShipPlan, day: ShipDay, ice: DryIce) -> list[str]:
    """The dry ice sum with its working."""
    cooler, box = plan.box.cooler, plan.box
    warm_k = box.ambient_c - SUBLIMATION_C
    watts = heat_leak_w(cooler, box.ambient_c)
    sizes = f"{cooler.inner_length_mm:g} x {cooler.inner_width_mm:g} x {cooler.inner_height_mm:g} mm inside"
    fits = "fits" if ice.fits else "DOES NOT FIT"
    lines = [
        f"Dry ice for {_said(day.day)}, {day.transit_h} h on the way and a day late, {ice.hours_h:g} h; "
        f"cooler {sizes}, wall {cooler.wall_mm:g} mm, air {box.ambient_c:g} C:",
        f"  rule of thumb  {RULE_KG_DAY:g} kg a day x {ice.hours_h:g} h = {ice.rule_kg:.1f} kg",
        f"  heat leak      {cooler.foam_w_mk:g} W/mK x {cooler.mean_area_m2:.2f} m2 x {warm_k:g} K / "
        f"{cooler.wall_mm / 1000:g} m = {watts:.1f} W; x {ice.hours_h:g} h / 571 kJ/kg = {ice.leak_kg:.1f} kg",
        f"  the larger x {MARGIN:g} = {ice.need_kg:.1f} kg: pack and mark {ice.mark_kg} kg net",
        f"  room           {ice.mark_kg} kg / {BULK_KG_L:g} kg/L = {ice.volume_l:.1f} L and {box.inside_l:g} L of "
        f"samples, in {cooler.inner_l:.1f} L: {fits}",
    ]
    return [*lines, *(f"  {line}" for line in _wrapped(SAY[code] for code in ice.codes))]


def _load(plan: ShipPlan, ice: DryIce | None) -> Load:
    counts = plan.counts
    return Load(
        counts["larva"],
        counts["water"],
        counts["sediment"],
        plan.settings.sediment_frozen,
        ice.mark_kg if ice else 0,
        plan.settings.lab,
    )


def _wrapped(sentences: Iterable[str], indent: str = "") -> list[str]:
    """Sentences in lines that a screen holds; whole in a pipe, so that other programs find them."""
    if not sys.stdout.isatty():
        return list(sentences)
    width = max(40, min(shutil.get_terminal_size().columns, 110)) - 1
    return [line for one in sentences for line in textwrap.wrap(one, width, subsequent_indent=indent)]
