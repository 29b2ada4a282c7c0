"""A site on one page for a browser: what was taken, what to look at, when it happened. It opens without a network.

The page holds no script, loads nothing, and says so to the browser: its content policy allows its own style alone.
"""

import base64
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from statistics import median
from zoneinfo import ZoneInfo

from guide.desk.findings import Finding
from guide.desk.visits import Sample
from guide.papers.svg import Dot, Happening, key, lengths_by_family, timeline
from guide.papers.visit_facts import KINDS, Place, VisitFacts, family_of, family_words, number, standing, with_everyday

STYLE = """
:root { --ink: #1d2a30; --soft: #5b6b73; --line: #c9d2d6; --water: #1f6f8b; --warn: #b3261e; --paper: #fbfaf6; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 28px 24px 60px; max-width: 860px; color: var(--ink); background: var(--paper);
  font: 16px/1.5 Georgia, 'Times New Roman', serif; }
header { border-bottom: 3px solid var(--ink); padding-bottom: 12px; margin-bottom: 20px; }
h1 { font-size: 34px; line-height: 1.15; margin: 2px 0 6px; }
h2 { font-size: 21px; margin: 38px 0 10px; padding-bottom: 3px; border-bottom: 1px solid var(--line); }
h3 { font-size: 17px; margin: 22px 0 4px; }
p { margin: 6px 0; } .soft, td.soft { color: var(--soft); } .warn { color: var(--warn); }
code { font: 13px/1.4 Consolas, 'DejaVu Sans Mono', monospace; overflow-wrap: anywhere; }
.practice { border: 3px solid var(--warn); color: var(--warn); font-weight: bold; text-align: center; padding: 8px;
  margin-bottom: 18px; }
.tiles { display: flex; flex-wrap: wrap; gap: 12px; margin: 0; padding: 0; list-style: none; }
.tiles li { flex: 1 1 110px; border: 1px solid var(--line); border-top: 3px solid var(--water); background: #fff;
  padding: 8px 12px; color: var(--soft); font-size: 14px; }
.tiles b { display: block; font-size: 28px; line-height: 1.2; color: var(--ink); }
table { border-collapse: collapse; width: 100%; font-size: 14.5px; background: #fff; }
th, td { text-align: left; padding: 4px 8px; border-bottom: 1px solid var(--line); vertical-align: top; }
th { font-size: 13px; color: var(--soft); border-bottom: 2px solid var(--ink); } .n { text-align: right; }
tr.void td { color: var(--soft); text-decoration: line-through; } tr.void td:last-child { text-decoration: none; }
svg { display: block; width: 100%; height: auto; background: #fff; border: 1px solid var(--line); margin: 8px 0; }
svg.key, .key svg { border: 0; background: none; margin: 0; }
ul.findings { padding-left: 20px; } ul.findings li { margin: 7px 0; }
details > summary { cursor: pointer; margin: 8px 0; }
footer { margin-top: 44px; border-top: 1px solid var(--line); padding-top: 10px; font-size: 14px; color: var(--soft); }
@media print { body { background: #fff; max-width: none; padding: 0; } h2 { break-after: avoid; }
  svg, tr { break-inside: avoid; } }
"""

NAMES = (
    "visit", "tag", "kind", "mm", "family", "pair", "bag shut", "on ice", "frozen", "shipped", "flags, or why void",
)  # fmt: skip
SHOWN_KINDS = ("kept", "void", "contamination")
"""The entries of a visit's log that the page shows."""

CAUTION = (
    "This page tells what was reported by text, checked against itself. It is no permit and no advice: permit, "
    "landowner, product labels, the carrier, local code and trained people decide. Dry ice burns, takes the air of "
    "closed cars and rooms and bursts what is sealed; bleach burns and gives off fumes, never with acids, "
    "vinegar or ammonia."
)


@dataclass(frozen=True)
class SiteSummary:
    """A site with its visits and what the checks found in each; ``made_at`` as it is printed."""

    programme: str
    place: Place
    minimum_mm: float
    visits: Sequence[tuple[VisitFacts, Sequence[Finding]]]
    made_at: str
    practice: bool


def summary_page(summary: SiteSummary) -> str:
    """The page as HTML."""
    digest = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    title = f"{'PRACTICE, ' if summary.practice else ''}{summary.place.name}, {summary.programme}"
    parts = [
        "<!doctype html>",
        "<html lang='en'><head><meta charset='utf-8'>",
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
        "<meta name='viewport' content='width=device-width, initial-scale=1'>",
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>",
        *_head(summary),
        *_tiles(summary),
        *_lengths(summary),
        *_findings(summary),
        *_visits(summary),
        *_samples(summary),
        *_foot(summary),
        "</body></html>",
    ]
    return "\n".join(parts) + "\n"


def _head(summary: SiteSummary) -> Iterable[str]:
    place = summary.place
    if summary.practice:
        yield "<p class='practice'>PRACTICE: no sample here is real, nothing goes to a lab</p>"
    where = [place.position or "position not told", f"permit {place.permit}" if place.permit else "", place.zone]
    yield f"<header><p class='soft'>{escape(summary.programme)}</p><h1>{escape(place.name)}</h1>"
    yield f"<p>{escape(', '.join(filter(None, where)))}</p></header>"


def _tiles(summary: SiteSummary) -> Iterable[str]:
    samples = [sample for facts, _ in summary.visits for sample in facts.visit.samples]
    larvae = [sample for sample in samples if sample.larva]
    families = {family_of(larva) for larva in larvae} - {""}
    tiles = [
        (len(larvae), "larvae kept"),
        (len(families), "families told for sure"),
        (sum(bool(larva.flags) for larva in larvae), "flagged"),
        (sum(sample.status == "void" for sample in samples), "void"),
        (sum(sample.kind != "larva" and sample.status == "kept" for sample in samples), "water and sediment"),
        (sum(sample.shipped_at is not None for sample in samples), "shipped"),
    ]
    cells = "".join(f"<li><b>{count}</b>{escape(words)}</li>" for count, words in tiles)
    yield f"<ul class='tiles'>{cells}</ul>"


def _lengths(summary: SiteSummary) -> Iterable[str]:
    groups: dict[str, list[Dot]] = {}
    for facts, _ in summary.visits:
        for larva in (sample for sample in facts.visit.samples if sample.kind == "larva"):
            if larva.length_mm is not None:
                state = "void" if larva.status == "void" else "flagged" if larva.flags else "kept"
                name = f"{larva.called}: {number(larva.length_mm)} mm, {standing(larva) or 'kept'}"
                groups.setdefault(family_of(larva) or "unsure", []).append(Dot(larva.length_mm, name, state))
    yield "<h2>Lengths by family</h2>"
    if not groups:
        yield "<p>No larva has been measured yet.</p>"
        return
    ordered = sorted(groups.items(), key=lambda one: (one[0] == "unsure", -len(one[1]), one[0]))
    yield lengths_by_family([(family, dots) for family, dots in ordered], summary.minimum_mm)
    shapes = key([("kept", "kept"), ("flagged", "kept, flagged"), ("void", "void")])
    yield f"<div class='key'>{shapes}</div>"
    yield "<table><tr><th>family</th><th class='n'>kept</th><th class='n'>shortest</th><th class='n'>middle</th>"
    yield "<th class='n'>longest, mm</th></tr>"
    for family, dots in ordered:
        kept = [dot.length_mm for dot in dots if dot.standing != "void"]
        spread = (number(min(kept)), number(median(kept)), number(max(kept))) if kept else ("", "", "")
        numbers = "".join(f"<td class='n'>{one}</td>" for one in (len(kept), *spread))
        yield f"<tr><td>{escape(with_everyday(family))}</td>{numbers}</tr>"
    yield "</table>"


def _findings(summary: SiteSummary) -> Iterable[str]:
    yield "<h2>To look at</h2>"
    if not any(findings for _, findings in summary.visits):
        yield "<p>The checks found nothing to look at.</p>"
    for facts, findings in summary.visits:
        if not findings:
            continue
        yield f"<h3>Visit {escape(facts.visit.code)}, {escape(facts.visit.local_date)}</h3><ul class='findings'>"
        for finding in findings:
            weight = "<b class='warn'>serious:</b> " if finding.serious else ""
            fix = f"<br><span class='soft'>Fix: {escape(finding.fix)}</span>" if finding.fix else ""
            yield f"<li>{weight}{escape(finding.what)}{fix}</li>"
        yield "</ul>"


def _visits(summary: SiteSummary) -> Iterable[str]:
    yield "<h2>Visits, pair by pair</h2>"
    shapes = (("kept", "larva kept"), ("flagged", "flagged"), ("other", "water, sediment"), ("void", "void"))
    yield f"<div class='key'>{key([*shapes, ('slip', 'slip reported')])}</div>"
    for facts, _ in summary.visits:
        visit = facts.visit
        mark = f", mark at the close {facts.mark}" if facts.mark else ""
        span = f"{facts.clock(visit.opened_at)} to {facts.clock(visit.closed_at) or 'not closed'}"
        yield f"<h3>Visit {escape(visit.code)}, {escape(visit.local_date)}</h3>"
        told = f"{span}, {facts.standing}, {len(visit.larvae)} of {visit.target} larvae{mark}"
        yield f"<p class='soft'>{escape(told)}</p>"
        for notice in facts.notices:
            yield f"<p class='warn'>{escape(notice)}</p>"
        yield _timeline(facts)


def _timeline(facts: VisitFacts) -> str:
    visit, begin = facts.visit, facts.visit.opened_at
    happenings = _happenings(facts)
    last = visit.closed_at or max([begin, *(one.at for one in happenings)])
    minutes = max((last - begin).total_seconds() / 60, 10)
    rows = []
    for seat in sorted({one.seat for one in happenings}) or ["A"]:
        own = [one for one in happenings if one.seat == seat]
        marks = [Happening((one.at - begin).total_seconds() / 60, one.sort, one.words) for one in own]
        rows.append((f"pair {seat}", marks))
    return timeline(rows, minutes, _ticks(begin, minutes, facts.place.zone))


def _ticks(begin: datetime, minutes: float, zone: str) -> list[tuple[float, str]]:
    """Round times of day at the site, at most eight of them."""
    local = begin.astimezone(ZoneInfo(zone))
    step = next((step for step in (5, 10, 15, 30, 60, 120, 240, 720) if minutes / step < 8), 1440)
    first = -(local.hour * 60 + local.minute + local.second / 60) % step
    count = int((minutes - first) // step) + 1
    moments = [first + n * step for n in range(max(count, 0))]
    return [(minute, f"{begin.astimezone(ZoneInfo(zone)) + timedelta(minutes=minute):%H:%M}") for minute in moments]


@dataclass(frozen=True)
class _Told:
    """Something a pair did, at its time."""

    at: datetime
    seat: str
    sort: str
    words: str


def _happenings(facts: VisitFacts) -> list[_Told]:
    """Samples and slips by time; a sample told only as a whole has the time of that text."""
    visit = facts.visit
    kept_at = {entry.sample: entry.at for entry in visit.of_kind("kept", "void")}
    found = []
    for sample in visit.samples:
        at = sample.sealed_at or kept_at.get(sample.uid) or sample.opened_at
        if at is not None:
            size = f"{number(sample.length_mm)} mm" if sample.length_mm else ""
            words = [facts.clock(at), sample.called, KINDS.get(sample.kind, sample.kind), size, standing(sample)]
            found.append(_Told(at, sample.seat, _sort(sample), ", ".join(filter(None, words))))
    entries = {entry.ref: entry for entry in visit.entries}
    for slip in visit.slips:
        if entry := entries.get(slip.ref):
            done = (slip.remedy or "not finished").replace("_", " ")
            words = [facts.clock(entry.at), f"slip: {slip.what.casefold()}", done]
            found.append(_Told(entry.at, entry.seat, "slip", ", ".join(words)))
    return found


def _sort(sample: Sample) -> str:
    if sample.status == "void":
        return "void"
    if sample.kind != "larva":
        return "other"
    return "flagged" if sample.flags else "kept"


def _samples(summary: SiteSummary) -> Iterable[str]:
    yield "<h2>All samples</h2><details open><summary>The list</summary>"
    heads = "".join(f"<th{' class=n' if name == 'mm' else ''}>{name}</th>" for name in NAMES)
    yield f"<table><tr>{heads}</tr>"
    for facts, _ in summary.visits:
        for sample in facts.visit.samples:
            cells = (
                facts.visit.code, sample.tag or "", KINDS.get(sample.kind, sample.kind), number(sample.length_mm),
                family_words(sample), sample.seat, facts.clock(sample.sealed_at), facts.clock(sample.iced_at),
                facts.clock(sample.frozen_at), sample.shipped_at or "", standing(sample),
            )  # fmt: skip
            row = "".join(f"<td{' class=n' if n == 3 else ''}>{escape(cell)}</td>" for n, cell in enumerate(cells))
            yield f"<tr{' class=void' if sample.status == 'void' else ''}>{row}</tr>"
    yield "</table></details>"


def _foot(summary: SiteSummary) -> Iterable[str]:
    yield f"<footer><p>{escape(CAUTION)}</p>"
    yield f"<p>Made {escape(summary.made_at)} by Wadeline. Each visit's log ends with</p><p>"
    yield "<br>".join(f"<code>{escape(facts.visit.code)} {escape(facts.head)}</code>" for facts, _ in summary.visits)
    yield "</p></footer>"
