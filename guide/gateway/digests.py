"""Digest texts: what a pair far from signal had printed, typed into any phone later."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from guide.record.store import Store

_SHORTEST = 20
"""A head and two groups."""
_FEWEST_DIGITS = 3


def looks_like_digest(text: str) -> bool:
    """Whether a text is a digest's, perhaps with a slip of the thumb: no talk is so long without O, I, L, 0 and 1."""
    letters = "".join(text.split())
    if len(letters) < _SHORTEST or not letters.isalnum():
        return False
    from guide.papers.letters import ALPHABET  # few texts come so far, and a start-up feels the import

    strange = sum(letter.upper() not in ALPHABET for letter in letters)
    return strange <= 1 and sum(letter.isdigit() for letter in letters) >= _FEWEST_DIGITS


def take_digest(store: "Store", text: str, turn: int) -> tuple[str, dict[str, str]]:
    """Keeps a digest's text if it is whole; returns the name of the phrase that answers it, and its blanks."""
    from guide.papers.digest import read
    from guide.papers.visit_digest import has_visit

    alone = read([text])
    if not alone.visits:
        return "digest.damaged", {"problem": _after_quote(alone.problems[0])}
    code8 = alone.visits[0].digest.code8
    store.keep_digest(code8, "".join(text.upper().split()), turn)
    if has_visit(store.db, code8):
        return "digest.have_log", {"code": code8}
    every = [visit for visit in read(store.digest_texts(code8)).visits if visit.digest.code8 == code8]
    missing = every[-1].missing
    if missing:
        return "digest.more", {"code": code8, "count": str(len(missing)), "part": str(missing[0])}
    kept_larvae = sum(larva.status == "kept" for larva in every[-1].digest.larvae)
    return "digest.read", {"code": code8, "count": str(kept_larvae)}


def _after_quote(problem: str) -> str:
    """The sentence without its beginning, which quotes a text of a list."""
    return problem.partition(") ")[2] or problem
