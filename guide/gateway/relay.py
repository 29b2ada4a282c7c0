"""Words between seats and coordinators: DESK questions, danger and alarms to the one side, ``TO`` to the other."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from guide.flow.replies.clean import clean
from guide.record.log import Entry
from guide.record.store import PhoneRow, SeatRow, TextOut
from guide.talk.turn import Turn

if TYPE_CHECKING:
    from guide.gateway.talks import Talks

LONGEST_WORDS = 300
"""Characters of a person's words that are passed on: three texts with what stands around them. The log has all."""

_OUT = timedelta(hours=18)
_NEWS = {"desk_question": "relay.question", "danger": "relay.danger", "alarm": "relay.alarm", "stop": "relay.quiet"}
_COUNTED = {"out_count": "relay.out", "danger": "relay.what"}


class ToWords(NamedTuple):
    """A coordinator's text for a seat: whose word, and the words."""

    word: str
    words: str


def to_of(text: str) -> ToWords | None:
    """``TO word words`` in a text, if it is one; the words may be missing."""
    first, _, rest = clean(text).partition(" ")
    if first.strip(":").casefold() != "to":
        return None
    word, _, words = rest.strip().partition(" ")
    return ToWords(word.strip(".,!:").casefold(), words.strip())


def passed_on(words: str) -> str:
    """A person's words made safe for a text: no control characters, one line, not too long."""
    line = clean(words).replace("\n", " ")
    return line if len(line) <= LONGEST_WORDS else line[: LONGEST_WORDS - 3] + "..."


def concerns_coordinators(entry: Entry) -> bool:
    """Whether coordinators hear of an entry."""
    return entry.kind in (*_NEWS, "reminder") or (entry.kind == "answer" and entry.step.startswith("danger."))


def news_of(draft: Turn, entries: Sequence[Entry]) -> list[str]:
    """What coordinators must hear of a seat's new entries, as texts; ``draft`` is the talk as it stands."""
    practice = draft.phrase("relay.practice") if draft.visit.practice else ""
    said = [(_said_of(draft, entry), passed_on(entry.words or "")) for entry in entries]
    return [" ".join(filter(None, (practice, news, words))) for news, words in said if news]


def _said_of(draft: Turn, entry: Entry) -> str:
    if entry.kind in _NEWS:
        return draft.phrase(_NEWS[entry.kind])
    if entry.kind == "reminder":
        return draft.phrase(f"timer.{entry.data['reminder']}")
    if not concerns_coordinators(entry):
        return ""
    counted = [name for name in _COUNTED if name in entry.data]
    return " ".join(draft.phrase(_COUNTED[name], {"said": str(entry.data[name])[:20]}) for name in counted)


def from_coordinator(talks: "Talks", phone: PhoneRow, text: str, turn: int, now: datetime) -> list[TextOut]:
    """What a coordinator's text leads to: words for a seat, or how to send some and who is out."""
    to = to_of(text)
    seats = talks.store.seats_called(to.word, talks.site_called(to.word)) if to is not None else []
    if to is None or not to.words or not seats:
        lead = talks.words_of("relay.unknown", said=to.word[:20]) if to is not None and to.words else ""
        answer = f"{lead} {talks.words_of('relay.how')} {_out_now(talks, now - _OUT)}".strip()
        return [talks.plain_text(phone, answer, turn, now)]
    texts: list[TextOut] = []
    reached: list[str] = []
    missed: list[str] = []
    for seat in seats:
        out = words_to_seat(talks, seat, to.words, turn, now)
        texts += [out] if out else []
        (reached if out else missed).append(talks.seat_name(seat))
    said = [
        talks.words_of(name, names=", ".join(names)[:60])
        for name, names in (("relay.sent", reached), ("relay.not_sent", missed))
        if names
    ]
    return [*texts, talks.plain_text(phone, " ".join(said), turn, now)]


def words_to_seat(talks: "Talks", seat: SeatRow, words: str, turn: int, now: datetime) -> TextOut | None:
    """The coordinator's words to whoever holds a seat, kept in its visit's log; None if no phone takes texts there."""
    text = f"{talks.words_of('relay.words')} {passed_on(words)}"
    out = talks.tell_seat(seat, text, turn, now)
    entry = Entry("desk_answer", "", {"seat": seat.letter, "sent": out is not None}, words=words)
    talks.store.append(seat.visit, "desk", turn, now, [entry])
    talks.store.end_turn(turn, None, seat.visit)
    return out


def _out_now(talks: "Talks", since: datetime) -> str:
    """The words of the visits that are going on, as many as fit."""
    names = [f"{seat.word.upper()} {talks.seat_name(seat)}" for seat in talks.store.seats_out(since)]
    return talks.words_of("relay.out_now", places="; ".join(names)[:160]) if names else ""
