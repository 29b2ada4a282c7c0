"""What a pair's texts are worth: a surprise seen or missed, a specimen measured and named, a step skipped.

Only data goes in and comes out; nothing is written here.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from guide.drill.facts import PairText
from guide.drill.model import DAMSELFLY, Drill, Mark, Surprise
from guide.drill.specimens import SLACK_MM
from guide.field.families import EITHER
from guide.flow.model import FlowBook, Step
from guide.talk.words import WORDS, find_word

GOOD, HARMFUL, MISSED = "good", "harmful", "missed"
_WORD_ACTS = {word.name: word.act for word in WORDS}
_EITHER = ("Corduliidae", "Libellulidae")


def verdict(surprise: Surprise, texts: Iterable[PairText], blanks: dict[str, str], book: FlowBook) -> tuple[str, int]:
    """How a pair took a surprise, and the turn that decided; an empty verdict while nothing has.

    The first text that meets a mark decides; after ``surprise.texts`` texts that met none it is missed.
    """
    for count, text in enumerate(texts, 1):
        for name, marks in ((GOOD, surprise.good), (HARMFUL, surprise.harmful)):
            if any(meets(mark, text, blanks, book) for mark in marks):
                return name, text.turn
        if count >= surprise.texts:
            return MISSED, text.turn
    return "", 0


def meets(mark: Mark, text: PairText, blanks: dict[str, str], book: FlowBook) -> bool:
    """True if a text is what the mark tells of."""
    if mark.word:
        found = find_word(text.words)
        return found is not None and found.act is _WORD_ACTS[mark.word]
    if mark.kept:
        return text.kept
    if not mark.answer:
        return text.after == mark.step and text.before != mark.step
    return text.before == mark.step and _same_answer(book, book.step(mark.step), text.words, mark.answer, blanks)


def _same_answer(book: FlowBook, step: Step, words: str, answer: str, blanks: dict[str, str]) -> bool:
    asked = step.asked._replace(tag_width=book.settings.tags.width)
    kind = book.kinds.get(step.kind, book.kinds["choice"])
    wanted = kind.read(answer.format_map(blanks), asked).value
    return wanted is not None and kind.read(words, asked).value == wanted


def role_of(step: Step, language: str = "en") -> str:
    """Whose hands a step is about, by who acts first in its prompt."""
    said = step.say.get(language) or step.say.get("en", "")
    places = {said.find(word): role for word, role in (("CLEAN", "clean"), ("DIRTY", "dirty"), ("BOTH", "both"))}
    places.pop(-1, None)
    return places[min(places)] if places else "both"


def is_skipped(drill: Drill, book: FlowBook, text: PairText) -> bool:
    """True for work confirmed sooner than any hand can have done it, or a step left out by its word SKIP."""
    step = book.step(text.before)
    if text.after == text.before or find_word(text.words) is not None:
        return False
    if "SKIP" in (option.code for option in step.asked.options) and text.words.strip().upper() == "SKIP":
        return True
    return step.kind == "done" and step.flow != "danger" and text.seconds < drill.least_s


@dataclass(frozen=True)
class Told:
    """What a pair told of one specimen: its status (kept, void, back, open), and what was written down.

    An ``open`` one was in hand when the drill was left: what was told of it counts, what was not told doesn't.
    """

    status: str
    length_mm: float | None = None
    family: str | None = None
    tag: str | None = None


def judge(shown: dict[str, Any], told: Told, slips: Iterable[str], minimum_mm: int) -> dict[str, Any]:
    """What was right: ``length``, ``family``, ``tag`` are True, False, or None where there is nothing to say."""
    right: dict[str, bool | None] = {"length": None, "family": None, "tag": None}
    if shown["fixed"]:
        return right
    if told.status == "back":
        right["length"] = False if shown["length_mm"] >= minimum_mm else None
    elif told.status in ("kept", "open"):
        if told.length_mm is not None:
            right["length"] = abs(told.length_mm - shown["length_mm"]) <= SLACK_MM
        right["family"] = _right_family(told.family, shown["family"])
        right["tag"] = None if told.status == "open" and told.tag is None else told.tag in set(slips)
    return right


def _right_family(told: str | None, true: str) -> bool | None:
    """UNSURE is an honest answer: neither right nor wrong. Either of two is right where it is one of them."""
    if told is None or told == "unsure" or true == DAMSELFLY:
        return None
    return told == true or (told == EITHER and true in _EITHER)
