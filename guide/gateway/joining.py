"""Phones and seats: a visit for a phone that has none, and JOIN with a seat's, a visit's or a group's word."""

from datetime import datetime, timedelta

from guide.errors import WadelineError
from guide.flow.model import FlowBook
from guide.flow.replies.clean import plain
from guide.flow.settings import Site
from guide.gateway.talks import Talks
from guide.record.log import Entry
from guide.record.look import RecordSnapshot
from guide.record.store import PhoneRow, SeatRow, TextOut
from guide.talk.decide import begin, begin_joined
from guide.talk.decision import Say
from guide.talk.front import Join
from guide.talk.snapshot import SeatFacts
from guide.talk.turn import Turn

NEW = "new"
LEADER_LETTER = "L"
_PAIR_LETTERS = "ABCDEFGHIJKMNOPQRSTUVWXYZ"
_CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_SAME_DAY = timedelta(hours=18)


def new_visit(
    talks: Talks,
    phone: PhoneRow,
    text: str,
    turn: int,
    now: datetime,
    group_code: str | None = None,
    book: FlowBook | None = None,
) -> list[TextOut]:
    """Opens a visit; what follows a drill's visit keeps its ``book`` and with it stays practice.

    JOIN and NEW name no water: they take the group's, if the desk has set one. Any other text means what it says.
    """
    from zoneinfo import ZoneInfo

    book = book or talks.book
    settings, code8 = book.settings, _free_code(talks)
    visit = f"{talks.store.origin}-{code8.lower()}"
    zone = ZoneInfo(settings.sites[0].zone)
    opened = {
        "code8": code8,
        "programme": settings.code,
        "book_hash": book.hash,
        "local_date": now.astimezone(zone).date().isoformat(),
        "practice": int(settings.practice),
        "target": settings.target,
        "word": _free_word(talks),
    }
    if group_code is not None:
        opened["group_code"] = group_code
    talks.store.append(visit, "A", turn, now, [Entry("visit_opened", "", opened)])
    names_none = plain(text) in ("", NEW)
    site = _site_of_group(talks, group_code) if group_code is not None and names_none else None
    seat, snapshot, facts = _taken(talks, phone, talks.store.add_seat(visit, "A", _free_word(talks)), turn, now)
    decision = begin(talks.talk(book.hash), snapshot, facts, site.name if site else text, now)
    if site is not None:
        draft = Turn(talks.talk(book.hash), decision.state, snapshot, facts, now)
        lead = draft.phrase("join.site", {"site": site.name})
        decision = decision._replace(says=(Say(lead), *decision.says))
    return talks.apply(seat, decision, turn, now)


def _site_of_group(talks: Talks, group_code: str) -> Site | None:
    """The water that the desk has set for a group, if the programme still has it: BACK leads to the others."""
    settings = talks.book.settings
    sql = "SELECT site FROM field_group WHERE programme = ? AND code = ?"
    row = talks.store.db.execute(sql, (settings.code, group_code)).fetchone()
    return next((site for site in settings.sites if row is not None and site.code == row[0]), None)


def opens(talks: Talks, word: str) -> bool:
    """Whether a word leads to a seat: one that a phone holds, a new one of a visit, or a group's."""
    store = talks.store
    return bool(word) and any(
        found(word) is not None for found in (store.seat_with_word, store.visit_with_word, store.group_with_word)
    )


def join(talks: Talks, phone: PhoneRow, asked: Join, turn: int, now: datetime) -> list[TextOut]:
    """What JOIN leads to: the phone takes a seat, or is told why not."""
    seat = talks.store.seat_with_word(asked.word) if asked.word else None
    if seat is None:
        return _join_other(talks, phone, asked, turn, now)
    before = talks.store.holder(seat.id)
    if before is not None and before.id == phone.id:
        lead = Say(talks.phrase(seat, "join.same", turn, now))
    else:
        lead = Say(talks.phrase(seat, "join.yours", turn, now))
        talks.store.append(seat.visit, seat.letter, turn, now, [Entry("joined")])
        talks.store.hold(phone.id, seat.id)
    seen = talks.seen(seat, turn, now, prompt=True)
    texts = [out for say in (lead, *seen.says) if (out := talks.say(seat, say, seen, turn, now))]
    if before is not None and before.id != phone.id and not before.stopped_at:
        moved = talks.phrase(seat, "join.moved", turn, now)
        texts.append(talks.plain_text(before, moved, turn, now))
    talks.store.end_turn(turn, seat.id, seat.visit)
    return texts


def _join_other(talks: Talks, phone: PhoneRow, asked: Join, turn: int, now: datetime) -> list[TextOut]:
    """JOIN with the word of a visit that is going on, or of a group: its visit of today, else a new one."""
    visit = talks.store.visit_with_word(asked.word) if asked.word else None
    group_code = talks.store.group_with_word(asked.word) if asked.word and visit is None else None
    if group_code is not None:
        visit = talks.store.visit_of_group(group_code, now - _SAME_DAY)
    if visit is not None:
        held = talks.store.seat(phone.seat) if phone.seat is not None else None
        if group_code is not None and held is not None and held.visit == visit:
            return join(talks, phone, Join(held.word), turn, now)
        return _join_visit(talks, phone, visit, asked.leader, turn, now)
    if group_code is not None:
        return new_visit(talks, phone, "", turn, now, group_code)
    if not asked.word:
        return talks.plain(phone, "join.empty", turn, now)
    return talks.plain(phone, "join.unknown" if phone.seat is None else "join.unknown_here", turn, now)


def _join_visit(talks: Talks, phone: PhoneRow, visit: str, leader: bool, turn: int, now: datetime) -> list[TextOut]:
    """A new seat of a visit that is going on: one more pair, or the leader."""
    letters = talks.store.seat_letters(visit)
    letter = LEADER_LETTER if leader else next((x for x in _PAIR_LETTERS if x not in letters), "")
    if leader and letter in letters:
        return join(talks, phone, Join(talks.store.seat(talks.store.seat_id(visit, letter)).word), turn, now)
    if not letter:
        return talks.plain(phone, "join.full", turn, now)
    role = "leader" if leader else "pair"
    seat_id = talks.store.add_seat(visit, letter, _free_word(talks), role)
    talks.store.append(visit, letter, turn, now, [Entry("seat_opened", "", {"role": role})])
    seat, snapshot, facts = _taken(talks, phone, seat_id, turn, now)
    return talks.apply(seat, begin_joined(talks.talk(seat.book_hash), snapshot, facts, now), turn, now)


def _taken(
    talks: Talks, phone: PhoneRow, seat_id: int, turn: int, now: datetime
) -> tuple[SeatRow, RecordSnapshot, SeatFacts]:
    """A phone takes a new seat: what its talk begins with."""
    talks.store.hold(phone.id, seat_id)
    seat = talks.store.seat(seat_id)
    snapshot = RecordSnapshot(talks.store, seat.visit, seat_id, phone.id)
    return seat, snapshot, SeatFacts(seat.letter, seat.word, seat.role, talks.lossy, turn, now)


def _free_code(talks: Talks) -> str:
    while True:
        code = "".join(talks.random.choice(_CODE_LETTERS) for _ in range(8))
        if not talks.store.db.execute("SELECT 1 FROM visit WHERE code8 = ?", (code,)).fetchone():
            return code


def _free_word(talks: Talks) -> str:
    for digits in (2, 2, 2, 2, 3, 3, 3, 4, 4, 4, 5, 5, 5, 6, 6):
        number = talks.random.randrange(10 ** (digits - 1), 10**digits)
        word = f"{talks.random.choice(talks.book.settings.join_words)}{number}"
        if not opens(talks, word):
            return word
    raise WadelineError("no free word was found for a second phone; add words to join_words")
