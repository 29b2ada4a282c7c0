"""``desk close``: closes a visit that nobody texts for any more, as an entry of the desk's own.

For a lost phone, an abandoned visit, or one that came from a laptop that stays at home. What was open is said, and
stays known: the entries of the pair are as they were, and an own close of the pair that is merged later counts before
this one. Nobody at the desk can see whether people came home: the desk asks them, or waits.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from guide.counted import counted
from guide.desk.findings_visit import open_dangers
from guide.desk.visits import BY_ITSELF, Sample, Visit, VisitError, append_at_desk, load_visit, visit_uid
from guide.errors import WadelineError
from guide.gateway.exchange import Exchange
from guide.record.log import Entry
from guide.record.store import DESK, FROM_A_PHONE, Store, stamp
from guide.talk.turn import Turn

HEARD_H = 6
"""A seat heard of within so many hours may be at the water still: our own choice."""

VOID_REASON = "closed_unfinished"
_END = "close.end"


def close_visit(exchange: Exchange, code: str, reason: str, anyway: bool, now: datetime) -> list[str]:
    """Closes an open visit in one transaction; returns what was open and what was done, as sentences.

    Raises VisitError for a visit that is closed, and unless ``anyway`` for one that was heard of within hours.
    """
    if not reason.strip():
        raise VisitError("a close needs its reason in words: --reason 'phone lost, all home by 18:00'")
    store = exchange.store
    with store.transaction():
        visit = load_visit(store.db, visit_uid(store.db, code))
        if visit.status != "open":
            raise VisitError(f"visit {visit.code} is closed already; desk visit {visit.code} shows it")
        _check_silence(visit, last_heard(store, visit), anyway, now)
        lost = _lost(exchange, visit)
        told = [*_open_people(visit), *_open_samples(visit, lost), *_open_clocks(exchange, visit)]
        voided = [Entry("void", "desk.close", {"reason": VOID_REASON}, sample.uid) for sample in lost]
        closed = Entry("visit_closed", "desk.close", {"kept": len(visit.larvae), "by": "desk"}, words=reason.strip())
        append_at_desk(store, visit.uid, [*voided, closed], now)
        _end_talks(exchange, visit, now)
    told.append(f"visit {visit.code} is closed at the desk: {counted(len(visit.kept), 'sample')} kept")
    return [*told, f"look at it: desk visit {visit.code}, then desk accept {visit.code}"]


def _check_silence(visit: Visit, last: tuple[str, datetime] | None, anyway: bool, now: datetime) -> None:
    if last is None or anyway or now - last[1] > timedelta(hours=HEARD_H):
        return
    raise VisitError(
        f"seat {last[0]} of visit {visit.code} was heard of at {visit.local(last[1]):%Y-%m-%d %H:%M} {visit.zone}, "
        f"within {HEARD_H} hours: people may be at the water. Reach them first (desk say {visit.code} WORDS); if you "
        "know that all are out and home: --anyway"
    )


_TEXTED = (
    "SELECT letter, received_at FROM turn JOIN seat ON seat.id = turn.seat "
    f"WHERE stream = ? AND {FROM_A_PHONE} ORDER BY turn.id DESC LIMIT 1"
)


def last_heard(store: Store, visit: Visit) -> tuple[str, datetime] | None:
    """The seat that said something last, and when: by its text, or where that stayed on another machine, by its log."""
    own = f"{store.origin}/"
    told = [one for one in visit.entries if one.seat != DESK and one.kind not in BY_ITSELF]
    said = [(one.seat, one.at) for one in told if not one.ref.startswith(own)]
    said += [(letter, datetime.fromisoformat(at)) for letter, at in store.db.execute(_TEXTED, (visit.uid,))]
    return max(said, key=lambda one: one[1], default=None)


# What is open


def _open_people(visit: Visit) -> Iterator[str]:
    in_water = visit.answers.get("in_water")
    if in_water and "out_count" not in visit.answers:
        yield f"people: {in_water} in the water, and never counted out; be sure that everybody came home"
    for danger in open_dangers(visit):
        at = f"{visit.local(danger.at):%Y-%m-%d %H:%M}"
        yield f"danger: seat {danger.seat} called it at {at}, and never told that it is over; be sure that all are safe"
    alarms = visit.of_kind("alarm")
    if alarms:
        last = f"{visit.local(alarms[-1].at):%Y-%m-%d %H:%M}"
        yield f"alarms: {counted(len(alarms), 'alarm')} went out, the last at {last}"


def _lost(exchange: Exchange, visit: Visit) -> list[Sample]:
    """Samples in open bags whose talk is held here, and so ends here. A laptop may still tell how its own went on."""
    here = exchange.store.seat_letters(visit.uid)
    return [one for one in visit.samples if one.status == "open" and one.sealed_at is None and one.seat in here]


def _open_samples(visit: Visit, lost: Sequence[Sample]) -> Iterator[str]:
    for sample in visit.samples:
        named = f"in hand: {sample.kind.replace('_', ' ')} {sample.called}"
        if sample in lost:
            yield f"{named}, its bag not reported shut: void"
        elif sample.status == "open":
            bag = "its bag shut" if sample.sealed_at else "its bag not reported shut"
            yield f"{named}, {bag}: stays open, to be looked at (keep or void)"


def _open_clocks(exchange: Exchange, visit: Visit) -> Iterator[str]:
    (count,) = exchange.store.db.execute(
        "SELECT count(*) FROM timer JOIN seat ON seat.id = timer.seat WHERE visit = ? AND fired_turn IS NULL",
        (visit.uid,),
    ).fetchone()
    if count:
        yield f"clocks: {count} stopped"


# The seats


def _end_talks(exchange: Exchange, visit: Visit, now: datetime) -> None:
    """Clocks stop; each seat's talk stands at its end, and its phone hears who closed the visit."""
    store = exchange.store
    rows: Sequence[tuple[int]] = store.db.execute("SELECT id FROM seat WHERE visit = ?", (visit.uid,)).fetchall()
    for (seat_id,) in rows:
        kinds = store.db.execute("SELECT kind FROM timer WHERE seat = ? AND fired_turn IS NULL", (seat_id,)).fetchall()
        for (kind,) in kinds:
            store.set_timer(seat_id, kind, None)
        seat = store.seat(seat_id)
        if seat.state and _has_end(exchange, seat.book_hash):
            exchange.change(seat_id, "desk", f"closed {stamp(now)}", _to_the_end, now)


def _has_end(exchange: Exchange, book_hash: str) -> bool:
    """Whether a visit's book can be read by this program and has the step at which a closed visit rests."""
    try:
        return _END in exchange.talk(book_hash).book.steps
    except WadelineError:
        return False


def _to_the_end(turn: Turn) -> None:
    state = turn.state
    del state.frames[1:]
    state.base.go(_END)
    state.base.trail.clear()
    state.base.sample = None
    state.ask, state.paused, state.queue, state.redo = None, False, [], []
    turn.lead(turn.phrase("closed_at_desk"))  # not the step's own words: no pair closed it, and it has no mark
