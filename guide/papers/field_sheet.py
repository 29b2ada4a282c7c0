"""The field sheet: one visit on paper, to read, to check by hand, to sign."""

from guide.counted import counted
from guide.papers.page import Cells, Head, Paper
from guide.papers.visit_facts import KINDS, VisitFacts, family_words, number, standing, with_everyday

CAUTIONS = (
    "The record tells what was reported by text; nobody measured it again. Inner bags are never opened on the way to "
    "the lab, not to look and not to measure.",
    "Bleach from gear burns and gives off fumes: gloves, eyes, open air, never with acids (bottles may hold acid), "
    "vinegar or ammonia. Dry ice burns, takes the air of closed cars and rooms, and bursts what is sealed.",
    "Permit, landowner, product label, carrier, local code and trained people decide.",
)


def field_sheet(facts: VisitFacts) -> bytes:
    """The sheet as PDF."""
    visit = facts.visit
    paper = Paper(
        Head(
            "Field sheet",
            facts.programme,
            visit.code,
            visit.local_date,
            f"Visit {visit.code}, {counted(len(visit.entries), 'entry', 'entries')}, last hash {facts.head}",
            visit.practice,
        )
    )
    _facts(paper, facts)
    _larvae(paper, facts)
    _others(paper, facts)
    _slips(paper, facts)
    paper.heading("Signed")
    paper.signatures(("For the group", "Checked at the desk"))
    paper.caution(CAUTIONS)
    return bytes(paper.output())


def _facts(paper: Paper, facts: VisitFacts) -> None:
    visit, place = facts.visit, facts.place
    answers = visit.answers
    water = [
        f"{number(answers[name])} {unit}"
        for name, unit in (("water_c", "C"), ("depth_m", "m"))
        if _is_number(answers.get(name))
    ]
    paper.facts(
        [
            ("Site", f"{place.name} ({place.code})" if place.code else ""),
            ("Position (N, E; WGS 84)", place.position),
            ("Permit", place.permit),
            ("Day", visit.local_date),
            (
                "Begun and closed",
                f"{facts.clock(visit.opened_at)} to {facts.clock(visit.closed_at)} {place.zone}".strip(),
            ),
            ("Standing", facts.standing),
            ("Group, kit", ", ".join(filter(None, (visit.group, str(answers.get("kit") or ""))))),
            (
                "People, of them in the water",
                f"{answers.get('people', '')} / {answers.get('in_water', '')}".strip(" /"),
            ),
            ("Water temperature, depth", ", ".join(water)),
            ("Mark texted at the close", facts.mark),
        ]
    )
    for notice in facts.notices:
        paper.lines(notice)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _larvae(paper: Paper, facts: VisitFacts) -> None:
    visit = facts.visit
    larvae = [sample for sample in visit.samples if sample.kind == "larva"]
    void = sum(larva.status == "void" for larva in larvae)
    paper.heading(f"Larvae: {len(visit.larvae)} kept of {visit.target} wanted, {void} void")
    if facts.tally:
        paper.lines("; ".join(f"{count} {with_everyday(family)}" for family, count in facts.tally))
    rows = [
        Cells(
            (
                str(place), larva.tag or "", number(larva.length_mm), family_words(larva), larva.seat,
                facts.clock(larva.sealed_at), facts.clock(larva.iced_at), facts.clock(larva.frozen_at), standing(larva),
            ),
            struck=larva.status == "void",
        )
        for place, larva in enumerate(larvae, 1)
    ]  # fmt: skip
    names = ("no.", "tag", "mm", "family (? = not sure)", "pair", "bag shut", "on ice", "frozen", "flags, or why void")
    paper.listing(names, (7, 14, 10, 50, 9, 15, 15, 15, 45), rows)


def _others(paper: Paper, facts: VisitFacts) -> None:
    others = [sample for sample in facts.visit.samples if sample.kind != "larva"]
    if not others:
        return
    paper.heading("Water and sediment")
    rows = [
        Cells(
            (
                KINDS.get(one.kind, one.kind), one.tag or "", one.seat, facts.clock(one.opened_at),
                facts.clock(one.sealed_at), facts.clock(one.iced_at), standing(one),
            ),
            struck=one.status == "void",
        )
        for one in others
    ]  # fmt: skip
    paper.listing(
        ("kind", "tag", "pair", "begun", "bag shut", "on ice", "flags, or why void"), (32, 18, 12, 18, 18, 18, 64), rows
    )


def _slips(paper: Paper, facts: VisitFacts) -> None:
    """Reported slips, without blame; a sheet without any says so."""
    paper.heading("Slips that were reported")
    if not facts.visit.slips:
        paper.lines("None was reported.")
        return
    tags = {sample.uid: sample.tag or sample.name for sample in facts.visit.samples}
    rows = [
        Cells(
            (
                slip.what.casefold().replace("_", " "), tags.get(slip.sample or "", ""),
                (slip.touched or "").replace("_", " "), (slip.remedy or "not finished").replace("_", " "),
            )
        )
        for slip in facts.visit.slips
    ]  # fmt: skip
    paper.listing(("what", "sample", "touched larva or inside", "what was done"), (45, 30, 50, 65), rows)
