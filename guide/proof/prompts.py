"""What each prompt asks of a reader: segments at worst, words, and the school grade that reads it.

The grade is the Flesch-Kincaid grade level (Kincaid, Fishburne, Rogers and Chissom 1975): 0.39 x words a sentence +
11.8 x syllables a word - 15.59. A syllable is a run of the vowels a, e, i, o, u, y; an e that ends a word of several
doesn't count unless it follows a consonant and l. For texts as short as these one long word weighs a lot: the grade
finds the prompts to look at, it doesn't judge them. Blanks are filled with a short word; numbers and single letters
count as one syllable.
"""

import re
from collections.abc import Iterable
from typing import NamedTuple

from guide.flow.load import blanks_in
from guide.flow.model import ROUTE, FlowBook
from guide.talk.blanks import BLANKS
from guide.talk.sms import segments, septets

TWELVE_YEARS_OLD = 7.0
"""The grade that most twelve-year-olds are in."""

_SENTENCE = re.compile(r"[.?!]+(?:\s|$)")
_WORD = re.compile(r"[A-Za-z0-9]+(?:['-][A-Za-z0-9]+)*")
_VOWELS = re.compile(r"[aeiouy]+")
_SILENT_E = re.compile(r"(?<![aeiouy])(?<!l)e$|(?<=[aeiouy]l)e$")


class Reading(NamedTuple):
    """One prompt's figures."""

    step: str
    segments: int
    septets: int
    words: int
    grade: float


def readings(book: FlowBook) -> list[Reading]:
    """The figures of every prompt, in the order of the flows."""
    return [
        _reading(step.id, book.in_language(step.say)) for step in book.steps.values() if step.kind != ROUTE and step.say
    ]


def _reading(step: str, text: str) -> Reading:
    worst = text.format_map({name: BLANKS[name].widest for name in blanks_in(text)})
    plain = text.format_map(dict.fromkeys(blanks_in(text), "ten"))
    words = _WORD.findall(plain)
    return Reading(step, segments(worst), septets(worst) or 0, len(words), round(grade(plain), 1))


def grade(text: str) -> float:
    """The Flesch-Kincaid grade level of a text; 0 for one without words."""
    words = _WORD.findall(text)
    sentences = [part for part in _SENTENCE.split(text) if _WORD.search(part)]
    if not words:
        return 0.0
    count = sum(syllables(word) for word in words)
    return max(0.0, 0.39 * len(words) / len(sentences) + 11.8 * count / len(words) - 15.59)


def syllables(word: str) -> int:
    """Syllables of a word, at least one."""
    letters = word.lower()
    runs = len(_VOWELS.findall(letters))
    return max(1, runs - 1 if runs > 1 and _SILENT_E.search(letters) else runs)


def summary(found: Iterable[Reading]) -> str:
    """A few lines: middle and worst figures, and the prompts above the grade of a twelve-year-old."""
    rows = list(found)
    words, grades = sorted(row.words for row in rows), sorted(row.grade for row in rows)
    middle = len(rows) // 2
    hard = sorted((row for row in rows if row.grade > TWELVE_YEARS_OLD), key=lambda row: -row.grade)
    named = ", ".join(f"{row.step} {row.grade:g}" for row in hard) or "none"
    return (
        f"prompts: {max(row.segments for row in rows)} segment at worst; {words[middle]} words in the middle, "
        f"{words[-1]} at most; reading grade {grades[middle]:g} in the middle\n"
        f"above grade {TWELVE_YEARS_OLD:g}: {named}"
    )


def table(found: Iterable[Reading]) -> str:
    """Every prompt in a line."""
    lines = [f"{'step':24}{'segments':>9}{'septets':>9}{'words':>7}{'grade':>7}"]
    lines += [f"{row.step:24}{row.segments:>9}{row.septets:>9}{row.words:>7}{row.grade:>7.1f}" for row in found]
    return "\n".join(lines)
