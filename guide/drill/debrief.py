"""The debrief of a session: what went well, three habits to work on, the moments with their words, and the way so far.

Made of the record alone: who reads it later sees the same. Terminal and page (``page.py``) show the same things.
"""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from textwrap import fill

from guide.drill.model import Drill
from guide.drill.score import Point, Tally, by_round, points_of, seconds_of, tally
from guide.drill.view import SessionView, of_group
from guide.record.store import FROM_A_PHONE

HABITS = 3
MOST_MOMENTS = 6
MOST_LINES = 12
"""Lines of a conversation in one moment: enough to remember it by."""

SIMULATED = "SIMULATED: a program played this, no people did."
BETTER_BY = 0.05

_ADVICE = {
    "length": "Measure from the front of the head to the tip of the tail: legs and feelers don't count.",
    "family": "In doubt text KEY or UNSURE: a wrong family is worse than none.",
    "tag": "Read the slip twice before you text it: the lab knows a larva by nothing else.",
    "step": "Do it first, then text OK: the text tells that it is done.",
}
_PRAISE = {
    "surprise": "Every surprise was seen ({of}).",
    "length": "Every length was right within 1 mm ({of}).",
    "family": "Every family that was named was right ({of}).",
    "tag": "Every tag was the one on the slip ({of}).",
}


@dataclass(frozen=True)
class Moment:
    """One point with the words around it: who said it, and what."""

    point: Point
    because: str
    lines: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class PairTable:
    """One pair's rounds, and what each role had right."""

    pair: str
    rounds: tuple[tuple[str, ...], ...]
    roles: tuple[tuple[str, Tally], ...]


@dataclass(frozen=True)
class Step:
    """One round of one session on the way so far."""

    label: str
    tally: Tally


@dataclass(frozen=True)
class Debrief:
    """All that a debrief tells."""

    title: str
    at: datetime
    facts: str
    simulated: bool
    well: tuple[str, ...]
    habits: tuple[str, ...]
    tables: tuple[PairTable, ...]
    moments: tuple[Moment, ...]
    way: tuple[Step, ...]
    verdict: str
    early: str = ""
    points: tuple[Point, ...] = field(repr=False, default=())


HEAD = ("round", "right", "surprises seen", "lengths", "families", "too soon", "s a larva")
"""What the columns of a pair's rounds tell."""


def debrief(db: sqlite3.Connection, view: SessionView, drills: dict[str, Drill]) -> Debrief:
    """The debrief of a session as it stands."""
    points = points_of(view)
    drill = drills.get(view.drill)
    way = _way(db, view)
    group = f", group {view.group}" if view.group else ""
    pairs = "1 pair" if len(view.pairs) == 1 else f"{len(view.pairs)} pairs"
    rounds = max((one.number for one in view.all_rounds()), default=0)
    return Debrief(
        drill.title if drill else view.drill,
        view.begun_at,
        f"drill {view.number}{group}, {pairs}, rounds {rounds} of {view.rounds}, seed {view.seed}",
        view.simulated,
        tuple(_well(view, points)),
        tuple(_habits(points, drill)),
        tuple(_table(view, points, pair) for pair in view.pairs),
        tuple(_moments(db, view, points, drill)),
        tuple(way),
        _verdict(way),
        _early(view),
        tuple(points),
    )


def _early(view: SessionView) -> str:
    """Words on a session that was not played to its end; empty for one that was."""
    if not view.ended:
        return "NOT OVER YET: this is about what was played so far."
    whole, wanted = sum(one.why == "done" for one in view.all_rounds()), view.rounds * len(view.pairs)
    if whole == wanted:
        return ""
    return f"LEFT EARLY: {whole} of {wanted} rounds were played to the end. This is about what was done."


def _well(view: SessionView, points: Sequence[Point]) -> list[str]:
    found = []
    for kind, words in _PRAISE.items():
        chosen = [point for point in points if point.kind == kind]
        if chosen and all(point.right for point in chosen):
            found.append(words.format(of=len(chosen)))
    if points and not any(point.kind == "step" for point in points):
        found.append("Nothing was confirmed before hands can have done it.")
    shares = [one.share for one in by_round(view, points) if one.share is not None]
    if len(shares) > 1 and shares[-1] > shares[0]:
        found.append(f"From {shares[0]:.0%} right in the first round to {shares[-1]:.0%} in the last.")
    if not found and (seen := sum(point.right for point in points)):
        found.append(f"{seen} things were right, and each slip that was told could be put right.")
    return found or ["A beginning is made, and that is the hardest part."]


def _habits(points: Sequence[Point], drill: Drill | None) -> list[str]:
    """The habits behind most of what was wrong; at the same count the later one, which has not gone yet."""
    wrong = [point for point in points if not point.right]
    keys = [_habit(point) for point in wrong]
    last = {key: place for place, key in enumerate(keys)}
    counts = sorted(Counter(keys).items(), key=lambda item: (-item[1], -last[item[0]]))
    told = []
    for (kind, name), count in counts[:HABITS]:
        of = sum(1 for point in points if _habit(point) == (kind, name))
        times = f"{count} of {of}" if kind != "step" else "once" if count == 1 else f"{count} times"
        told.append(f"{_advice(kind, name, drill)} ({name}: {times})")
    return told


def _habit(point: Point) -> tuple[str, str]:
    return (point.kind, "too soon" if point.kind == "step" else point.name)


def _advice(kind: str, name: str, drill: Drill | None) -> str:
    surprise = drill.surprise(name) if drill and kind == "surprise" else None
    if surprise is not None:
        return surprise.because["en"]
    return _ADVICE.get(kind, f"Look again at the surprise {name}.")


def _table(view: SessionView, points: Sequence[Point], pair: str) -> PairTable:
    own = [point for point in points if point.pair == pair]
    rounds = []
    for one in view.pairs[pair].rounds:
        here = [point for point in own if point.round == one.number]
        seconds = seconds_of(view, pair, one.number)
        cells = [_of(here), *(_of([p for p in here if p.kind == kind]) for kind in ("surprise", "length", "family"))]
        too_soon = sum(point.kind == "step" for point in here)
        rounds.append((str(one.number), *cells, str(too_soon), f"{seconds:.0f}" if seconds is not None else "-"))
    roles = tuple((role, tally([p for p in own if p.role == role])) for role in ("clean", "dirty", "both"))
    return PairTable(pair, tuple(rounds), tuple((role, one) for role, one in roles if one.of))


def _of(points: Sequence[Point]) -> str:
    return f"{sum(point.right for point in points)} of {len(points)}" if points else "-"


def _moments(db: sqlite3.Connection, view: SessionView, points: Sequence[Point], drill: Drill | None) -> list[Moment]:
    """The surprises first, those with harm before those seen; then what was measured or named wrong."""
    order = {"surprise": 0, "length": 1, "family": 1, "tag": 1, "step": 2}
    chosen = sorted(
        (point for point in points if point.kind == "surprise" or not point.right),
        key=lambda point: (point.right, order[point.kind]),
    )
    by_habit = {(_habit(point), point.right): point for point in reversed(chosen)}
    one_each = [point for point in chosen if by_habit[_habit(point), point.right] is point]
    return [_moment(db, view, point, drill) for point in one_each[:MOST_MOMENTS]]


def _moment(db: sqlite3.Connection, view: SessionView, point: Point, drill: Drill | None) -> Moment:
    one = view.pairs[point.pair].rounds[point.round - 1]
    since = point.turn
    if point.kind == "surprise":
        since = one.surprises[point.line.data["number"] - 1].after + 1
    lines = excerpt(db, one.visit, since, point.turn)
    if point.line.kind == "specimen_judged":
        after = one.specimens[point.line.data["place"] - 1].after
        lines = [*excerpt(db, one.visit, after + 1, after + 2)[:1], *lines]
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES // 2], ("", "..."), *lines[-MOST_LINES // 2 :]]
    because = "" if point.right and point.kind != "surprise" else _advice(point.kind, point.name, drill)
    return Moment(point, because, tuple(lines))


def excerpt(db: sqlite3.Connection, visit: str, since: int, until: int) -> list[tuple[str, str]]:
    """What a pair and its guide said in the turns of a round, in order."""
    rows = db.execute(
        "SELECT turn.id, 0, 'pair', raw FROM turn JOIN seat ON seat.id = turn.seat "
        f"WHERE seat.visit = :visit AND turn.id BETWEEN :since AND :until AND {FROM_A_PHONE} "
        "UNION ALL "
        "SELECT turn, outgoing.id, 'guide', text FROM outgoing JOIN seat ON seat.id = outgoing.seat "
        "WHERE seat.visit = :visit AND turn BETWEEN :since AND :until ORDER BY 1, 2",
        {"visit": visit, "since": since, "until": until},
    )
    return [(who, words) for _, _, who, words in rows]


def _way(db: sqlite3.Connection, view: SessionView) -> list[Step]:
    """Each round of each session of the group so far; a simulated session stands for itself alone."""
    sessions = [view] if view.simulated else [one for one in of_group(db, view.group) if one.begun_at <= view.begun_at]
    steps = []
    for session in sessions:
        for number, one in enumerate(by_round(session, points_of(session)), 1):
            if one.of:
                left = any(r.number == number and r.why not in ("", "done") for r in session.all_rounds())
                label = f"{session.begun_at:%d %b} drill {session.number} round {number}"
                steps.append(Step(f"{label}, left early" if left else label, one))
    return steps


def _verdict(way: Sequence[Step]) -> str:
    """Whether it gets better: the first third of the rounds against the last."""
    shares = [step.tally.share or 0.0 for step in way]
    if len(shares) < 2:
        return "One round is no way yet: play another."
    third = max(1, len(shares) // 3)
    first, last = sum(shares[:third]) / third, sum(shares[-third:]) / third
    word = "Getting better" if last > first + BETTER_BY else "Slipping back" if last < first - BETTER_BY else "Steady"
    return f"{word}: {first:.0%} right at first, {last:.0%} lately."


def bar(share: float, width: int) -> str:
    """A share as a bar of plain characters."""
    full = round(share * width)
    return "#" * full + "-" * (width - full)


def as_text(told: Debrief, width: int = 100) -> str:
    """The debrief for a terminal so many characters wide."""
    lines = [f"DEBRIEF  {told.title}", told.facts]
    lines += [words for words in (told.early, SIMULATED if told.simulated else "") if words]
    lines += ["", "What went well", *(f"  + {words}" for words in told.well)]
    lines += ["", "Habits to work on", *(f"  {n}. {words}" for n, words in enumerate(told.habits, 1))]
    if not told.habits:
        lines.append("  none: nothing went wrong" if told.points else "  none yet: nothing was there to judge")
    for table in told.tables:
        lines += ["", f"Pair {table.pair}", *_columns((HEAD, *table.rounds))]
        roles = ", ".join(f"{role} {one.right} of {one.of}" for role, one in table.roles)
        lines.append(f"  right by role: {roles}" if roles else "  nothing to judge yet")
    for moment in told.moments:
        lines += [
            "",
            _headline(moment.point),
            *(f"    {who:>5}{':' if who else ' '} {said}" for who, said in moment.lines),
        ]
        lines += [f"  {moment.because}"] if moment.because else []
    lines += ["", "The way so far", *_chart(told.way), f"  {told.verdict}"]
    return "\n".join(_folded(line, width) for line in lines)


def _folded(line: str, width: int) -> str:
    """A line broken between words, what follows set in under it."""
    indent = " " * (len(line) - len(line.lstrip()) + (2 if line.lstrip()[:2] in ("+ ", "! ") else 0))
    wide = max(width, len(indent) + 20)
    return line if len(line) <= wide else fill(line, wide, subsequent_indent=indent, drop_whitespace=True)


def _headline(point: Point) -> str:
    return f"{'+' if point.right else '!'} Pair {point.pair}, round {point.round}, {point.role}: {point.what}"


def _columns(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]


def _chart(way: Sequence[Step]) -> list[str]:
    width = max((len(step.label) for step in way), default=0)
    return [f"  {step.label:<{width}}  {bar(step.tally.share or 0, 20)} {step.tally.share or 0:>4.0%}" for step in way]


def explain(db: sqlite3.Connection, view: SessionView) -> str:
    """Every point of a session with the entry it comes from and the text that decided it."""
    points = points_of(view)
    total = tally(points)
    lines = [f"drill {view.number}, {view.drill}: {total.right} of {total.of} right, each by its entry"]
    lines += [SIMULATED] if view.simulated else []
    for place, point in enumerate(points, 1):
        row = db.execute("SELECT raw FROM turn WHERE id = ?", (point.turn,)).fetchone()
        said = f'"{row[0]}"' if row and row[0] else "nothing"
        lines += [
            f"{place:>3} {'+' if point.right else '!'} {_headline(point)[2:]}",
            f"      {' and '.join(point.refs)}: {point.line.kind}, {point.line.at:%H:%M:%S}; the pair texted {said}",
        ]
    return "\n".join(lines)
