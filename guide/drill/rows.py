"""What the trainer's board shows of each pair, as plain data and as lines of a screen."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from guide.drill.facts import last_words, step_now
from guide.drill.score import points_of, seconds_of, slips
from guide.drill.session import Session
from guide.flow.replies.clean import clean

SLOW_S = 90
"""Seconds of waiting from which a pair's row is marked: somebody may be stuck."""

_PLACES = {
    "larva.look": "on the spoon",
    "larva.bag": "bagging",
    "larva.measure": "measuring",
    "larva.name": "naming",
    "larva.tag": "tag slip",
    "larva.outer": "outer bag, ice",
    "larva.brisk": "brisk, a larva",
}
_COLUMNS = (("", 4), ("round", 6), ("where", 15), ("s each", 7), ("last text", 12), ("slips", 7), ("waits", 6))
LEGEND = ("S surprise  H hint  P pause all  E end round", "X end drill  up/down choose  Q leave")


@dataclass(frozen=True)
class Row:
    """One pair on the board. ``waits_s`` is the time since it was last heard of; ``danger`` is a call in its talk."""

    pair: str
    word: str
    joined: bool
    round: str
    where: str
    pace: str
    said: str
    slips: str
    waits_s: int | None
    surprise: str
    danger: bool


def rows_of(session: Session, now: datetime) -> list[Row]:
    """Every pair of a session as it stands."""
    view = session.read()
    points = points_of(view)
    rows = []
    for name, pair in view.pairs.items():
        one = pair.now()
        if not pair.rounds:
            rows.append(Row(name, "", False, f"0/{view.rounds}", "waits for its turn", "-", "", "-", None, "", False))
            continue
        seat = session.seat(pair.rounds[-1])
        holder = session.store.holder(seat.id)
        step = step_now(session.store, seat)
        heard = last_words(session.store, seat.id)
        seen, of = slips([point for point in points if point.pair == name])
        pace = seconds_of(view, name)
        open_one = one.open_surprise() if one else None
        rows.append(
            Row(
                name,
                seat.word.upper(),
                holder is not None or one is None,
                f"{len(pair.rounds)}/{view.rounds}",
                _where(step, one is None),
                f"{pace:.0f}" if pace is not None else "-",
                clean(heard[0]).replace("\n", " ") if heard else "",
                f"{seen}/{of}" if of else "-",
                int((now - (heard[1] if heard else pair.rounds[-1].begun_at)).total_seconds()) if one else None,
                open_one.name if open_one else pair.asked[0] + " waits" if pair.asked else "",
                one is not None and step.startswith(("danger.", "storm.")),
            )
        )
    return rows


def _where(step: str, over: bool) -> str:
    if over:
        return "round over"
    return _PLACES.get(step, step.replace(".", " ").replace("_", " "))


def lines_of(
    session: Session, rows: Sequence[Row], chosen: int, now: datetime, width: int = 80
) -> list[tuple[str, str]]:
    """The board as styled lines, none wider than the screen: a style's name and the words."""
    view = session.view
    state = "OVER" if view.ended else "PAUSED" if view.paused else "practice"
    head = f" {session.drill.title}, drill {view.number}  {state}"
    lines = [("head", f"{head:<{width - 10}}{now.astimezone():%H:%M:%S} ")]
    lines.append(("dim", " " + " ".join(f"{name:<{size}}" for name, size in _COLUMNS)))
    for place, row in enumerate(rows):
        lines += _row_lines(row, place == chosen)
    return [(style, text[:width]) for style, text in lines]


def _row_lines(row: Row, chosen: bool) -> list[tuple[str, str]]:
    mark = ">" if chosen else " "
    if not row.joined:
        how = f"waits for a phone: JOIN {row.word}" if row.word else "waits for its turn at the laptop"
        return [("dim", f"{mark}{row.pair:<4} {row.round:<6} {how}")]
    cells = (row.pair, row.round, row.where, row.pace, row.said, row.slips, _clock(row.waits_s))
    text = " ".join(f"{cell[:size]:<{size}}" for cell, (_, size) in zip(cells, _COLUMNS, strict=True))
    slow = row.waits_s is not None and row.waits_s >= SLOW_S
    style = "danger" if row.danger else "slow" if slow else "chosen" if chosen else "row"
    told = "DANGER" if row.danger else f"? {row.surprise}" if row.surprise else ""
    return [(style, f"{mark}{text} {told}")]


def _clock(seconds: int | None) -> str:
    return "-" if seconds is None else f"{seconds // 60}:{seconds % 60:02}"
