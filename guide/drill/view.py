"""A drill session as its entries tell it: pairs, rounds, specimens, surprises. Made anew from the log, never stored."""

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from guide.drill.model import SPARE_BLANKS, DrillError


@dataclass(frozen=True)
class Line:
    """One entry of a session: its reference, time, kind and data."""

    ref: str
    at: datetime
    kind: str
    data: dict[str, Any]


@dataclass
class Thrown:
    """A surprise that was thrown at a pair, and its verdict once there is one (good, harmful, missed)."""

    line: Line
    name: str
    number: int
    after: int
    verdict: str = ""


@dataclass
class Shown:
    """A specimen that was put on the spoon; ``over`` once the pair has dealt with it."""

    line: Line
    place: int
    fixed: bool
    after: int
    over: bool = False


@dataclass
class RoundView:
    """One round of one pair, in a practice visit of its own.

    ``after`` is the last turn before the pair's own; ``why`` is why it ended, ``done`` when it was played to its end.
    """

    pair: str
    number: int
    visit: str
    after: int
    begun_at: datetime
    specimens: list[Shown] = field(default_factory=list)
    surprises: list[Thrown] = field(default_factory=list)
    skipped: set[int] = field(default_factory=set)
    ended: bool = False
    why: str = ""

    def in_hand(self) -> Shown | None:
        """The specimen the pair has now."""
        return next((one for one in self.specimens if not one.over), None)

    def open_surprise(self) -> Thrown | None:
        """The surprise that waits for the pair's answer."""
        return next((one for one in self.surprises if not one.verdict), None)

    def dealt_with(self) -> int:
        """Specimens that are over, those of surprises apart."""
        return sum(1 for one in self.specimens if one.over and not one.fixed)


@dataclass
class PairView:
    """One pair of a session.

    ``asked`` are surprises the trainer wants thrown at the next moment that fits; ``joined`` is True once a phone of
    its own has.
    """

    name: str
    rounds: list[RoundView] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    joined: bool = False

    def now(self) -> RoundView | None:
        """The round that is going on."""
        return self.rounds[-1] if self.rounds and not self.rounds[-1].ended else None


@dataclass
class SessionView:
    """A whole session."""

    stream: str
    begun_at: datetime
    drill: str
    seed: int
    rounds: int
    group: str
    simulated: bool
    in_turn: bool
    pairs: dict[str, PairView]
    lines: list[Line] = field(default_factory=list)
    paused: bool = False
    ended: bool = False

    @property
    def number(self) -> str:
        """The session as people name it: the last part of its stream."""
        return self.stream.rsplit("-", 1)[1]

    def all_rounds(self) -> list[RoundView]:
        """Every round of every pair, in the order of pairs."""
        return [one for pair in self.pairs.values() for one in pair.rounds]


def lines_of(db: sqlite3.Connection, stream: str) -> list[Line]:
    """The entries of a stream, in order."""
    rows = db.execute(
        "SELECT uid || '/' || stream || '/' || seq, at, kind, data FROM log JOIN origin ON origin.id = log.origin "
        "WHERE origin IN (SELECT id FROM origin) AND stream = ? ORDER BY log.id",
        (stream,),
    )
    return [Line(ref, datetime.fromisoformat(at), kind, json.loads(data)) for ref, at, kind, data in rows]


def streams(db: sqlite3.Connection) -> list[str]:
    """The streams of all sessions of a record, oldest first."""
    return [row[0] for row in db.execute("SELECT stream FROM log WHERE kind = 'drill_begun' ORDER BY id")]


def view_of(lines: list[Line], stream: str) -> SessionView:
    """A session from its entries."""
    first = lines[0]
    data = first.data
    pairs = {name: PairView(name) for name in data["pairs"]}
    view = SessionView(
        stream, first.at, data["drill"], data["seed"], data["rounds"], data["group"], data["simulated"],
        data["in_turn"], pairs, lines,
    )  # fmt: skip
    for line in lines[1:]:
        _fold(view, line)
    return view


def _fold(view: SessionView, line: Line) -> None:
    data = line.data
    if line.kind in ("drill_paused", "drill_resumed"):
        view.paused = line.kind == "drill_paused"
    elif line.kind == "drill_ended":
        view.ended = True
    elif line.kind == "round_begun":
        pair = view.pairs[data["pair"]]
        pair.rounds.append(RoundView(pair.name, data["round"], data["visit"], data["after"], line.at))
    elif line.kind == "pair_joined":
        view.pairs[data["pair"]].joined = True
    elif line.kind == "surprise_asked":
        view.pairs[data["pair"]].asked.append(data["name"])
    elif "round" in data:
        pair = view.pairs[data["pair"]]
        _fold_round(pair, pair.rounds[data["round"] - 1], line)


def _fold_round(pair: PairView, one: RoundView, line: Line) -> None:
    data = line.data
    if line.kind == "round_ended":
        one.ended, one.why = True, data["why"]
    elif line.kind == "specimen_shown":
        one.specimens.append(Shown(line, data["place"], data["fixed"], data["after"]))
    elif line.kind == "specimen_judged":
        one.specimens[data["place"] - 1].over = True
    elif line.kind == "surprise":
        one.surprises.append(Thrown(line, data["name"], data["number"], data["after"]))
        if data["name"] in pair.asked and data["by"] == "trainer":
            pair.asked.remove(data["name"])
    elif line.kind == "surprise_answered":
        one.surprises[data["number"] - 1].verdict = data["verdict"]
    elif line.kind == "step_skipped":
        one.skipped.add(data["turn"])


def read_session(db: sqlite3.Connection, stream: str) -> SessionView:
    """A session from the record."""
    return view_of(lines_of(db, stream), stream)


def find_session(db: sqlite3.Connection, number: str | None) -> SessionView:
    """The session with this number, or the last one; raises DrillError if there is none."""
    all_streams = streams(db)
    if not all_streams:
        raise DrillError("there is no drill in this record yet: wadeline drill begins one")
    if number is None:
        return read_session(db, all_streams[-1])
    found = [one for one in all_streams if one.rsplit("-", 1)[1] == number]
    if not found:
        known = ", ".join(one.rsplit("-", 1)[1] for one in all_streams[-8:])
        raise DrillError(f"there is no drill {number} in this record; the last ones are {known}")
    return read_session(db, found[-1])


def of_group(db: sqlite3.Connection, group: str) -> Iterable[SessionView]:
    """Every session that real people of a group have played, oldest first."""
    sessions = (read_session(db, stream) for stream in streams(db))
    return [one for one in sessions if one.group == group and not one.simulated]


def place_of(one: RoundView) -> dict[str, Any]:
    """What every entry of a round says: whose it is and which."""
    return {"pair": one.pair, "round": one.number}


def blanks_of(data: dict[str, Any]) -> dict[str, str]:
    """What a thrown surprise fills its blanks with."""
    return {name: data.get(name, "") for name in SPARE_BLANKS}
