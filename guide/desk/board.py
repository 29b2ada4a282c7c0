"""Who is out: what the board shows, read from the record and put in lines. Knows no screen."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from prompt_toolkit.utils import get_cwidth

from guide.counted import counted
from guide.desk.questions import Question, waiting_questions
from guide.flow.replies.clean import clean
from guide.record.store import FROM_A_PHONE, Store, stamp

QUESTIONS_OF = timedelta(days=14)
"""The board shows questions of visits begun so recently; ``desk questions`` shows all."""

DANGER, ALARM, ASKED, WATER, BANK, HOME, SILENT = range(7)
"""How near a seat is to needing somebody; the lowest stands first."""

SILENT_AFTER = timedelta(hours=48)
"""A visit that nobody has texted for in so long is no emergency that a board can help with: the desk rings, then
closes it. Our own choice."""

WHERE = 18
"""Columns of a site's name."""

_DOING = {
    "plan": "planning",
    "arrive": "arriving",
    "safety": "safety questions",
    "kit": "kit",
    "roles": "roles",
    "water": "water bottle",
    "sediment": "sediment jar",
    "net": "netting",
    "larva": "a larva",
    "family": "family key",
    "oops": "a slip",
    "danger": "DANGER",
    "storm": "in shelter",
    "pairs": "joining",
    "lead": "leading",
    "close": "closing",
    "freeze": "to the freezer",
    "disinfect": "disinfecting",
}
_SEATS = (  # of closed visits those where it isn't told yet that all are home
    "SELECT seat.id, visit.uid, code8, letter, role, coalesce(site.name, visit.site, '-'), visit.practice, "
    "visit.status, target, coalesce(json_extract(answers, '$.in_water'), 0), state, stopped_at, "
    "json_extract(answers, '$.visit_day'), "
    "(SELECT count(*) FROM sample WHERE sample.visit = visit.uid AND sample.kind = 'larva' AND sample.status = 'kept') "
    "FROM seat JOIN visit ON visit.uid = seat.visit "
    "LEFT JOIN site ON site.programme = visit.programme AND site.code = visit.site "
    "LEFT JOIN phone ON phone.id = seat.phone AND phone.current_seat = seat.id "
    "WHERE visit.status = 'open' OR EXISTS (SELECT 1 FROM timer WHERE timer.seat = seat.id AND fired_turn IS NULL "
    " AND kind IN ('home', 'home_alarm')) OR (seat.last_heard_at >= ? "
    " AND json_extract(nullif(state, ''), '$.frames[0].flow') = 'close' "
    " AND json_extract(nullif(state, ''), '$.frames[0].step') IN ('home', 'not_home'))"
)
_LAST = f"SELECT received_at, raw FROM turn WHERE stream = ? AND seat = ? AND {FROM_A_PHONE} ORDER BY id DESC LIMIT 1"
_RUNNING = "SELECT kind, due_at FROM timer WHERE seat = ? AND fired_turn IS NULL"
_ALARM = (
    "SELECT max(received_at) FROM timer JOIN turn ON turn.id = fired_turn "
    "WHERE timer.seat = ? AND kind IN ('check_in_alarm', 'home_alarm')"
)


@dataclass(frozen=True)
class SeatLine:
    """One seat that is out. ``urgent`` is one of the numbers above, ``note`` says in words what is the matter."""

    to: str
    where: str
    practice: bool
    kept: int
    target: int
    in_water: bool
    doing: str
    urgent: int
    note: str
    last_at: datetime | None
    last_text: str

    @property
    def visit(self) -> str:
        """The visit's code."""
        return self.to.partition("/")[0]


@dataclass(frozen=True)
class Board:
    """All that is shown: seats, the most urgent first, and the questions that wait."""

    at: datetime
    seats: tuple[SeatLine, ...] = ()
    questions: tuple[Question, ...] = ()


def read_board(store: Store, now: datetime) -> Board:
    """The board as the record stands. Nothing is written; timers that are due and not yet fired are seen."""
    rows = store.db.execute(_SEATS, (stamp(now - SILENT_AFTER),)).fetchall()
    lines = [(row[7], _seat_line(store, row, now)) for row in rows]
    seats = [seat for status, seat in lines if status == "open" or seat.urgent != SILENT]
    seats.sort(key=lambda seat: (seat.urgent, seat.last_at or now, seat.to))
    return Board(now, tuple(seats), tuple(waiting_questions(store.db, stamp(now - QUESTIONS_OF))))


def _seat_line(store: Store, row: Sequence[Any], now: datetime) -> SeatLine:
    seat, uid, code, letter, role, where, practice, status, target, wading, state, stopped, planned, kept = row
    frames = json.loads(state)["frames"] if state else []
    facts = frames[0]["facts"] if frames else []
    in_water = bool(wading) and status == "open" and "safety" in facts and "dry" not in facts and role == "pair"
    last = store.db.execute(_LAST, (uid, seat)).fetchone()
    last_at = datetime.fromisoformat(last[0]) if last else None
    top = frames[-1] if frames else {"flow": "", "step": ""}
    timers = {kind: datetime.fromisoformat(due) for kind, due in store.db.execute(_RUNNING, (seat,))}
    (alarm,) = store.db.execute(_ALARM, (seat,)).fetchone()
    alarmed = datetime.fromisoformat(alarm) if alarm else None
    urgent, note = _urgency(top["flow"], timers, alarmed, last_at, now)
    if top["flow"] == "plan":
        urgent, note = _planned(code, planned, now)
    elif last_at is not None and now - last_at > SILENT_AFTER:
        urgent, note = SILENT, _silent(code, last_at, in_water or top["flow"] == "danger")
    elif urgent > ASKED and (top["flow"], top["step"]) == ("close", "not_home"):
        urgent, note = ALARM, "not all home, as told last"
    elif urgent > ASKED:
        urgent = WATER if in_water else BANK if status == "open" else HOME
    if stopped:
        note = f"{note}; takes no texts (STOP)".removeprefix("; ")
    doing = f"{_DOING.get(top['flow'], top['flow'])}: {top['step'].replace('_', ' ')}"
    said = clean(last[1] or "").replace("\n", " ") if last else ""
    return SeatLine(
        f"{code}/{letter}", where, bool(practice), kept, target, in_water, doing, urgent, note, last_at, said
    )  # fmt: skip


def _silent(code: str, last_at: datetime, out: bool) -> str:
    """Since when nobody has texted, and what to do about it."""
    sure = "are all home? Ring them, " if out else "ring them, "
    return f"silent since {moment(last_at)}: {sure}then desk close {code}"


def _planned(code: str, day: str | None, now: datetime) -> tuple[int, str]:
    """A visit that is planned says for when; one whose day is long over, what to do."""
    if day is None:
        return BANK, ""
    over = now.date() - date.fromisoformat(day) > SILENT_AFTER
    return (SILENT, f"planned for {day}, nobody came: ask, then desk close {code}") if over else (BANK, f"for {day}")


def moment(at: datetime) -> str:
    """A day and time of day, as clocks here show it."""
    local = at.astimezone()
    return f"{local.day} {local:%b %H:%M}"


def _late(due: datetime, now: datetime) -> str:
    """How late something is, while minutes count; then since when."""
    return f"{ago(due, now)} late" if now - due < timedelta(hours=2) else f"late since {moment(due)}"


def _urgency(
    flow: str, timers: dict[str, datetime], alarmed: datetime | None, last_at: datetime | None, now: datetime
) -> tuple[int, str]:
    """How urgent a seat is by its clocks, and why in words."""
    if flow == "danger":
        return DANGER, ""
    if alarmed is not None and (last_at is None or alarmed > last_at):
        return ALARM, f"ALARM {ago(alarmed, now)} ago"
    for kind, what in (("check_in_alarm", "check-in"), ("home_alarm", "'all home?'")):
        if kind in timers:
            over = timers[kind] <= now
            return (ALARM, f"{what} unanswered") if over else (ASKED, f"{what} asked")
    for kind, what in (("check_in", "check-in"), ("home", "'all home?'")):
        if kind in timers:
            due = timers[kind]
            if due <= now:
                return ASKED, f"{what} {_late(due, now)}"
            return BANK, f"{what} in {ago(now, due)}"
    return BANK, "in shelter, a clock runs" if "thunder" in timers else ""


def ago(before: datetime, after: datetime) -> str:
    """``40 s``, ``12 min``, ``3 h``, ``2 d`` between two moments."""
    seconds = max(0, int((after - before).total_seconds()))
    for least, unit in ((86_400 * 2, "d"), (3600 * 2, "h"), (60, "min")):
        if seconds >= least:
            return f"{seconds // {'d': 86_400, 'h': 3600, 'min': 60}[unit]} {unit}"
    return f"{seconds} s"


# In lines


def head_line(board: Board, columns: int) -> str:
    """What matters at a glance; who needs somebody stands first."""
    water = sum(seat.in_water and seat.urgent != SILENT for seat in board.seats)
    urgent = sum(seat.urgent <= ASKED for seat in board.seats)
    silent = sum(seat.urgent == SILENT for seat in board.seats)
    told = [counted(len(board.seats), "seat"), f"{water} at the water", counted(len(board.questions), "question")]
    told += [f"{silent} silent"] * bool(silent)
    alarm = f"{urgent} OVERDUE OR IN DANGER, " if urgent else ""
    return fit(f"{board.at.astimezone():%H:%M}  {alarm}{', '.join(told)}", columns)


def seat_heads(columns: int) -> str:
    """The names of the columns of the seats."""
    return fit(f"   seat       {'where':<{WHERE}} larvae in  last    doing", columns)


def seat_line(seat: SeatLine, now: datetime, columns: int) -> str:
    """One seat in one line; urgent ones begin with ``!``, practice ones have a ``p`` behind it.

    What is the matter stands in place of what the pair does; ``detail_lines`` tell both.
    """
    mark = ("!" if seat.urgent <= ASKED else " ") + ("p" if seat.practice else " ")
    last = ago(seat.last_at, now) if seat.last_at else "-"
    doing = seat.note if seat.note and seat.urgent <= ASKED else seat.doing
    if seat.urgent == SILENT:
        doing = seat.note.split(": ")[0].split(", ")[0]  # what to do stands in the detail
    count, water = f"{seat.kept}/{seat.target}", "IN" if seat.in_water else "-"
    return fit(f"{mark} {seat.to:<10} {pad(seat.where, WHERE)} {count:>6} {water:<3} {last:<7} {doing}", columns)


def question_line(question: Question, now: datetime, columns: int) -> str:
    """One question in one line."""
    asks = "wants a fix" if question.kind == "fix_request" else "asks"
    said = clean(question.words or "words that were forgotten").replace("\n", " ")
    return fit(f"? {question.to:<11} {ago(question.at, now):>6} ago {asks}: {said}", columns)


def detail_lines(seat: SeatLine, now: datetime, columns: int) -> list[str]:
    """What there is more to say of the seat that is looked at, in whole words."""
    last = f'"{seat.last_text}", {ago(seat.last_at, now)} ago' if seat.last_at else "none"
    what = "people in or at the water" if seat.in_water else "nobody in the water, as far as told"
    practice = ", practice" if seat.practice else ""
    lines = [f"{seat.to}{practice}, {seat.where}: {what}", f"{seat.doing}; {seat.note or 'no clock runs'}"]
    return [part for line in (*lines, f"last text: {last}") for part in wrapped(line, columns)]


def question_lines(question: Question, now: datetime, columns: int) -> list[str]:
    """A question that is looked at, in whole words."""
    said = clean(question.words or "words that were forgotten").replace("\n", " ")
    return wrapped(f"{question.to}, {ago(question.at, now)} ago: {said}", columns)


def wrapped(text: str, columns: int, most: int = 4) -> list[str]:
    """A text in as many lines as it takes, broken between words; more than ``most`` are cut."""
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if get_cwidth(longer) <= columns or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    rest = [*lines[: most - 1], " ".join(lines[most - 1 :])] if len(lines) > most else lines
    return [fit(line, columns) for line in rest]


def fit(text: str, columns: int) -> str:
    """A text that takes at most so many columns, wide letters counted as two."""
    if get_cwidth(text) <= columns:
        return text
    kept = ""
    for char in text:
        if get_cwidth(kept) + get_cwidth(char) > columns - 1:
            break
        kept += char
    return f"{kept}…"


def pad(text: str, columns: int) -> str:
    """A text that takes exactly so many columns."""
    cut = fit(text, columns)
    return cut + " " * (columns - get_cwidth(cut))


def board_rows(board: Board) -> Iterable[dict[str, Any]]:
    """The seats for a script or a pipe."""
    for seat in board.seats:
        yield {
            "seat": seat.to,
            "where": seat.where,
            "practice": seat.practice,
            "kept": seat.kept,
            "target": seat.target,
            "in_water": seat.in_water,
            "doing": seat.doing,
            "urgent": seat.urgent <= ASKED,
            "note": seat.note,
            "last": ago(seat.last_at, board.at) if seat.last_at else None,
            "last_text": seat.last_text,
        }
