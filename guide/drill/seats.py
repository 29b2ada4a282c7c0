"""What the drill does to a seat's talk: a visit opened and brought to the step a round begins at, a text, a question.

All of it goes the way of every text: a turn, the talk's own decision, one transaction. The drill has no other talk.
"""

from datetime import datetime, timedelta

from guide.drill.book import QUESTIONS
from guide.drill.model import Drill, DrillError, Surprise
from guide.field.tags import block
from guide.flow.settings import Settings
from guide.gateway.exchange import Exchange, TextIn
from guide.gateway.joining import new_visit
from guide.record.log import Entry
from guide.record.store import DESK, DRILL, SeatRow, Store, TextOut, stamp
from guide.talk.moves import enter
from guide.talk.turn import Turn

TAGS_AHEAD = 40
"""Practice tags kept free, so that drills never run out of slips."""

_MOST_TEXTS_BEFORE = 100
_BEFORE_S = 120
_FIRST_TAG = 140


def open_visit(
    exchange: Exchange, drill: Drill, number: str, word: str | None, now: datetime
) -> tuple[SeatRow, list[TextOut]]:
    """A practice visit for a phone, gone through up to where the drill begins; returns its seat and last texts.

    What leads there is texted as a pair would text it, and shown to nobody. ``word`` is the word the pair joins with,
    if it has one. Raises DrillError if the beginning is never come to.
    """
    store, begun = exchange.store, now - timedelta(seconds=_BEFORE_S)
    keep_tags(store, exchange.book.settings, now)
    phone = store.phone(number)
    turn = store.add_turn(gateway=DRILL, phone=phone.id, received_at=stamp(begun), raw="")
    texts = new_visit(exchange, phone, "", turn, begun)
    for count in range(_MOST_TEXTS_BEFORE):
        last = texts[-1] if texts else None
        if last is None or last.step is None or last.step == drill.begin:
            break
        answer = drill.before.get(last.step) or (last.options[0] if last.options else "")
        at = begun + timedelta(seconds=count)
        texts = [out for out in exchange.work(TextIn(number, answer, gateway=DRILL), at) if out.number == number]
    if not texts or texts[-1].step != drill.begin:
        where = texts[-1].step if texts else "silence"
        raise DrillError(f"drills/{drill.name}.toml: before leads to {where} and never to {drill.begin}")
    seat = store.seat(store.phone(number).seat or 0)
    if word is not None:
        store.db.execute("UPDATE seat SET join_word = ? WHERE id = ?", (word, seat.id))
    store.db.execute("DELETE FROM outgoing WHERE turn >= ? AND phone = ? AND id != ?", (turn, phone.id, texts[-1].id))
    store.db.execute("UPDATE outgoing SET due_at = ? WHERE id = ?", (stamp(now), texts[-1].id))
    return store.seat(seat.id), texts[-1:]


def keep_tags(store: Store, settings: Settings, now: datetime) -> None:
    """Sees to it that there are free practice tags, in the pool of practice and in no other."""
    key = (settings.code,)
    (free,) = store.db.execute(
        "SELECT count(*) FROM tag WHERE programme = ? AND practice = 1 AND status = 'free'", key
    ).fetchone()
    if free >= TAGS_AHEAD:
        return
    have = {row[0] for row in store.db.execute("SELECT code FROM tag WHERE programme = ? AND practice = 1", key)}
    width, first = settings.tags.width, settings.tags.first or _FIRST_TAG
    room = 10 ** (width - 1) - first
    new = [code for code in block(first, min(len(have) + 2 * TAGS_AHEAD, room), width) if code not in have]
    if not new:
        raise DrillError(f"all practice tags of programme {settings.code} are used up: begin a new record with --db")
    data = {"programme": settings.code, "practice": 1, "codes": new[: 2 * TAGS_AHEAD]}
    store.append(DESK, "desk", 0, now, [Entry("tags_loaded", "", data)])


def free_tags(store: Store, programme: str, most: int) -> list[str]:
    """The lowest free practice tags."""
    sql = "SELECT code FROM tag WHERE programme = ? AND practice = 1 AND status = 'free' ORDER BY code LIMIT ?"
    return [row[0] for row in store.db.execute(sql, (programme, most))]


def let_go(exchange: Exchange, seat: SeatRow, now: datetime) -> None:
    """Closes a round's visit and stops its clocks: nothing of it asks or alarms anybody later."""
    store = exchange.store
    for (kind,) in store.db.execute("SELECT kind FROM timer WHERE seat = ? AND fired_turn IS NULL", (seat.id,)):
        store.set_timer(seat.id, kind, None)
    (status,) = store.db.execute("SELECT status FROM visit WHERE uid = ?", (seat.visit,)).fetchone()
    if status == "open":
        (kept,) = store.db.execute(
            "SELECT count(*) FROM sample WHERE visit = ? AND status = 'kept' AND kind = 'larva'", (seat.visit,)
        ).fetchone()
        turn = store.add_turn(gateway=DRILL, seat=seat.id, received_at=stamp(now), raw="end of a round")
        store.append(seat.visit, seat.letter, turn, now, [Entry("visit_closed", "", {"kept": kept, "why": "drill"})])
        store.end_turn(turn, seat.id, seat.visit)


def leave(store: Store, seat: SeatRow) -> None:
    """The phone that holds a seat has none from now on."""
    store.db.execute("UPDATE phone SET current_seat = NULL WHERE current_seat = ?", (seat.id,))


def say(exchange: Exchange, seat: SeatRow, words: str, now: datetime) -> list[TextOut]:
    """A text to the pair beside its talk."""
    turn = exchange.store.add_turn(gateway=DRILL, seat=seat.id, received_at=stamp(now), raw=words)
    out = exchange.tell_seat(seat, words, turn, now)
    exchange.store.end_turn(turn, seat.id, None)
    return [out] if out else []


def ask(exchange: Exchange, seat: SeatRow, surprise: Surprise, lead: str, now: datetime) -> list[TextOut]:
    """Puts a surprise's own question on top of the pair's talk; its answer goes on where the talk was."""

    def change(turn: Turn) -> None:
        enter(turn, QUESTIONS)
        turn.state.top.go(surprise.step)
        turn.lead(lead)
        turn.ask_again()

    return exchange.change(seat.id, DRILL, f"surprise {surprise.name}", change, now)


def pause(exchange: Exchange, seat: SeatRow, paused: bool, now: datetime) -> list[TextOut]:
    """Pauses a pair's talk as PAUSE does, or goes on; a pair at its danger questions is left to them."""

    def change(turn: Turn) -> None:
        if turn.state.top.flow == "danger":
            return
        turn.state.paused = paused
        turn.log("paused" if paused else "resumed")
        turn.lead(turn.phrase("drill.paused" if paused else "drill.resumed"))
        if not paused:
            turn.ask_again()

    return exchange.change(seat.id, DRILL, "paused" if paused else "resumed", change, now)


def can_be_asked(exchange: Exchange, seat: SeatRow, number: str, now: datetime) -> bool:
    """True if nothing else is going on in the pair's talk: no called flow, no pause, no question of its own."""
    turn = exchange.draft(number, now)
    return turn is not None and len(turn.state.frames) == 1 and not turn.state.paused and turn.state.ask is None
