"""Words from the desk to a seat or a whole visit: kept in the log, and handed to whichever gateway runs."""

from dataclasses import dataclass
from datetime import datetime

from guide.desk.visits import VisitError
from guide.flow.replies.clean import clean
from guide.gateway.exchange import Exchange
from guide.gateway.relay import LONGEST_WORDS, words_to_seat
from guide.record.store import SeatRow, stamp
from guide.talk.sms import segments


@dataclass(frozen=True)
class Sent:
    """Which seats the words go to, and the text as it will arrive, in so many SMS segments."""

    reached: tuple[str, ...]
    text: str
    segments: int


def say_to(exchange: Exchange, to: str, words: str, now: datetime) -> Sent:
    """Sends words to ``CODE``, ``CODE/SEAT`` or a word that a seat, group or site is called by; one transaction.

    Raises VisitError where nobody is meant, no phone takes texts there, or the words are none or too many.
    """
    said = clean(words).replace("\n", " ")
    if not said:
        raise VisitError("there are no words to send")
    if len(said) > LONGEST_WORDS:
        raise VisitError(f"that is {len(said)} characters, {LONGEST_WORDS} at most: say it shorter, or in two texts")
    store = exchange.store
    with store.transaction():
        seats = [seat for seat in _seats(exchange, to) if (held := store.holder(seat.id)) and not held.stopped_at]
        if not seats:
            raise VisitError(f"no phone of {to} takes texts here (it may have stopped, or the visit was merged)")
        turn = store.add_turn(gateway="desk", received_at=stamp(now), raw=None)
        texts = [words_to_seat(exchange, seat, said, turn, now) for seat in seats]
    text = next(out.text for out in texts if out is not None)
    return Sent(tuple(f"{store.code_of(seat.visit)}/{seat.letter}" for seat in seats), text, segments(text))


def _seats(exchange: Exchange, to: str) -> list[SeatRow]:
    """The seats that are meant; raises VisitError if there are none."""
    store = exchange.store
    code, _, letter = to.strip().upper().partition("/")
    found = [store.seat(seat) for seat in store.seats_of_code(code)]
    if letter:
        found = [seat for seat in found if seat.letter == letter]
    elif not found:
        found = store.seats_called(to.strip().casefold(), exchange.site_called(to))
    if not found:
        raise VisitError(f"there is no visit, seat or group {to!r} here; desk board shows who is out")
    return found
