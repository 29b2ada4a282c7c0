"""Pictures for a page, drawn as plain SVG: lengths by family, and what happened when in a visit.

Only shapes and attributes, no script and no style sheet, so that the strictest content policy lets them be seen. Shape
and place tell everything; colour only helps.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor

INK, SOFT, LINE, WARN = "#1d2a30", "#5b6b73", "#c9d2d6", "#b3261e"
WATER = "#1f6f8b"
_FONT = "font-family='Georgia, serif'"


@dataclass(frozen=True)
class Dot:
    """One larva: its length, and how it stands: kept, flagged or void."""

    length_mm: float
    name: str
    standing: str = "kept"


@dataclass(frozen=True)
class Happening:
    """Something at a minute of a visit: kept, flagged, void, slip or pause, with the words for it."""

    minute: float
    sort: str
    words: str


def lengths_by_family(groups: Sequence[tuple[str, Sequence[Dot]]], minimum_mm: float) -> str:
    """A row a family, a dot a larva; dots of nearly the same length are put above each other."""
    left, width, row = 190, 760, 62
    lengths = [dot.length_mm for _, dots in groups for dot in dots] or [minimum_mm]
    low = floor((min([*lengths, minimum_mm]) - 2) / 5) * 5
    high = ceil((max(lengths) + 2) / 5) * 5
    scale = (width - left - 20) / max(high - low, 5)
    tall = 26 + row * len(groups) + 34
    parts = [_text(width - 4, 14, "mm", "end", SOFT)]
    for mm in range(int(low), int(high) + 1, 5):
        x = left + (mm - low) * scale
        parts += [_line(x, 22, x, tall - 26, LINE), _text(x, tall - 10, str(mm), "middle", SOFT)]
    x = left + (minimum_mm - low) * scale
    parts.append(_line(x, 18, x, tall - 26, WARN, "5 4"))
    parts.append(_text(x + 4, 14, f"shortest taken, {minimum_mm:g} mm", "start", WARN))
    for place, (family, dots) in enumerate(groups):
        base = 26 + row * (place + 1) - 14
        parts.append(_line(left, base + 8, width - 20, base + 8, LINE))
        parts.append(_text(left - 12, base - 8, family, "end", INK, 15))
        parts.append(_text(left - 12, base + 8, _count(len(dots)), "end", SOFT))
        parts += [
            _dot(left + (dot.length_mm - low) * scale, base - level * 11, dot) for dot, level in _stacked(dots, scale)
        ]
    return _svg(width, tall, "Lengths by family", "A row a family, a dot a larva, lengths in millimetres.", parts)


def _stacked(dots: Sequence[Dot], scale: float) -> Iterable[tuple[Dot, int]]:
    """Each dot with the lowest level on which it touches no other; at most four levels, then they overlap."""
    ends = [float("-inf")] * 4
    for dot in sorted(dots, key=lambda one: one.length_mm):
        x = dot.length_mm * scale
        level = next((n for n, end in enumerate(ends) if x - end >= 11), min(range(4), key=ends.__getitem__))
        ends[level] = x
        yield dot, level


def _dot(x: float, y: float, dot: Dot) -> str:
    """A full circle is kept, a ring is flagged, a cross is void."""
    title = f"<title>{escape(dot.name)}</title>"
    if dot.standing == "void":
        arms = f"M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8"
        return f"<g>{title}<path d='{arms}' stroke='{SOFT}' stroke-width='1.6' fill='none'/></g>"
    fill = "none" if dot.standing == "flagged" else WATER
    ring = WARN if dot.standing == "flagged" else WATER
    return f"<g>{title}<circle cx='{x:.1f}' cy='{y:.1f}' r='4.6' fill='{fill}' stroke='{ring}' stroke-width='2'/></g>"


def timeline(
    rows: Sequence[tuple[str, Sequence[Happening]]], minutes: float, ticks: Sequence[tuple[float, str]]
) -> str:
    """A line a pair: what it kept on the line, slips and voids below it. ``ticks`` are minutes with clock times."""
    left, width, row = 70, 760, 54
    tall, span = 14 + row * len(rows) + 24, max(minutes, 1)
    scale = (width - left - 20) / span
    parts = []
    for minute, label in ticks:
        x = left + minute * scale
        parts += [_line(x, 8, x, tall - 20, LINE), _text(x, tall - 5, label, "middle", SOFT)]
    for place, (pair, happenings) in enumerate(rows):
        base = 14 + row * place + 26
        parts += [_line(left, base, width - 20, base, INK), _text(left - 12, base + 5, pair, "end", INK, 15)]
        parts += [_mark(left + one.minute * scale, base, one) for one in happenings]
    return _svg(width, tall, "Timeline", "A line a pair; each mark is a sample or a slip at its time.", parts)


def _mark(x: float, base: float, one: Happening) -> str:
    title = f"<title>{escape(one.words)}</title>"
    if one.sort == "slip":
        shape = f"<path d='M{x:.1f} {base + 4:.1f}l6 11h-12z' fill='{WARN}'/>"
    elif one.sort == "void":
        shape = f"<path d='M{x - 4:.1f} {base + 5:.1f}l8 8m0 -8l-8 8' stroke='{SOFT}' stroke-width='1.6'/>"
    elif one.sort == "other":
        place = f"x='{x - 4:.1f}' y='{base - 13:.1f}' width='8' height='8'"
        shape = f"<rect {place} fill='none' stroke='{WATER}' stroke-width='2'/>"
    else:
        shape = _dot(x, base - 9, Dot(0, one.words, one.sort))
    return f"<g>{title}{shape}</g>"


def key(entries: Sequence[tuple[str, str]]) -> str:
    """What the shapes mean, as a line of its own; entries are a sort and its words."""
    parts, x = [], 10.0
    for sort, words in entries:
        if sort in ("slip", "other"):
            parts.append(_mark(x, 2 if sort == "slip" else 21, Happening(0, sort, words)))
        else:
            parts.append(_dot(x, 12, Dot(0, words, sort)))
        parts.append(_text(x + 12, 17, words, "start", SOFT))
        x += 34 + 7 * len(words)
    return _svg(760, 26, "Key", "What the shapes mean.", parts)


def _count(number: int) -> str:
    return f"{number} larva" if number == 1 else f"{number} larvae"


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, dash: str = "") -> str:
    dashes = f" stroke-dasharray='{dash}'" if dash else ""
    return f"<line x1='{x1:.1f}' y1='{y1:.1f}' x2='{x2:.1f}' y2='{y2:.1f}' stroke='{colour}'{dashes}/>"


def _text(x: float, y: float, words: str, anchor: str, colour: str, size: int = 12) -> str:
    place = f"x='{x:.1f}' y='{y:.1f}' text-anchor='{anchor}' fill='{colour}' font-size='{size}'"
    return f"<text {place} {_FONT}>{escape(words)}</text>"


def _svg(width: float, tall: float, title: str, meaning: str, parts: Iterable[str]) -> str:
    head = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {width:g} {tall:g}' role='img'>"
    told = f"<title>{escape(title)}</title><desc>{escape(meaning)}</desc>"
    return f"{head}{told}{''.join(parts)}</svg>"
