"""The score of a session: points made of its entries, each naming the entry it comes from. Roles, never people."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from guide.drill.view import Line, SessionView
from guide.field.families import FAMILIES, everyday

_KNOWN = {family.latin for family in FAMILIES}
ABOUT = ("surprise", "length", "family", "tag", "step")
"""What a point is about: a surprise, a length, a family, a tag, a step left out."""


@dataclass(frozen=True)
class Point:
    """One thing that was right or wrong.

    ``refs`` are the entries it comes from, the drill's judgement first, then the pair's answer that was judged;
    ``turn`` is the pair's text that decided.
    """

    pair: str
    round: int
    role: str
    kind: str
    name: str
    right: bool
    what: str
    refs: tuple[str, ...]
    turn: int
    line: Line


@dataclass(frozen=True)
class Tally:
    """Right ones of all, and the seconds a specimen took (None where none was kept)."""

    right: int
    of: int
    seconds: float | None = None

    @property
    def share(self) -> float | None:
        """The part that was right, 0 to 1; None where there was nothing."""
        return self.right / self.of if self.of else None


def points_of(view: SessionView) -> list[Point]:
    """Every point of a session, in the order of its entries."""
    found: list[Point] = []
    thrown: dict[tuple[str, int, int], str] = {}
    for line in view.lines:
        if line.kind == "surprise":
            thrown[_key(line)] = line.ref
        elif line.kind == "surprise_answered":
            found.append(_surprise(line, thrown[_key(line)]))
        elif line.kind == "step_skipped":
            found.append(_skipped(line))
        elif line.kind == "specimen_judged":
            found += _specimen(line)
    return found


def _point(line: Line, role: str, kind: str, name: str, right: bool, what: str) -> Point:
    data = line.data
    turn, ref = data.get("answers", {}).get(kind, (data["turn"], ""))
    refs = (line.ref, ref) if ref else (line.ref,)
    return Point(data["pair"], data["round"], role, kind, name, right, what, refs, turn, line)


def _key(line: Line) -> tuple[str, int, int]:
    return (line.data["pair"], line.data["round"], line.data["number"])


def _surprise(line: Line, thrown: str) -> Point:
    data = line.data
    words = {"good": "seen", "harmful": "a harmful answer", "missed": "missed"}[data["verdict"]]
    what = f"{data['name']}: {words}"
    point = _point(line, data["role"], "surprise", data["name"], data["verdict"] == "good", what)
    return replace(point, refs=(line.ref, thrown))


def _skipped(line: Line) -> Point:
    data = line.data
    step = data["step"].replace(".", " ").replace("_", " ")
    what = f"{step}: OK after {data['seconds']:.0f} s, sooner than hands can do it"
    return _point(line, data["role"], "step", data["step"], False, what)


def _specimen(line: Line) -> Iterable[Point]:
    data = line.data
    told, true, right = data["told"], data["true"], data["right"]
    said = {"length": _mm(told["length_mm"]), "family": _short(told["family"]), "tag": told["tag"]}
    is_so = {"length": _mm(true["length_mm"]), "family": _short(true["family"]), "tag": true["tag"]}
    for kind, verdict in right.items():
        if verdict is None:
            continue
        if kind == "length" and told["status"] == "back":
            what = f"put back at {is_so['length']}, though long enough"
        else:
            what = f"{kind} {said[kind]}" + ("" if verdict else f", it was {is_so[kind]}")
        yield _point(line, "dirty", kind, kind, verdict, what)


def _short(family: str | None) -> str:
    return everyday(family) if family in _KNOWN else str(family)


def _mm(length: Any) -> str:
    return "none" if length is None else f"{length:g} mm"


def seconds_of(view: SessionView, pair: str | None = None, number: int | None = None) -> float | None:
    """Median seconds from a specimen on the spoon to the same one on ice."""
    times = sorted(
        line.data["seconds"]
        for line in view.lines
        if line.kind == "specimen_judged"
        and line.data["told"]["status"] == "kept"
        and pair in (None, line.data["pair"])
        and number in (None, line.data["round"])
    )
    middle = len(times) // 2
    if not times:
        return None
    return float(times[middle] if len(times) % 2 else (times[middle - 1] + times[middle]) / 2)


def tally(points: Sequence[Point], seconds: float | None = None) -> Tally:
    """Right ones of all."""
    return Tally(sum(point.right for point in points), len(points), seconds)


def by_round(view: SessionView, points: Sequence[Point], pair: str | None = None) -> list[Tally]:
    """A tally for each round, of one pair or of all."""
    last = max((one.number for one in view.all_rounds()), default=0)
    return [
        tally(
            [p for p in points if p.round == number and pair in (None, p.pair)], seconds_of(view, pair, number)
        )
        for number in range(1, last + 1)
    ]  # fmt: skip


def slips(points: Sequence[Point]) -> tuple[int, int]:
    """Surprises seen, and all that were answered."""
    chosen = [point for point in points if point.kind == "surprise"]
    return sum(point.right for point in chosen), len(chosen)
