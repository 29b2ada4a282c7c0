"""The talks of a record: looks at a seat's, writes what a decision leads to, and finds words for seats and phones.

Beneath ``exchange``, which says what a text means for its phone, and ``joining``, which gives phones their seats. Every
method that writes is called inside a transaction.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

from guide.flow.model import FlowBook
from guide.flow.replies.clean import plain
from guide.gateway import relay
from guide.record.books import is_kept, keep_book
from guide.record.log import Entry
from guide.record.look import RecordSnapshot
from guide.record.store import PhoneRow, SeatRow, Store, TextOut, stamp
from guide.talk.decide import finish
from guide.talk.decision import Decision, Say
from guide.talk.sms import segments
from guide.talk.snapshot import SeatFacts
from guide.talk.state import SeatState
from guide.talk.turn import Talk, Turn

if TYPE_CHECKING:
    from random import Random

    from guide.gateway.door import Door


class Talks:
    """The talks of one record.

    ``load`` makes a stored book ready to talk; ``book`` is the one new visits begin with; ``seed`` makes its words
    and codes the same again; ``lossy`` is True for a channel that loses texts; ``door`` stands before a number that
    anybody can text.
    """

    def __init__(
        self,
        store: Store,
        book: FlowBook,
        load: Callable[[str], Talk],
        seed: int | str | None = None,
        lossy: bool = False,
        door: "Door | None" = None,
    ) -> None:
        self.store, self.book, self.seed, self.lossy, self.door = store, book, seed, lossy, door
        self._load = load
        self._talks: dict[str, Talk] = {}
        self._next_book: FlowBook | None = None

    @cached_property
    def random(self) -> "Random":
        """What words and codes are drawn with."""
        from random import Random  # most texts draw none, and a start-up feels the import

        return Random(self.seed)

    def set_up(self, now: datetime) -> None:
        """Keeps the book's text and the programme's tags in the record, once."""
        self._keep(self.book, now)

    def renew(self, fresh_book: Callable[[], FlowBook | None], now: datetime) -> None:
        """Visits from now on begin with a book that the desk has loaded since, if there is one and once it is kept."""
        self._next_book = fresh_book() or self._next_book
        if self._next_book is not None:
            self._keep(self._next_book, now)
            self.book, self._next_book = self._next_book, None

    def _keep(self, book: FlowBook, now: datetime) -> None:
        if is_kept(self.store.db, book):
            return
        from guide.record.set_up import keep_programme

        with self.store.transaction():
            keep_book(self.store.db, book)
            keep_programme(self.store, book.settings, now)

    # Looking

    def at(
        self, seat: SeatRow, phone: PhoneRow | None, turn: int, now: datetime
    ) -> tuple[Talk, SeatState, RecordSnapshot, SeatFacts]:
        """All that ``decide`` looks at for a seat: its book ready to talk, its state, its visit, who it is."""
        snapshot = RecordSnapshot(self.store, seat.visit, seat.id, phone.id if phone else None)
        facts = SeatFacts(seat.letter, seat.word, seat.role, self.lossy, turn, now)
        return self.talk(seat.book_hash), SeatState.from_json(seat.state), snapshot, facts

    def talk(self, book_hash: str) -> Talk:
        """A stored book ready to talk, made once."""
        if book_hash not in self._talks:
            (text,) = self.store.db.execute("SELECT toml FROM flow_book WHERE hash = ?", (book_hash,)).fetchone()
            talk = self._load(text)
            self._talks[book_hash] = talk._replace(book=talk.book._replace(phrases=self._with_new(talk.book.phrases)))
        return self._talks[book_hash]

    def _with_new(self, phrases: Mapping[str, Mapping[str, str]]) -> Mapping[str, Mapping[str, str]]:
        """The phrases a visit began with, and those that the program has learned to say since."""
        return phrases if phrases.keys() >= self.book.phrases.keys() else {**self.book.phrases, **phrases}

    def seen(self, seat: SeatRow, turn: int, now: datetime, prompt: bool = False) -> Decision:
        """What a seat is being asked, without a text from it."""
        draft = Turn(*self.at(seat, self.store.holder(seat.id), turn, now), now)
        draft.prompting = prompt
        return finish(draft)

    def draft(self, number: str, now: datetime) -> Turn | None:
        """A look at a phone's talk as it stands; None if the phone has no seat. Nothing is written."""
        row = self.store.db.execute("SELECT current_seat FROM phone WHERE number = ?", (number,)).fetchone()
        if row is None or row[0] is None:
            return None
        seat = self.store.seat(row[0])
        return Turn(*self.at(seat, self.store.holder(seat.id), 0, now), now)

    # Writing

    def apply(self, seat: SeatRow, decision: Decision, turn: int, now: datetime) -> list[TextOut]:
        """Writes all that follows from a text, and returns the texts out."""
        store = self.store
        head = store.append(seat.visit, seat.letter, turn, now, decision.entries)
        store.save_state(seat.id, decision.state.to_json(), now)
        for change in decision.timers:
            store.set_timer(seat.id, change.kind, change.due)
        texts = [out for say in decision.says if (out := self.say(seat, say, decision, turn, now))]
        texts += self.relayed(seat, decision.state, decision.entries, turn, now)
        store.end_turn(turn, seat.id, seat.visit, head)
        return texts

    def relayed(
        self, seat: SeatRow, state: SeatState, entries: Sequence[Entry], turn: int, now: datetime
    ) -> list[TextOut]:
        """What coordinators must hear of what a seat said."""
        if not any(relay.concerns_coordinators(entry) for entry in entries):
            return []
        phones = self.store.coordinators(seat.programme)
        if not phones:
            return []
        talk, _, snapshot, facts = self.at(seat, None, turn, now)
        news = relay.news_of(Turn(talk, state, snapshot, facts, now), entries)
        return [self.plain_text(phone, text, turn, now, seat.id) for text in news for phone in phones]

    def say(self, seat: SeatRow, say: Say, decision: Decision, turn: int, now: datetime) -> TextOut | None:
        """One text of a decision on its way to the seat's phone, or another seat's; None if no phone takes it."""
        if say.to is not None:
            return self.tell_seat(self.store.seat(self.store.seat_id(seat.visit, say.to)), say.text, turn, now)
        holder = self.store.holder(seat.id)
        if holder is None or holder.stopped_at:
            return None
        step = decision.state.top.state
        out = TextOut(0, turn, holder.number, say.text, segments(say.text), step, decision.expects, decision.options)
        return self.store.add_text(holder.id, seat.id, out, now)

    def change(
        self, seat_id: int, gateway: str, why: str, change: Callable[[Turn], None], now: datetime
    ) -> list[TextOut]:
        """Changes a seat's talk by other than a text, as a turn of its own inside the caller's transaction."""
        seat = self.store.seat(seat_id)
        turn = self.store.add_turn(gateway=gateway, seat=seat_id, received_at=stamp(now), raw=why)
        draft = Turn(*self.at(seat, self.store.holder(seat_id), turn, now), now)
        change(draft)
        return self.apply(seat, finish(draft), turn, now)

    # Words

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
        seen = self.seen(seat, turn, now)
        step = seen.state.top.state
        out = TextOut(0, turn, holder.number, text, segments(text), step, seen.expects, seen.options)
        return self.store.add_text(holder.id, seat.id, out, now)

    def phrase(self, seat: SeatRow, name: str, turn: int, now: datetime) -> str:
        """A phrase as a seat hears it."""
        return Turn(*self.at(seat, None, turn, now), now).phrase(name)

    def plain(self, phone: PhoneRow, name: str, turn: int, now: datetime) -> list[TextOut]:
        """A phrase to a phone, whether or not it has a seat; its talk stays where it is."""
        if phone.seat is not None:
            seat = self.store.seat(phone.seat)
            text, seen = self.phrase(seat, name, turn, now), self.seen(seat, turn, now)
            step, expects, options = seen.state.top.state, seen.expects, seen.options
        else:
            text = self.words_of(name)
            step, expects, options = None, None, ()
        out = TextOut(0, turn, phone.number, text, segments(text), step, expects, options)
        self.store.end_turn(turn, phone.seat, None)
        return [self.store.add_text(phone.id, phone.seat, out, now)]
