"""One way through for every text: text in, decide, one transaction, texts out. No gateway does more than carry them.

When a text arrives, in this order: the transaction begins; a message id seen before is answered from the record; the
text is kept; carriers' words; a stopped phone is left in silence; too many texts at once; a coordinator's words; JOIN;
a digest's text; a phone without a seat begins a visit, or at a door is told how to join; the seat's talk decides;
entries, projections, state, timers and texts out are written; the transaction commits.
"""

import sqlite3
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from guide.errors import WadelineError
from guide.gateway import relay
from guide.gateway.digests import looks_like_digest, take_digest
from guide.gateway.joining import join, new_visit, opens
from guide.gateway.talks import Talks
from guide.record.log import Entry
from guide.record.look import RecordSnapshot
from guide.record.store import PhoneRow, SeatRow, TextOut, stamp
from guide.talk.decide import decide
from guide.talk.decision import Say
from guide.talk.front import CarrierWord, Join, carrier_word, join_of
from guide.talk.state import SeatState
from guide.talk.timers import fire, latest
from guide.talk.turn import Turn
from guide.talk.words import is_danger

if TYPE_CHECKING:
    from guide.gateway.door import Door

_LATE = timedelta(minutes=2)


class OtherWordsError(WadelineError):
    """A message id came again with other words."""


class TextIn(NamedTuple):
    """A text as a gateway got it. ``ext_id`` is the gateway's own id, ``sent_at`` when the phone says it was sent.

    ``gateway`` is ``line`` where a given time moves the clock (the pipe), ``number`` where texts come over a number.
    """

    number: str
    text: str
    ext_id: str | None = None
    sent_at: str | None = None
    gateway: str = "line"


class Exchange(Talks):
    """Takes texts in and gives texts out, over one record."""

    # Texts

    def receive(self, text: TextIn, now: datetime) -> list[TextOut]:
        """Works one text in a transaction of its own; returns the texts to hand over, the sender's and others'."""
        with self.store.transaction():
            return self.work(text, now)

    def work_all(self, texts: Sequence[TextIn], now: datetime) -> list[list[TextOut] | Exception]:
        """Works several texts in one transaction, in order, each whole or not at all: what each led to, or its error.

        Nothing may be sent before this returns. An error of the database itself (no space, locked) is raised, and
        leaves nothing of any text.
        """
        with self.store.transaction():
            return [self._work_one(text, now) for text in texts]

    def _work_one(self, text: TextIn, now: datetime) -> list[TextOut] | Exception:
        db = self.store.db
        db.execute("SAVEPOINT one")
        try:
            texts = self.work(text, now)
        except sqlite3.OperationalError:
            raise
        except Exception as error:
            db.execute("ROLLBACK TO one")
            db.execute("RELEASE one")
            return error
        db.execute("RELEASE one")
        return texts

    def keep_unworked(self, text: TextIn, now: datetime) -> list[TextOut]:
        """Keeps a text that a fault of this program keeps from being worked, and says so to its phone."""
        with self.store.transaction():
            phone = self.store.phone(text.number)
            turn = self._add_turn(phone, text, now)
            self.store.end_turn(turn, phone.seat, None)
            return [] if phone.stopped_at else [self.plain_text(phone, self.words_of("door.fault"), turn, now)]

    def work(self, text: TextIn, now: datetime) -> list[TextOut]:
        """Works one text inside the caller's transaction; raises OtherWordsError if its id came with other words."""
        phone = self.store.phone(text.number)
        seen = self._seen_before(phone, text, now)
        if seen is not None:
            return self.store.texts("turn = ? AND outgoing.phone = ?", (seen, phone.id))
        return self._route(phone, text.text, self._add_turn(phone, text, now), now)

    def _add_turn(self, phone: PhoneRow, text: TextIn, now: datetime) -> int:
        return self.store.add_turn(
            gateway=text.gateway,
            ext_id=text.ext_id,
            phone=phone.id,
            sent_at=text.sent_at,
            received_at=stamp(now),
            raw=text.text,
        )

    def _seen_before(self, phone: PhoneRow, text: TextIn, now: datetime) -> int | None:
        """The turn that this same text already led to."""
        if text.ext_id is None:
            if self.door is None:
                return None
            within = timedelta(seconds=self.door.rules.same_within_s)
            return self.store.same_turn(text.gateway, phone.id, text.text, now, within)
        seen = self.store.turn_with(text.gateway, phone.id, text.ext_id)
        if seen is None:
            return None
        if seen[1] != text.text:
            raise OtherWordsError(f"message id {text.ext_id!r} of {text.number} came before with other words")
        return seen[0]

    def _route(self, phone: PhoneRow, text: str, turn: int, now: datetime) -> list[TextOut]:
        word = carrier_word(text)
        if word in (CarrierWord.STOP, CarrierWord.START):
            return self._carrier(phone, word, turn, now)
        if phone.stopped_at:
            self.store.end_turn(turn, phone.seat, None)
            return []
        if self.door is not None and not self._lets_in(self.door, phone, text, now):
            return self._too_fast(self.door, phone, turn, now)
        if word is not None:
            return self._carrier(phone, word, turn, now)
        joined = join_of(text)
        return self._greeted(phone, joined, turn, now) + self._worked(phone, text, joined, turn, now)

    def _worked(self, phone: PhoneRow, text: str, joined: Join | None, turn: int, now: datetime) -> list[TextOut]:
        if phone.coordinates and joined is None and (phone.seat is None or relay.to_of(text) is not None):
            return relay.from_coordinator(self, phone, text, turn, now)
        if joined is not None and not self._is_stranger(phone, joined):
            return join(self, phone, joined, turn, now)
        if looks_like_digest(text) and (phone.seat is not None or self.door is None):
            return self._digest(phone, text, turn, now)
        if phone.seat is None:
            return self._stranger(phone, text, turn, now)
        return self._talk_on(phone, phone.seat, text, turn, now)

    def _is_stranger(self, phone: PhoneRow, joined: Join) -> bool:
        """Whether a phone at the door has a word that nobody knows: it is told how to join, as for any other text."""
        return self.door is not None and phone.seat is None and bool(joined.word) and not opens(self, joined.word)

    def _talk_on(self, phone: PhoneRow, seat_id: int, text: str, turn: int, now: datetime) -> list[TextOut]:
        seat = self.store.seat(seat_id)
        decision = decide(*self.at(seat, phone, turn, now), text, now)
        texts = self.apply(seat, decision, turn, now)
        if not decision.new_visit:
            return texts
        own = self.talk(seat.book_hash).book
        practises = own.settings.practice and not self.book.settings.practice
        return texts + new_visit(self, phone, text, turn, now, seat.group_code, own if practises else None)

    # The door

    def _lets_in(self, door: "Door", phone: PhoneRow, text: str, now: datetime) -> bool:
        known = phone.coordinates or phone.seat is not None
        return door.lets_in(phone.number, known, now) or (known and is_danger(text))

    def _too_fast(self, door: "Door", phone: PhoneRow, turn: int, now: datetime) -> list[TextOut]:
        """Kept, not worked: a flood from one phone must not hold up the others."""
        self.store.end_turn(turn, phone.seat, None)
        if phone.seat is None or not door.says_slow(phone.number):
            return []
        return [self.plain_text(phone, self.words_of("door.slow"), turn, now)]

    def _stranger(self, phone: PhoneRow, text: str, turn: int, now: datetime) -> list[TextOut]:
        """A phone without a seat begins a visit; at a door it is told how to join, once a day."""
        if self.door is None:
            return new_visit(self, phone, text, turn, now)
        self.store.end_turn(turn, None, None)
        every = timedelta(hours=self.door.rules.told_every_h)
        if phone.told_at and abs(now - datetime.fromisoformat(phone.told_at)) < every:
            return []
        self.store.told(phone.id, now)
        return [self.plain_text(phone, self.words_of("door.unknown"), turn, now)]

    def _greeted(self, phone: PhoneRow, joined: Join | None, turn: int, now: datetime) -> list[TextOut]:
        """The first answer to a phone that takes a seat says who texts, what it costs and how to end it."""
        if self.door is None or phone.consent or not (phone.seat is not None or (joined and opens(self, joined.word))):
            return []
        self.store.greeted(phone.id, now)
        return [self.plain_text(phone, self.words_of("door.greeting"), turn, now)]

    def _digest(self, phone: PhoneRow, text: str, turn: int, now: datetime) -> list[TextOut]:
        name, blanks = take_digest(self.store, text, turn)
        self.store.end_turn(turn, phone.seat, None)
        return [self.plain_text(phone, self.words_of(name, **blanks), turn, now)]

    # Carriers' words

    def _carrier(self, phone: PhoneRow, word: CarrierWord, turn: int, now: datetime) -> list[TextOut]:
        if phone.stopped_at and word is not CarrierWord.START:
            self.store.end_turn(turn, phone.seat, None)
            return []
        if word is CarrierWord.HELP:
            return self.plain(phone, "help", turn, now)
        changed = (word is CarrierWord.STOP) != bool(phone.stopped_at)
        stops_wet = word is CarrierWord.STOP and phone.seat is not None and self._is_in_water(phone.seat)
        texts = self.plain(phone, "stop_wet" if stops_wet else word.name.lower(), turn, now)
        if changed:
            self.store.set_stopped(phone.id, now if word is CarrierWord.STOP else None)
        if phone.seat is not None:
            seat = self.store.seat(phone.seat)
            if changed:
                kind = "stopped" if word is CarrierWord.STOP else "started"
                self.store.append(seat.visit, seat.letter, turn, now, [Entry(kind)])
            texts += self._after_carrier(seat, word, turn, now)
            self.store.end_turn(turn, seat.id, seat.visit)
        return texts

    def _is_in_water(self, seat_id: int) -> bool:
        """Whether a seat's people may be in the water: from the safety questions until all are out."""
        facts = SeatState.from_json(self.store.seat(seat_id).state).base.facts
        return "safety" in facts and "dry" not in facts

    def _after_carrier(self, seat: SeatRow, word: CarrierWord, turn: int, now: datetime) -> list[TextOut]:
        """STOP is told to the visit's other seats; START shows where the talk stands."""
        seen = self.seen(seat, turn, now, prompt=word is CarrierWord.START)
        says = list(seen.says)
        if word is CarrierWord.STOP:
            news = self.phrase(seat, "stop_news", turn, now)
            snapshot = RecordSnapshot(self.store, seat.visit, seat.id, None)
            says = [Say(news, other.letter) for other in snapshot.other_seats()]
        texts = [out for say in says if (out := self.say(seat, say, seen, turn, now))]
        return texts + self.relayed(seat, seen.state, [Entry(word.name.lower())], turn, now)

    # Timers

    def next_due(self) -> datetime | None:
        """When the next timer is due."""
        timer = self.store.next_timer()
        return timer[3] if timer else None

    def fire_next(self, until: datetime, given_time: bool = True) -> list[TextOut] | None:
        """Fires the first timer due by ``until``; None if there is none.

        Where time is given with the texts, it fires at its due time. Where time is real, it fires now, and says that
        it is late if the program was down when it was due.
        """
        timer = self.store.next_timer()
        if timer is None or timer[3] > until:
            return None
        timer_id, seat_id, kind, due = timer
        now = due if given_time else until
        with self.store.transaction():
            if self.store.next_timer() != timer:
                return []  # another process on this record was first
            seat = self.store.seat(seat_id)
            holder = self.store.holder(seat_id)
            turn = self.store.add_turn(gateway="timer", seat=seat_id, received_at=stamp(now), raw=kind)
            self.store.timer_fired(timer_id, turn)
            talk, state, snapshot, facts = self.at(seat, holder, turn, now)
            decision = fire(talk, state, snapshot, facts, kind, now, now - due)
            if now - due > _LATE and decision.says:
                zone = Turn(talk, state, snapshot, facts, now).zone
                today = due.astimezone(zone).date() == now.astimezone(zone).date()
                late = self.words_of("late", due=due.astimezone(zone).strftime("%H:%M" if today else "%H:%M on %d %b"))
                says = tuple(say._replace(text=f"{late} {say.text}") for say in decision.says)
                decision = decision._replace(says=says)
            return self.apply(seat, decision, turn, now)

    def hold_timers(self, now: datetime) -> int:
        """Brings timers that are further off than all their minutes back to these; returns how many.

        Only a clock that was set back leaves such a timer, whether or not this ran then: half an hour without a text
        would else last as long as the jump.
        """
        sql = "SELECT timer.seat, kind, due_at FROM timer WHERE fired_turn IS NULL AND due_at > ?"
        far = []
        for seat, kind, due in self.store.db.execute(sql, (stamp(now),)).fetchall():
            at_most = latest(kind, self.talk(self.store.seat(seat).book_hash).book.settings, now)
            if at_most is not None and datetime.fromisoformat(due) > at_most:
                far.append((seat, kind, at_most))
        if far:
            with self.store.transaction():
                for seat, kind, at_most in far:
                    self.store.set_timer(seat, kind, at_most)
        return len(far)
