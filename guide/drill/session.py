"""A drill session going on: rounds begun and ended, specimens shown, surprises thrown, answers judged.

``look`` does all that is due, in one transaction. It watches the record and not the phones, so pairs may text through
any gateway of any process, and what was looked at twice is written once. All facts are entries of the session's stream.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from guide.drill import seats
from guide.drill.book import drill_book
from guide.drill.facts import step_now, texts_of
from guide.drill.judge import MISSED
from guide.drill.judging import answered, judge_open, judge_texts
from guide.drill.model import Drill, DrillError
from guide.drill.specimens import Specimen
from guide.drill.throwing import throw_due
from guide.drill.view import PairView, RoundView, SessionView, read_session, streams
from guide.flow.load import load_book
from guide.flow.model import FlowBook
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange
from guide.record.books import keep_book
from guide.record.log import Entry
from guide.record.store import DRILL, SeatRow, Store, TextOut, stamp
from guide.talk.blanks import REGISTRY
from guide.talk.turn import Talk

PAIRS = "ABCDEFGHIJKL"
"""A boat house holds no more pairs than that."""

SKIPPED_CLOCKS = ("thunder", "contact")
"""Waits that a drill moves on, saying so: nobody sits half an hour in a classroom."""

STALE = timedelta(hours=12)

PACKED = "close.end"
"""Where a pair stands that has packed up: there is nothing left to play in its round."""


@dataclass(frozen=True)
class Wanted:
    """What a session is begun with. ``in_turn``: the pairs share one laptop, else they text from phones."""

    drill: Drill
    pairs: int = 1
    rounds: int = 0
    seed: int = 0
    group: str = ""
    in_turn: bool = True
    simulated: bool = False


def drill_exchange(store: Store, book: FlowBook, drill: Drill, seed: int, now: datetime) -> Exchange:
    """An exchange whose new visits are practice visits of this drill; the programme in the record is left as it is."""
    own = drill_book(book, drill)
    exchange = Exchange(store, own, lambda text: _talk(own, text), f"{store.origin}/{seed}/{now.isoformat()}")
    with store.transaction():
        keep_book(store.db, own)
    return exchange


def _talk(own: FlowBook, text: str) -> Talk:
    return Talk.of(own if text == own.text else load_book(text, REGISTRY, KINDS), REGISTRY)


class Session:
    """One session over a record; several processes may hold the same one."""

    def __init__(self, exchange: Exchange, drill: Drill, stream: str) -> None:
        self.exchange, self.store, self.drill, self.stream = exchange, exchange.store, drill, stream
        self.book = exchange.book
        self._seen: tuple[int, int] = (-1, -1)
        self.view = read_session(self.store.db, stream)

    @classmethod
    def begin(cls, store: Store, book: FlowBook, wanted: Wanted, now: datetime) -> "Session":
        """Begins a session; pairs with phones wait to join, those at a laptop begin their rounds by ``begin_round``."""
        if not 1 <= wanted.pairs <= len(PAIRS):
            raise DrillError(f"a drill takes 1 to {len(PAIRS)} pairs, not {wanted.pairs}")
        exchange = drill_exchange(store, book, wanted.drill, wanted.seed, now)
        stream = f"drill-{store.origin}-{len(streams(store.db)) + 1}"
        data = {
            "drill": wanted.drill.name,
            "seed": wanted.seed,
            "rounds": wanted.rounds or wanted.drill.rounds,
            "group": wanted.group,
            "simulated": wanted.simulated,
            "in_turn": wanted.in_turn,
            "pairs": list(PAIRS[: wanted.pairs]),
        }
        with store.transaction():
            store.append(stream, "trainer", 0, now, [Entry("drill_begun", "", data)])
        session = cls(exchange, wanted.drill, stream)
        if not wanted.in_turn:
            for pair in session.view.pairs:
                session.begin_round(pair, now)
        return session

    # Entries

    def note(self, kind: str, data: dict[str, Any], now: datetime, words: str | None = None) -> None:
        """Writes an entry of the session, as a turn of its own, and reads the session anew."""
        turn = self.store.add_turn(gateway=DRILL, received_at=stamp(now), raw=kind)
        self.store.append(self.stream, data.get("pair", "trainer"), turn, now, [Entry(kind, "", data, words=words)])
        self.store.end_turn(turn, None, self.stream)
        self.read()

    def read(self) -> SessionView:
        """The session as it stands in the record."""
        self.view = read_session(self.store.db, self.stream)
        return self.view

    def seat(self, one: RoundView) -> SeatRow:
        """The seat of a round."""
        return self.store.seat(self.store.seat_id(one.visit, "A"))

    def number(self, pair: str) -> str:
        """What stands for a pair's phone while it shares the laptop."""
        return f"{self.stream}-{pair}"

    def word(self, pair: str) -> str:
        """The word a pair's phone joins with."""
        rounds = self.view.pairs[pair].rounds
        return self.seat(rounds[-1]).word if rounds else ""

    # Rounds

    def begin_round(self, pair: str, now: datetime) -> list[TextOut]:
        """Begins a pair's next round in a new practice visit, on whatever holds its seat now."""
        with self.store.transaction():
            return self._begin_round(self.read().pairs[pair], now)

    def _begin_round(self, pair: PairView, now: datetime) -> list[TextOut]:
        holder, word, waits = None, None, False
        if pair.rounds:
            before = self.seat(pair.rounds[-1])
            holder, word = self.store.holder(before.id), before.word
        elif not self.view.in_turn:
            waits = True
        number = holder.number if holder else self.number(pair.name)
        seat, texts = seats.open_visit(self.exchange, self.drill, number, word, now)
        (after,) = self.store.db.execute("SELECT max(id) FROM turn").fetchone()
        data = {"pair": pair.name, "round": len(pair.rounds) + 1, "visit": seat.visit, "after": after}
        self.note("round_begun", data, now)
        if waits or (holder is None and not self.view.in_turn):
            seats.leave(self.store, seat)
            self.store.db.execute("DELETE FROM outgoing WHERE seat = ?", (seat.id,))
            return []
        return texts

    def end_round(self, pair: str, why: str, now: datetime) -> list[TextOut]:
        """Ends a pair's round; with the last of all rounds the session is over."""
        with self.store.transaction():
            one = self.read().pairs[pair].now()
            return self._end_round(one, why, now) if one is not None else []

    def _end_round(self, one: RoundView, why: str, now: datetime) -> list[TextOut]:
        seat, texts = self.seat(one), []
        thrown = one.open_surprise()
        if thrown is not None:
            texts += answered(self, one, thrown, MISSED, thrown.after, now)
        if why != "done":
            judge_open(self, one, now)
        seats.let_go(self.exchange, seat, now)
        self.note("round_ended", {"pair": one.pair, "round": one.number, "why": why}, now)
        if one.number < self.view.rounds:
            if not self.view.in_turn:
                said = self.phrase("next", count=str(one.number + 1), tally=str(self.view.rounds))
                texts += seats.say(self.exchange, seat, said, now)
                texts += self._begin_round(self.view.pairs[one.pair], now)
            return texts
        if not self.view.in_turn:  # a laptop of the drill's own is nothing else afterwards
            texts += seats.say(self.exchange, seat, self.phrase("over"), now)
        seats.leave(self.store, seat)
        if all(len(p.rounds) == self.view.rounds and p.now() is None for p in self.view.pairs.values()):
            self.note("drill_ended", {}, now)
        return texts

    def end(self, now: datetime) -> list[TextOut]:
        """Ends the session, whatever is going on in it."""
        texts: list[TextOut] = []
        with self.store.transaction():
            for pair in self.read().pairs.values():
                if pair.rounds:
                    seat = self.seat(pair.rounds[-1])
                    if (one := pair.now()) is not None:
                        judge_open(self, one, now)
                        seats.let_go(self.exchange, seat, now)
                        data = {"pair": pair.name, "round": pair.rounds[-1].number, "why": "ended"}
                        self.note("round_ended", data, now)
                        texts += seats.say(self.exchange, seat, self.phrase("over"), now)
                    seats.leave(self.store, seat)
            if not self.view.ended:
                self.note("drill_ended", {}, now)
        return texts

    def phrase(self, name: str, **blanks: str) -> str:
        """A phrase of the drill's own."""
        return self.exchange.words_of(f"drill.{name}", **blanks)

    # Looking

    def look(self, now: datetime) -> list[TextOut]:
        """Judges what came since, ends rounds, throws what is due; returns the texts that led to."""
        db = self.store.db
        (turns,) = db.execute("SELECT coalesce(max(id), 0) FROM turn").fetchone()
        (texts,) = db.execute("SELECT coalesce(max(id), 0) FROM outgoing").fetchone()
        if (turns, texts) == self._seen:
            return []
        self._seen = (turns, texts)
        said: list[TextOut] = []
        with self.store.transaction():
            for name in self.read().pairs:
                one = self.view.pairs[name].now()
                if one is not None and self._bring_back(one, now):
                    said += self._end_round(one, "left for a new visit", now)
                elif one is not None and self.store.holder(self.seat(one).id) is not None:
                    said += self._look(one, now)
        return said

    def _bring_back(self, one: RoundView, now: datetime) -> bool:
        """True if the pair began a visit of its own out of the drill's: that one is closed, its phone is here again."""
        seat = self.seat(one)
        row = self.store.db.execute("SELECT current_seat FROM phone WHERE id = ?", (seat.phone,)).fetchone()
        if row is None or row[0] in (None, seat.id):
            return False
        other = self.store.seat(row[0])
        if other.book_hash != seat.book_hash or seat.phone is None:
            return False
        seats.let_go(self.exchange, other, now)
        self.store.hold(seat.phone, seat.id)
        return True

    def _look(self, one: RoundView, now: datetime) -> list[TextOut]:
        seat = self.seat(one)
        said: list[TextOut] = []
        if not self.view.in_turn and not self.view.pairs[one.pair].joined:
            self.note("pair_joined", {"pair": one.pair}, now)
            said += seats.say(self.exchange, seat, self.phrase("joined", said=one.pair), now)
        texts = list(texts_of(self.store, seat, one.after))
        said += judge_texts(self, one, texts, now)
        one = self.again(one)
        step = step_now(self.store, seat)
        if self._is_over(one, step):
            whole = bool(self.drill.end) or one.dealt_with() >= self.drill.larvae
            return said + self._end_round(one, "done" if whole else "packed up", now)
        said += self._move_clock(seat, now)
        if not self.view.paused:
            said += throw_due(self, one, seat, step, now)
        return said

    def again(self, one: RoundView) -> RoundView:
        """A round as it stands after more entries."""
        return self.view.pairs[one.pair].rounds[one.number - 1]

    def _is_over(self, one: RoundView, step: str) -> bool:
        """At the step that ends a round, surprise or not; after the last specimen once a surprise is answered; or when
        the pair has packed up before."""
        if self.drill.end:
            return step == self.drill.end
        if step == PACKED:
            return True
        return one.dealt_with() >= self.drill.larvae and one.open_surprise() is None

    def _move_clock(self, seat: SeatRow, now: datetime) -> list[TextOut]:
        moved = False
        for kind, due in self.store.db.execute(
            "SELECT kind, due_at FROM timer WHERE seat = ? AND fired_turn IS NULL", (seat.id,)
        ).fetchall():
            if kind in SKIPPED_CLOCKS and datetime.fromisoformat(due) > now + timedelta(seconds=30):
                self.store.set_timer(seat.id, kind, now)
                moved = True
        return seats.say(self.exchange, seat, self.phrase("clock"), now) if moved else []

    # Throwing

    def ask_for(self, pair: str, name: str, now: datetime) -> None:
        """The trainer wants a surprise thrown: now, or at the pair's next step that fits."""
        with self.store.transaction():
            self.note("surprise_asked", {"pair": pair, "name": name}, now)
        self._seen = (-1, -1)

    def hint(self, pair: str, hint: str, now: datetime) -> list[TextOut]:
        """A few words of the trainer to a pair."""
        with self.store.transaction():
            one = self.read().pairs[pair].now()
            if one is None:
                return []
            self.note("hint", {"pair": pair}, now, words=hint)
            return seats.say(self.exchange, self.seat(one), f"{self.phrase('hint')} {hint}", now)

    def pause(self, paused: bool, now: datetime) -> list[TextOut]:
        """Pauses every pair, or lets all go on."""
        texts: list[TextOut] = []
        with self.store.transaction():
            self.note("drill_paused" if paused else "drill_resumed", {}, now)
            for pair in self.view.pairs.values():
                one = pair.now()
                if one is not None and self.store.holder(self.seat(one).id) is not None:
                    texts += seats.pause(self.exchange, self.seat(one), paused, now)
        return texts

    def specimen(self, pair: str) -> Specimen | None:
        """What lies on a pair's spoon now."""
        one = self.view.pairs[pair].now()
        shown = one.in_hand() if one else None
        if shown is None:
            return None
        data = shown.line.data
        return Specimen(data["length_mm"], data["family"], data["head_mm"], data["slip"])


def end_stale(store: Store, book: FlowBook, drills: dict[str, Drill], now: datetime) -> None:
    """Ends sessions that nobody ended, so that no phone is left in practice when it comes to the water."""
    for stream in streams(store.db):
        view = read_session(store.db, stream)
        if view.ended or view.lines[-1].at + STALE > now or view.drill not in drills:
            continue
        Session(drill_exchange(store, book, drills[view.drill], view.seed, now), drills[view.drill], stream).end(now)
