"""What a drill puts before a pair: the next specimen, and the surprise that is due. All become entries."""

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from guide.drill import seats
from guide.drill.model import Surprise
from guide.drill.plan import plan_round, seeded
from guide.drill.specimens import draw_lots, words
from guide.drill.view import RoundView, blanks_of, place_of
from guide.record.store import SeatRow, TextOut

if TYPE_CHECKING:
    from guide.drill.session import Session

LOOK_STEPS = ("larva.look", "larva.steady", "larva.brisk")
"""Steps at which a larva lies on the spoon."""


def throw_due(session: "Session", one: RoundView, seat: SeatRow, step: str, now: datetime) -> list[TextOut]:
    """Shows the next specimen and throws what is due at this step, unless something else is going on there."""
    holder = session.store.holder(seat.id)
    if holder is None or holder.stopped_at or not seats.can_be_asked(session.exchange, seat, holder.number, now):
        return []
    said: list[TextOut] = []
    due = None if one.open_surprise() else _due(session, one, step)
    if session.drill.larvae and step in LOOK_STEPS and one.in_hand() is None:
        if due is not None and due[0].specimen is not None:
            said += _throw(session, one, seat, due[0], due[1], step, now)
            due = None
        said += _show(session, session.again(one), seat, now)
        one = session.again(one)
        due = due if due and due[0].specimen is None else None
    if due is not None and due[0].specimen is None:
        said += _throw(session, one, seat, due[0], due[1], step, now)
    return said


def _due(session: "Session", one: RoundView, step: str) -> tuple[Surprise, str] | None:
    """The surprise to throw at this step, and who wants it: the trainer before the plan."""
    for name in session.view.pairs[one.pair].asked:
        asked = session.drill.surprise(name)
        if asked is not None and step in asked.at:
            return asked, "trainer"
    came = {thrown.name for thrown in one.surprises}
    larva = len(one.specimens) + (step in LOOK_STEPS and one.in_hand() is None)
    for planned in plan_round(session.drill, session.view.seed, one.pair, one.number):
        surprise = planned.surprise
        if surprise.name not in came and step in surprise.at and larva >= planned.larva:
            return surprise, "plan"
    return None


def _throw(
    session: "Session", one: RoundView, seat: SeatRow, surprise: Surprise, by: str, step: str, now: datetime
) -> list[TextOut]:
    (after,) = session.store.db.execute("SELECT max(id) FROM turn").fetchone()
    data = {
        **place_of(one),
        "name": surprise.name,
        "number": len(one.surprises) + 1,
        "by": by,
        "step": step,
        "after": after,
        **_spare_slips(session, one, surprise),
    }
    session.note("surprise", data, now)
    lead = session.phrase("danger" if surprise.danger else "surprise")
    if surprise.options:
        return seats.ask(session.exchange, seat, surprise, lead, now)
    if not surprise.say:
        return []
    said = session.book.in_language(surprise.say).format_map(blanks_of(data))
    return seats.say(session.exchange, seat, f"{lead} {said}", now)


def _spare_slips(session: "Session", one: RoundView, surprise: Surprise) -> dict[str, str]:
    """A misprinted slip and a new one, for a surprise that speaks of them."""
    if not any("{" in text for text in surprise.say.values()):
        return {}
    shown = one.in_hand()
    slip = shown.line.data["slip"] if shown else _slip(session)
    return {"bad": _misprint(slip), "slip": _slip(session, already=slip)}


def _slip(session: "Session", already: str = "") -> str:
    """A free practice tag that lies ready at no pair's tray."""
    given = {shown.line.data["slip"] for one in session.view.all_rounds() for shown in one.specimens if not shown.over}
    given |= {thrown.line.data.get("slip", "") for one in session.view.all_rounds() for thrown in one.surprises}
    given.add(already)
    tags = seats.free_tags(session.store, session.book.settings.code, len(given) + 1)
    return next((tag for tag in tags if tag not in given), "?")


def _show(session: "Session", one: RoundView, seat: SeatRow, now: datetime) -> list[TextOut]:
    place = len(one.specimens) + 1
    thrown = one.open_surprise()
    surprise = session.drill.surprise(thrown.name) if thrown else None
    fixed = surprise.specimen if surprise else None
    random = seeded(session.view.seed, one.pair, one.number, place, "specimen")
    specimen = draw_lots(random, _slip(session), fixed)
    (after,) = session.store.db.execute("SELECT max(id) FROM turn").fetchone()
    data = {**place_of(one), "place": place, "fixed": fixed is not None, "after": after, **asdict(specimen)}
    session.note("specimen_shown", data, now)
    return seats.say(session.exchange, seat, words(specimen), now)


def _misprint(slip: str) -> str:
    """The slip with two unlike neighbours changed over, which its check digit gives away."""
    place = next((n for n in range(len(slip) - 1, 0, -1) if slip[n] != slip[n - 1]), 0)
    return slip if not place else slip[: place - 1] + slip[place] + slip[place - 1] + slip[place + 1 :]
