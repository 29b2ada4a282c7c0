"""One way through for every text: text in, decide, one transaction, texts out. No gateway does more than carry them.

When a text arrives, in this order: the transaction begins; a message id seen before is answered from the record; the
text is kept; carriers' words; a stopped phone is left in silence; JOIN; a phone without a seat begins a visit; the
seat's talk decides; entries, projections, state, timers and texts out are written; the transaction commits.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from random import Random
from zoneinfo import ZoneInfo

from guide.errors import WadelineError
from guide.flow.model import FlowBook
from guide.record.log import Entry
from guide.record.look import RecordSnapshot
from guide.record.store import PhoneRow, SeatRow, Store, TextOut, stamp
from guide.talk.decide import begin, begin_joined, decide, finish
from guide.talk.decision import Decision, Say
from guide.talk.front import CarrierWord, Join, carrier_word, join_of
from guide.talk.sms import segments
from guide.talk.snapshot import SeatFacts
from guide.talk.state import SeatState
from guide.talk.timers import fire
from guide.talk.turn import Talk, Turn

LEADER_LETTER = "L"
_PAIR_LETTERS = "ABCDEFGHIJKMNOPQRSTUVWXYZ"
_CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"


class OtherWordsError(WadelineError):
    """A message id came again with other words."""


@dataclass(frozen=True)
class TextIn:
    """A text as a gateway got it. ``ext_id`` is the gateway's own id, ``sent_at`` when the phone says it was sent."""

    number: str
    text: str
    ext_id: str | None = None
    sent_at: str | None = None


class Exchange:
    """Takes texts in and gives texts out, over one record.

    ``load`` makes a stored book ready to talk; ``book`` is the one new visits begin with; ``random`` gives words and
    codes; ``lossy`` is True for a channel that loses texts.
    """

    def __init__(
        self, store: Store, book: FlowBook, load: Callable[[str], Talk], random: Random, lossy: bool = False
    ) -> None:
        self.store, self.book, self.random, self.lossy = store, book, random, lossy
        self._load = load
        self._talks: dict[str, Talk] = {}

    def set_up(self, now: datetime) -> None:
        """Keeps the book's text and the programme's tags in the record, once."""
        db, settings = self.store.db, self.book.settings
        if db.execute("SELECT 1 FROM flow_book WHERE hash = ?", (self.book.hash,)).fetchone():
            return
        from guide.record.set_up import keep_programme

        with self.store.transaction():
            db.execute("INSERT OR IGNORE INTO flow_book VALUES (?, ?)", (self.book.hash, self.book.text))
            keep_programme(self.store, settings, now)

    # Texts

    def receive(self, text: TextIn, now: datetime) -> list[TextOut]:
        """Works one text in a transaction of its own; returns the texts to hand over, the sender's and others'."""
        with self.store.transaction():
            return self.work(text, now)

    def work(self, text: TextIn, now: datetime) -> list[TextOut]:
        """Works one text inside the caller's transaction; raises OtherWordsError if its id came with other words."""
        phone = self.store.phone(text.number)
        if text.ext_id is not None and (seen := self.store.turn_with("line", phone.id, text.ext_id)):
            if seen[1] != text.text:
                raise OtherWordsError(f"message id {text.ext_id!r} of {text.number} came before with other words")
            return self.store.texts("turn = ? AND outgoing.phone = ?", (seen[0], phone.id))
        turn = self.store.add_turn(
            gateway="line",
            ext_id=text.ext_id,
            phone=phone.id,
            sent_at=text.sent_at,
            received_at=stamp(now),
            raw=text.text,
        )
        return self._route(phone, text.text, turn, now)

    def _route(self, phone: PhoneRow, text: str, turn: int, now: datetime) -> list[TextOut]:
        word = carrier_word(text)
        if word is not None:
            return self._carrier(phone, word, turn, now)
        if phone.stopped_at:
            self.store.end_turn(turn, phone.seat, None)
            return []
        joined = join_of(text)
        if joined is not None:
            return self._join(phone, joined, turn, now)
        if phone.seat is None:
            return self._new_visit(phone, text, turn, now)
        seat = self.store.seat(phone.seat)
        decision = decide(*self._at(seat, phone, turn, now), text, now)
        texts = self._apply(seat, decision, turn, now)
        return texts + self._new_visit(phone, text, turn, now) if decision.new_visit else texts

    def _at(
        self, seat: SeatRow, phone: PhoneRow | None, turn: int, now: datetime
    ) -> tuple[Talk, SeatState, RecordSnapshot, SeatFacts]:
        snapshot = RecordSnapshot(self.store, seat.visit, seat.id, phone.id if phone else None)
        facts = SeatFacts(seat.letter, seat.word, seat.role, self.lossy, turn, now)
        return self._talk(seat.book_hash), SeatState.from_json(seat.state), snapshot, facts

    def _talk(self, book_hash: str) -> Talk:
        if book_hash not in self._talks:
            (text,) = self.store.db.execute("SELECT toml FROM flow_book WHERE hash = ?", (book_hash,)).fetchone()
            self._talks[book_hash] = self._load(text)
        return self._talks[book_hash]

    def _apply(self, seat: SeatRow, decision: Decision, turn: int, now: datetime) -> list[TextOut]:
        """Writes all that follows from a text, and returns the texts out."""
        store = self.store
        store.append(seat.visit, seat.letter, turn, now, decision.entries)
        store.save_state(seat.id, decision.state.to_json(), now)
        for change in decision.timers:
            store.set_timer(seat.id, change.kind, change.due)
        texts = [out for say in decision.says if (out := self._say(seat, say, decision, turn, now))]
        store.end_turn(turn, seat.id, seat.visit)
        return texts

    def _say(self, seat: SeatRow, say: Say, decision: Decision, turn: int, now: datetime) -> TextOut | None:
        if say.to is None:
            step, expects, options = decision.state.top.state, decision.expects, decision.options
            seat_id = seat.id
        else:
            seat_id = self.store.seat_id(seat.visit, say.to)
            other = self.store.seat(seat_id)
            seen = self._seen(other, turn, now)
            step, expects, options = seen.state.top.state, seen.expects, seen.options
        holder = self.store.holder(seat_id)
        if holder is None or holder.stopped_at:
            return None
        out = TextOut(0, turn, holder.number, say.text, segments(say.text), step, expects, options)
        return self.store.add_text(holder.id, seat_id, out, now)

    def _seen(self, seat: SeatRow, turn: int, now: datetime, prompt: bool = False) -> Decision:
        """What a seat is being asked, without a text from it."""
        draft = Turn(*self._at(seat, self.store.holder(seat.id), turn, now), now)
        draft.prompting = prompt
        return finish(draft)

    def draft(self, number: str, now: datetime) -> Turn | None:
        """A look at a phone's talk as it stands; None if the phone has no seat. Nothing is written."""
        row = self.store.db.execute("SELECT current_seat FROM phone WHERE number = ?", (number,)).fetchone()
        if row is None or row[0] is None:
            return None
        seat = self.store.seat(row[0])
        return Turn(*self._at(seat, self.store.holder(seat.id), 0, now), now)

    # A phone without a seat, and seats that change phones

    def _new_visit(self, phone: PhoneRow, text: str, turn: int, now: datetime) -> list[TextOut]:
        settings, code8 = self.book.settings, self._free_code()
        visit = f"{self.store.origin}-{code8.lower()}"
        zone = ZoneInfo(settings.sites[0].zone)
        opened = {
            "code8": code8,
            "programme": settings.code,
            "book_hash": self.book.hash,
            "local_date": now.astimezone(zone).date().isoformat(),
            "practice": int(settings.practice),
            "target": settings.target,
            "word": self._free_word(),
        }
        self.store.append(visit, "A", turn, now, [Entry("visit_opened", "", opened)])
        seat_id = self.store.add_seat(visit, "A", self._free_word())
        self.store.hold(phone.id, seat_id)
        seat = self.store.seat(seat_id)
        snapshot = RecordSnapshot(self.store, visit, seat_id, phone.id)
        facts = SeatFacts(seat.letter, seat.word, seat.role, self.lossy, turn, now)
        return self._apply(seat, begin(self._talk(self.book.hash), snapshot, facts, text, now), turn, now)

    def _join_visit(self, phone: PhoneRow, visit: str, leader: bool, turn: int, now: datetime) -> list[TextOut]:
        """A new seat of a visit that is going on: one more pair, or the leader."""
        letters = self.store.seat_letters(visit)
        letter = LEADER_LETTER if leader else next((x for x in _PAIR_LETTERS if x not in letters), "")
        if leader and letter in letters:
            return self._join(phone, Join(self.store.seat(self.store.seat_id(visit, letter)).word), turn, now)
        if not letter:
            return self._plain(phone, "join.full", turn, now)
        role = "leader" if leader else "pair"
        seat_id = self.store.add_seat(visit, letter, self._free_word(), role)
        self.store.append(visit, letter, turn, now, [Entry("seat_opened", "", {"role": role})])
        self.store.hold(phone.id, seat_id)
        seat = self.store.seat(seat_id)
        snapshot = RecordSnapshot(self.store, visit, seat_id, phone.id)
        facts = SeatFacts(seat.letter, seat.word, seat.role, self.lossy, turn, now)
        return self._apply(seat, begin_joined(self._talk(seat.book_hash), snapshot, facts, now), turn, now)

    def _free_code(self) -> str:
        while True:
            code = "".join(self.random.choice(_CODE_LETTERS) for _ in range(8))
            if not self.store.db.execute("SELECT 1 FROM visit WHERE code8 = ?", (code,)).fetchone():
                return code

    def _free_word(self) -> str:
        for digits in (2, 2, 2, 2, 3, 3, 3, 4, 4, 4):
            number = self.random.randrange(10 ** (digits - 1), 10**digits)
            word = f"{self.random.choice(self.book.settings.join_words)}{number}"
            if self.store.seat_with_word(word) is None and self.store.visit_with_word(word) is None:
                return word
        raise WadelineError("no free word was found for a second phone; add words to join_words")

    def _join(self, phone: PhoneRow, join: Join, turn: int, now: datetime) -> list[TextOut]:
        seat = self.store.seat_with_word(join.word) if join.word else None
        if seat is None:
            visit = self.store.visit_with_word(join.word) if join.word else None
            if visit is not None:
                return self._join_visit(phone, visit, join.leader, turn, now)
            return self._plain(phone, "join.unknown" if join.word else "join.empty", turn, now)
        before = self.store.holder(seat.id)
        if before is not None and before.id == phone.id:
            lead = Say(self._phrase(seat, "join.same", turn, now))
        else:
            lead = Say(self._phrase(seat, "join.yours", turn, now))
            self.store.append(seat.visit, seat.letter, turn, now, [Entry("joined")])
            self.store.hold(phone.id, seat.id)
        seen = self._seen(seat, turn, now, prompt=True)
        texts = [out for say in (lead, *seen.says) if (out := self._say(seat, say, seen, turn, now))]
        if before is not None and before.id != phone.id and not before.stopped_at:
            moved = self._phrase(seat, "join.moved", turn, now)
            out = TextOut(0, turn, before.number, moved, segments(moved), None, None, ())
            texts.append(self.store.add_text(before.id, None, out, now))
        self.store.end_turn(turn, seat.id, seat.visit)
        return texts

    def _phrase(self, seat: SeatRow, name: str, turn: int, now: datetime) -> str:
        return Turn(*self._at(seat, None, turn, now), now).phrase(name)

    def _plain(self, phone: PhoneRow, name: str, turn: int, now: datetime) -> list[TextOut]:
        """A phrase to a phone, whether or not it has a seat; its talk stays where it is."""
        if phone.seat is not None:
            seat = self.store.seat(phone.seat)
            text, seen = self._phrase(seat, name, turn, now), self._seen(seat, turn, now)
            step, expects, options = seen.state.top.state, seen.expects, seen.options
        else:
            text = self.book.in_language(self.book.phrases[name])
            text = text.format(programme=self.book.settings.name, emergency=self.book.settings.emergency)
            step, expects, options = None, None, ()
        out = TextOut(0, turn, phone.number, text, segments(text), step, expects, options)
        self.store.end_turn(turn, phone.seat, None)
        return [self.store.add_text(phone.id, phone.seat, out, now)]

    # Carriers' words

    def _carrier(self, phone: PhoneRow, word: CarrierWord, turn: int, now: datetime) -> list[TextOut]:
        if phone.stopped_at and word is not CarrierWord.START:
            self.store.end_turn(turn, phone.seat, None)
            return []
        if word is CarrierWord.HELP:
            return self._plain(phone, "help", turn, now)
        changed = (word is CarrierWord.STOP) != bool(phone.stopped_at)
        texts = self._plain(phone, word.name.lower(), turn, now)
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

    def _after_carrier(self, seat: SeatRow, word: CarrierWord, turn: int, now: datetime) -> list[TextOut]:
        """STOP is told to the visit's other seats; START shows where the talk stands."""
        seen = self._seen(seat, turn, now, prompt=word is CarrierWord.START)
        says = list(seen.says)
        if word is CarrierWord.STOP:
            news = self._phrase(seat, "stop_news", turn, now)
            snapshot = RecordSnapshot(self.store, seat.visit, seat.id, None)
            says = [Say(news, other.letter) for other in snapshot.other_seats()]
        return [out for say in says if (out := self._say(seat, say, seen, turn, now))]

    # Timers

    def next_due(self) -> datetime | None:
        """When the next timer is due."""
        timer = self.store.next_timer()
        return timer[3] if timer else None

    def fire_next(self, until: datetime) -> list[TextOut] | None:
        """Fires the first timer due by ``until``, at its due time; None if there is none."""
        timer = self.store.next_timer()
        if timer is None or timer[3] > until:
            return None
        timer_id, seat_id, kind, due = timer
        with self.store.transaction():
            seat = self.store.seat(seat_id)
            holder = self.store.holder(seat_id)
            turn = self.store.add_turn(gateway="timer", seat=seat_id, received_at=stamp(due), raw=kind)
            self.store.timer_fired(timer_id, turn)
            talk, state, snapshot, facts = self._at(seat, holder, turn, due)
            return self._apply(seat, fire(talk, state, snapshot, facts, kind, due), turn, due)
