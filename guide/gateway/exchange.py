"""One way through for every text: text in, decide, one transaction, texts out. No gateway does more than carry them.

When a text arrives, in this order: the transaction begins; a message id seen before is answered from the record; the
text is kept; carriers' words; a stopped phone is left in silence; too many texts at once; a coordinator's words; JOIN;
a digest's text; a phone without a seat begins a visit, or at a door is told how to join; the seat's talk decides;
entries, projections, state, timers and texts out are written; the transaction commits.
"""

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from guide.errors import WadelineError
from guide.flow.model import FlowBook
from guide.flow.replies.clean import plain
from guide.gateway import relay
from guide.gateway.digests import looks_like_digest, take_digest
from guide.record.books import is_kept, keep_book
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
from guide.talk.words import is_danger

if TYPE_CHECKING:
    from random import Random

    from guide.gateway.door import Door

LEADER_LETTER = "L"
_PAIR_LETTERS = "ABCDEFGHIJKMNOPQRSTUVWXYZ"
_SAME_DAY = timedelta(hours=18)
_LATE = timedelta(minutes=2)
_CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"


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


class Exchange:
    """Takes texts in and gives texts out, over one record.

    ``load`` makes a stored book ready to talk; ``book`` is the one new visits begin with; ``random`` gives words and
    codes; ``lossy`` is True for a channel that loses texts; ``door`` stands before a number that anybody can text.
    """

    def __init__(
        self,
        store: Store,
        book: FlowBook,
        load: Callable[[str], Talk],
        random: "Random",
        lossy: bool = False,
        door: "Door | None" = None,
    ) -> None:
        self.store, self.book, self.random, self.lossy, self.door = store, book, random, lossy, door
        self._load = load
        self._talks: dict[str, Talk] = {}

    def set_up(self, now: datetime) -> None:
        """Keeps the book's text and the programme's tags in the record, once."""
        db, settings = self.store.db, self.book.settings
        if is_kept(db, self.book):
            return
        from guide.record.set_up import keep_programme

        with self.store.transaction():
            keep_book(db, self.book)
            keep_programme(self.store, settings, now)

    def renew(self, fresh_book: Callable[[], FlowBook | None], now: datetime) -> None:
        """Visits from now on begin with a book that the desk has loaded since, if there is one."""
        book = fresh_book()
        if book is not None:
            self.book = book
            self.set_up(now)

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
            since = now - timedelta(seconds=self.door.rules.same_within_s)
            return self.store.same_turn(text.gateway, phone.id, text.text, since)
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
        coordinates = self.store.is_coordinator(phone.id)
        if self.door is not None and not self._lets_in(self.door, phone, text, coordinates, now):
            return self._too_fast(self.door, phone, turn, now)
        if word is not None:
            return self._carrier(phone, word, turn, now)
        joined = join_of(text)
        return self._greeted(phone, joined, turn, now) + self._worked(phone, text, joined, coordinates, turn, now)

    def _worked(
        self, phone: PhoneRow, text: str, joined: Join | None, coordinates: bool, turn: int, now: datetime
    ) -> list[TextOut]:
        if coordinates and joined is None and (phone.seat is None or relay.to_of(text) is not None):
            return relay.from_coordinator(self, phone, text, turn, now)
        if joined is not None:
            return self._join(phone, joined, turn, now)
        if looks_like_digest(text) and (phone.seat is not None or self.door is None):
            return self._digest(phone, text, turn, now)
        if phone.seat is None:
            return self._stranger(phone, text, turn, now)
        return self._talk_on(phone, phone.seat, text, turn, now)

    def _talk_on(self, phone: PhoneRow, seat_id: int, text: str, turn: int, now: datetime) -> list[TextOut]:
        seat = self.store.seat(seat_id)
        decision = decide(*self._at(seat, phone, turn, now), text, now)
        texts = self._apply(seat, decision, turn, now)
        if not decision.new_visit:
            return texts
        own = self._talk(seat.book_hash).book
        practises = own.settings.practice and not self.book.settings.practice
        return texts + self._new_visit(phone, text, turn, now, seat.group_code, own if practises else None)

    # The door

    def _lets_in(self, door: "Door", phone: PhoneRow, text: str, coordinates: bool, now: datetime) -> bool:
        known = coordinates or phone.seat is not None
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
            return self._new_visit(phone, text, turn, now)
        self.store.end_turn(turn, None, None)
        every = timedelta(hours=self.door.rules.told_every_h)
        if phone.told_at and datetime.fromisoformat(phone.told_at) + every > now:
            return []
        self.store.told(phone.id, now)
        return [self.plain_text(phone, self.words_of("door.unknown"), turn, now)]

    def _greeted(self, phone: PhoneRow, joined: Join | None, turn: int, now: datetime) -> list[TextOut]:
        """The first answer to a phone that takes a seat says who texts, what it costs and how to end it."""
        if self.door is None or phone.consent or not (phone.seat is not None or (joined and self._opens(joined.word))):
            return []
        self.store.greeted(phone.id, now)
        return [self.plain_text(phone, self.words_of("door.greeting"), turn, now)]

    def _opens(self, word: str) -> bool:
        """Whether a word leads to a seat."""
        store = self.store
        return bool(word) and any(
            (store.seat_with_word(word), store.visit_with_word(word), store.group_with_word(word))
        )

    def _digest(self, phone: PhoneRow, text: str, turn: int, now: datetime) -> list[TextOut]:
        name, blanks = take_digest(self.store, text, turn)
        self.store.end_turn(turn, phone.seat, None)
        return [self.plain_text(phone, self.words_of(name, **blanks), turn, now)]

    # What seats and coordinators hear

    def words_of(self, name: str, **blanks: str) -> str:
        """A phrase of today's book that belongs to no seat's talk."""
        settings = self.book.settings
        said = self.book.in_language(self.book.phrases[name])
        return said.format_map({"programme": settings.name, "emergency": settings.emergency, **blanks})

    def seat_name(self, seat: SeatRow) -> str:
        """A seat as people say it: its pair and site."""
        who = "leader" if seat.role == "leader" else f"pair {seat.letter}"
        site = self.store.site_name(seat.visit)
        return f"{who}, {site}" if site else who

    def site_called(self, word: str) -> str | None:
        """The code of the site that a word names."""
        words = plain(word)
        sites = self.book.settings.sites
        return next((site.code for site in sites if words in (site.code, plain(site.name), *site.words)), None)

    def plain_text(self, phone: PhoneRow, text: str, turn: int, now: datetime, seat_id: int | None = None) -> TextOut:
        """A text to a phone that belongs to no seat's talk."""
        out = TextOut(0, turn, phone.number, text, segments(text), None, None, ())
        return self.store.add_text(phone.id, seat_id, out, now)

    def tell_seat(self, seat: SeatRow, text: str, turn: int, now: datetime) -> TextOut | None:
        """A text to the phone that holds a seat, beside its talk; None if none does or it takes no texts."""
        holder = self.store.holder(seat.id)
        if holder is None or holder.stopped_at:
            return None
        seen = self._seen(seat, turn, now)
        step = seen.state.top.state
        out = TextOut(0, turn, holder.number, text, segments(text), step, seen.expects, seen.options)
        return self.store.add_text(holder.id, seat.id, out, now)

    def _at(
        self, seat: SeatRow, phone: PhoneRow | None, turn: int, now: datetime
    ) -> tuple[Talk, SeatState, RecordSnapshot, SeatFacts]:
        snapshot = RecordSnapshot(self.store, seat.visit, seat.id, phone.id if phone else None)
        facts = SeatFacts(seat.letter, seat.word, seat.role, self.lossy, turn, now)
        return self._talk(seat.book_hash), SeatState.from_json(seat.state), snapshot, facts

    def _talk(self, book_hash: str) -> Talk:
        if book_hash not in self._talks:
            (text,) = self.store.db.execute("SELECT toml FROM flow_book WHERE hash = ?", (book_hash,)).fetchone()
            talk = self._load(text)
            self._talks[book_hash] = talk._replace(book=replace(talk.book, phrases=self._with_new(talk.book.phrases)))
        return self._talks[book_hash]

    def _with_new(self, phrases: Mapping[str, Mapping[str, str]]) -> Mapping[str, Mapping[str, str]]:
        """The phrases a visit began with, and those that the program has learned to say since."""
        return phrases if phrases.keys() >= self.book.phrases.keys() else {**self.book.phrases, **phrases}

    def _apply(self, seat: SeatRow, decision: Decision, turn: int, now: datetime) -> list[TextOut]:
        """Writes all that follows from a text, and returns the texts out."""
        store = self.store
        head = store.append(seat.visit, seat.letter, turn, now, decision.entries)
        store.save_state(seat.id, decision.state.to_json(), now)
        for change in decision.timers:
            store.set_timer(seat.id, change.kind, change.due)
        texts = [out for say in decision.says if (out := self._say(seat, say, decision, turn, now))]
        texts += self._relayed(seat, decision.state, decision.entries, turn, now)
        store.end_turn(turn, seat.id, seat.visit, head)
        return texts

    def _relayed(
        self, seat: SeatRow, state: SeatState, entries: Sequence[Entry], turn: int, now: datetime
    ) -> list[TextOut]:
        """What coordinators must hear of what a seat said."""
        if not any(relay.concerns_coordinators(entry) for entry in entries):
            return []
        phones = self.store.coordinators(seat.programme)
        if not phones:
            return []
        talk, _, snapshot, facts = self._at(seat, None, turn, now)
        news = relay.news_of(Turn(talk, state, snapshot, facts, now), entries)
        return [self.plain_text(phone, text, turn, now, seat.id) for text in news for phone in phones]

    def _say(self, seat: SeatRow, say: Say, decision: Decision, turn: int, now: datetime) -> TextOut | None:
        if say.to is not None:
            return self.tell_seat(self.store.seat(self.store.seat_id(seat.visit, say.to)), say.text, turn, now)
        holder = self.store.holder(seat.id)
        if holder is None or holder.stopped_at:
            return None
        step = decision.state.top.state
        out = TextOut(0, turn, holder.number, say.text, segments(say.text), step, decision.expects, decision.options)
        return self.store.add_text(holder.id, seat.id, out, now)

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

    # What a drill does: practice visits, and a talk changed by other than its phone

    def open_visit(self, phone: PhoneRow, turn: int, now: datetime) -> list[TextOut]:
        """Opens a visit for a phone, whatever seat it had, inside the caller's transaction."""
        return self._new_visit(phone, "", turn, now)

    def change(
        self, seat_id: int, gateway: str, why: str, change: Callable[[Turn], None], now: datetime
    ) -> list[TextOut]:
        """Changes a seat's talk by other than a text, as a turn of its own inside the caller's transaction."""
        seat = self.store.seat(seat_id)
        turn = self.store.add_turn(gateway=gateway, seat=seat_id, received_at=stamp(now), raw=why)
        draft = Turn(*self._at(seat, self.store.holder(seat_id), turn, now), now)
        change(draft)
        return self._apply(seat, finish(draft), turn, now)

    # A phone without a seat, and seats that change phones

    def _new_visit(
        self,
        phone: PhoneRow,
        text: str,
        turn: int,
        now: datetime,
        group_code: str | None = None,
        book: FlowBook | None = None,
    ) -> list[TextOut]:
        """Opens a visit; what follows a drill's visit keeps its ``book`` and with it stays practice."""
        from zoneinfo import ZoneInfo

        book = book or self.book
        settings, code8 = book.settings, self._free_code()
        visit = f"{self.store.origin}-{code8.lower()}"
        zone = ZoneInfo(settings.sites[0].zone)
        opened = {
            "code8": code8,
            "programme": settings.code,
            "book_hash": book.hash,
            "local_date": now.astimezone(zone).date().isoformat(),
            "practice": int(settings.practice),
            "target": settings.target,
            "word": self._free_word(),
        }
        if group_code is not None:
            opened["group_code"] = group_code
        self.store.append(visit, "A", turn, now, [Entry("visit_opened", "", opened)])
        seat_id = self.store.add_seat(visit, "A", self._free_word())
        self.store.hold(phone.id, seat_id)
        seat = self.store.seat(seat_id)
        snapshot = RecordSnapshot(self.store, visit, seat_id, phone.id)
        facts = SeatFacts(seat.letter, seat.word, seat.role, self.lossy, turn, now)
        return self._apply(seat, begin(self._talk(book.hash), snapshot, facts, text, now), turn, now)

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
        for digits in (2, 2, 2, 2, 3, 3, 3, 4, 4, 4, 5, 5, 5, 6, 6):
            number = self.random.randrange(10 ** (digits - 1), 10**digits)
            word = f"{self.random.choice(self.book.settings.join_words)}{number}"
            if self.store.seat_with_word(word) is None and self.store.visit_with_word(word) is None:
                return word
        raise WadelineError("no free word was found for a second phone; add words to join_words")

    def _join(self, phone: PhoneRow, join: Join, turn: int, now: datetime) -> list[TextOut]:
        seat = self.store.seat_with_word(join.word) if join.word else None
        if seat is None:
            return self._join_other(phone, join, turn, now)
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

    def _join_other(self, phone: PhoneRow, join: Join, turn: int, now: datetime) -> list[TextOut]:
        """JOIN with the word of a visit that is going on, or of a group: its visit of today, else a new one."""
        visit = self.store.visit_with_word(join.word) if join.word else None
        group_code = self.store.group_with_word(join.word) if join.word and visit is None else None
        if group_code is not None:
            visit = self.store.visit_of_group(group_code, now - _SAME_DAY)
        if visit is not None:
            held = self.store.seat(phone.seat) if phone.seat is not None else None
            if group_code is not None and held is not None and held.visit == visit:
                return self._join(phone, Join(held.word), turn, now)
            return self._join_visit(phone, visit, join.leader, turn, now)
        if group_code is not None:
            return self._new_visit(phone, "", turn, now, group_code)
        if self.door is not None and phone.seat is None and join.word:
            return self._stranger(phone, "", turn, now)
        return self._plain(phone, "join.unknown" if join.word else "join.empty", turn, now)

    def _phrase(self, seat: SeatRow, name: str, turn: int, now: datetime) -> str:
        return Turn(*self._at(seat, None, turn, now), now).phrase(name)

    def _plain(self, phone: PhoneRow, name: str, turn: int, now: datetime) -> list[TextOut]:
        """A phrase to a phone, whether or not it has a seat; its talk stays where it is."""
        if phone.seat is not None:
            seat = self.store.seat(phone.seat)
            text, seen = self._phrase(seat, name, turn, now), self._seen(seat, turn, now)
            step, expects, options = seen.state.top.state, seen.expects, seen.options
        else:
            text = self.words_of(name)
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
        texts = [out for say in says if (out := self._say(seat, say, seen, turn, now))]
        return texts + self._relayed(seat, seen.state, [Entry(word.name.lower())], turn, now)

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
            talk, state, snapshot, facts = self._at(seat, holder, turn, now)
            decision = fire(talk, state, snapshot, facts, kind, now)
            if now - due > _LATE and decision.says:
                decision = decision._replace(says=self._said_late(seat, decision.says, due))
            return self._apply(seat, decision, turn, now)

    def _said_late(self, seat: SeatRow, says: Sequence[Say], due: datetime) -> tuple[Say, ...]:
        from zoneinfo import ZoneInfo

        zone = self._talk(seat.book_hash).book.settings.sites[0].zone
        late = self.words_of("late", due=due.astimezone(ZoneInfo(zone)).strftime("%H:%M"))
        return tuple(say._replace(text=f"{late} {say.text}") for say in says)
