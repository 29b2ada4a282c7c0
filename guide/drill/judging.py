"""Judging a round as the record has it: steps left out, the open surprise, the specimen in hand. All become entries."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from guide.drill import seats
from guide.drill.facts import PairText
from guide.drill.judge import Told, is_skipped, judge, role_of, verdict
from guide.drill.view import RoundView, Shown, Thrown, blanks_of, place_of
from guide.record.store import TextOut

if TYPE_CHECKING:
    from guide.drill.session import Session


_DEALT_WITH = (
    "SELECT kind, sample_uid, at, turn FROM log WHERE origin = ? AND stream = ? AND turn > ? "
    "AND kind IN ('kept', 'void', 'put_back') ORDER BY seq LIMIT 1"
)
_TOLD_OF = (
    "SELECT 'open', sample_uid, at, turn FROM log WHERE origin = ? AND stream = ? AND turn > ? "
    "AND kind = 'answer' AND sample_uid IS NOT NULL ORDER BY seq DESC LIMIT 1"
)


def judge_texts(session: "Session", one: RoundView, texts: list[PairText], now: datetime) -> list[TextOut]:
    """Judges a round's texts so far, each thing once; returns what the pair is told of it."""
    for text in texts:
        if text.turn not in one.skipped and is_skipped(session.drill, session.book, text):
            role = role_of(session.book.step(text.before))
            data = {"step": text.before, "turn": text.turn, "seconds": round(text.seconds, 1), "role": role}
            session.note("step_skipped", {**place_of(one), **data}, now)
    said: list[TextOut] = []
    thrown = one.open_surprise()
    surprise = session.drill.surprise(thrown.name) if thrown else None
    if thrown is not None and surprise is not None:
        later = [text for text in texts if text.turn > thrown.after]
        word, turn = verdict(surprise, later, blanks_of(thrown.line.data), session.book)
        if word:
            said += answered(session, one, thrown, word, turn, now)
    _judge_by(_DEALT_WITH, session, session.again(one), now)
    return said


def answered(session: "Session", one: RoundView, thrown: Thrown, word: str, turn: int, now: datetime) -> list[TextOut]:
    """Writes the verdict on a surprise and tells the pair the reason."""
    surprise = session.drill.surprise(thrown.name)
    role = surprise.who if surprise else "both"
    data = {"number": thrown.number, "name": thrown.name, "verdict": word, "turn": turn, "role": role}
    session.note("surprise_answered", {**place_of(one), **data}, now)
    if surprise is None:
        return []
    because = f"{session.phrase(word)} {session.book.in_language(surprise.because)}"
    return seats.say(session.exchange, session.seat(one), because, now)


def judge_open(session: "Session", one: RoundView, now: datetime) -> None:
    """The specimen in hand when a drill is left: what was told of it so far is judged."""
    _judge_by(_DEALT_WITH, session, one, now)
    _judge_by(_TOLD_OF, session, session.again(one), now)


def _judge_by(entry: str, session: "Session", one: RoundView, now: datetime) -> None:
    """Judges the specimen in hand by the entry that a query finds since it was shown, if there is one."""
    shown = one.in_hand()
    if shown is None:
        return
    row = session.store.db.execute(entry, (session.store.origin_id, one.visit, shown.after)).fetchone()
    if row is not None:
        _judge_specimen(session, one, shown, row, now)


def _judge_specimen(
    session: "Session", one: RoundView, shown: Shown, row: tuple[str, str | None, str, int], now: datetime
) -> None:
    kind, uid, at, turn = row
    told = _told(session, kind, uid)
    data = shown.line.data
    right = judge(data, told, _slips(session, one, shown), session.book.settings.minimum_mm)
    seconds = (datetime.fromisoformat(at) - shown.line.at).total_seconds()
    session.note(
        "specimen_judged",
        {
            **place_of(one),
            "place": shown.place,
            "sample": uid,
            "turn": turn,
            "seconds": round(seconds, 1),
            "told": asdict(told),
            "true": {"length_mm": data["length_mm"], "family": data["family"], "tag": data["slip"]},
            "right": right,
            "answers": _answers(session, one, uid),
            "fixed": shown.fixed,
        },
        now,
    )


def _told(session: "Session", kind: str, uid: str | None) -> Told:
    if kind == "put_back":
        return Told("back")
    length_mm, family, tag = session.store.db.execute(
        "SELECT length_mm, family, tag FROM sample WHERE uid = ?", (uid,)
    ).fetchone()
    return Told(kind, length_mm, family, tag)


def _answers(session: "Session", one: RoundView, uid: str | None) -> dict[str, tuple[int, str]]:
    """For each thing told of a sample, the turn and the entry in the visit's log that told it last."""
    found = {}
    for name, column in (("length", "length_mm"), ("family", "family"), ("tag", "tag")):
        row = session.store.db.execute(
            "SELECT turn, stream || '/' || seq FROM log WHERE origin = ? AND stream = ? AND sample_uid = ? "
            "AND kind IN ('answer', 'fix') AND json_extract(data, ?) IS NOT NULL ORDER BY seq DESC LIMIT 1",
            (session.store.origin_id, one.visit, uid, f"$.{column}"),
        ).fetchone()
        if row is not None:
            found[name] = (row[0], f"{session.store.origin}/{row[1]}")
    return found


def _slips(session: "Session", one: RoundView, shown: Shown) -> Iterable[str]:
    """The slips a pair was given for a specimen: a surprise may have brought another."""
    yield shown.line.data["slip"]
    for thrown in one.surprises:
        if thrown.line.data.get("slip"):
            yield thrown.line.data["slip"]
