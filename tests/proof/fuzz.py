"""Random texts in explored states: no error, and no change of state that was not meant.

``python -m tests.proof.fuzz`` sends 100,000; ``python -m tests.proof.fuzz 5000 7`` as many as it says, others with each
second number. From a state a few texts follow each other; what each of them may change is said in ``meant.py``.
"""

import sys
import time
from dataclasses import dataclass, field
from random import Random

from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.replies.kinds import KINDS
from guide.proof.explore import Explorer
from guide.proof.key import Keys
from guide.proof.oracle import fault, unread_fault
from guide.proof.roots import roots
from guide.proof.rules import RuleBook
from guide.proof.texts import BY_KIND, MOVING, QUIET, answers
from guide.proof.world import Move, World, after
from guide.talk.blanks import REGISTRY
from tests.proof.meant import not_meant

KNOWN = tuple(
    dict.fromkeys(
        [text for some in BY_KIND.values() for text in some]
        + [*MOVING, *QUIET, "27 darner 01428", "01428", "27 darner 01402; 31 skimmer 01415", "FIX 01402 swap 01415"]
        + [
            "FIX 01402 tag 01477",
            "FIX 01402 void torn",
            "NEW",
            "MORE",
            "PACK",
            "GEAR",
            "FREEZE",
            "stay",
            "over",
            "left",
        ]
    )
)
LETTERS = (
    "abcdefghijklmnopqrstuvwxyz    0123456789.,;:!?#/-'\"()\n\t",
    "ABCDEFGHIJKLMNOPQRSTUVWXYZ 0123456789",
    "äöüßéèñçøåÆŒłżđığ€£¥§°½¼²³µ",
    "\u200b\u200d\u2028\ufeff\u0000\u0007\u001b\ufffd\u0301\u0308",
    "\U0001f44d\U0001f44e\U0001f41b\u2705\u26a0\ufe0f\U0001f469\u200d\U0001f52c",
    "٠١٢٣٤٥٦٧٨٩०१२३४५一二三四五ⅠⅡⅢ①②③",
    "مرحبا שלום Привет 你好 こんにちは 안녕하세요",
    "{}[]<>%$\\|~^`_=+*&@",
)


SEED = 20260704
IN_A_ROW = 4
"""Texts that follow each other from one explored state on."""


@dataclass
class Told:
    """What a fuzz run found: what is wrong, each with where and the text; and what became of the others."""

    texts: int = 0
    wrote: int = 0
    moved: int = 0
    not_understood: int = 0
    wrong: list[str] = field(default_factory=list)


def random_text(random: Random, offered: list[str]) -> str:
    """Letters of every sort, or a text people send, or an answer that is offered, with some of it changed."""
    how = random.random()
    if how < 0.3:
        return "".join(random.choice(random.choice(LETTERS)) for _ in range(random.choice((0, 1, 2, 5, 12, 40, 200))))
    text = list(random.choice(offered if how < 0.6 and offered else KNOWN))
    for _ in range(random.choice((0, 0, 1, 1, 2, 4))):
        place = random.randrange(len(text) + 1)
        how = random.randrange(4)
        if how == 0:
            text.insert(place, random.choice(random.choice(LETTERS)))
        elif how == 1 and text:
            del text[min(place, len(text) - 1)]
        elif how == 2:
            text[place:place] = list(" " + random.choice(KNOWN))
        elif text:
            text[min(place, len(text) - 1)] = random.choice(random.choice(LETTERS))
    return "".join(text)


def worlds() -> list[World]:
    """One world for every state that the shipped flows can reach, in visits of every sort."""
    book = load_book(book_text(shipped_flows()), REGISTRY, KINDS)
    no_rules = RuleBook((), {}, {})
    found = Explorer(no_rules, Keys(book)).run(roots(book, REGISTRY))
    return [node.world for node in found.nodes]


def fuzz(texts: int, places: list[World], seed: int = SEED) -> Told:
    """Sends random texts, a few in a row, each row from a random state on."""
    random, told = Random(seed), Told()
    while told.texts < texts:
        world: World | None = random.choice(places)
        row: list[str] = []
        while world is not None and len(row) < IN_A_ROW and told.texts < texts:
            row.append(random_text(random, [move.words for move in answers(world)]))
            world = _try(world, row, told)
    return told


def _try(world: World, row: list[str], told: Told) -> World | None:
    """Sends the last text of a row; the world after it, or None where the visit ended or something went wrong."""
    told.texts += 1
    text, where = row[-1], f"{world.side} {world.at.top.state}, {row}"
    before, shown = world.at.to_json(), _shown(world)
    try:
        now, decision = after(world, Move("text", text))
    except Exception as error:
        told.wrong.append(f"{where}: {type(error).__name__}: {error}")
        return None
    wrong = fault(world, Move("text", text), now, decision) or not_meant(world, text, now, decision)
    if world.at.to_json() != before or _shown(world) != shown:
        wrong = "what was passed in was changed"
    if now.at.misses > world.at.misses:
        told.not_understood += 1
        if unread_fault(world, now, decision):
            wrong = "not understood, and changed something all the same"
    told.wrote += bool(decision.entries)
    told.moved += now.at.top.state != world.at.top.state
    if wrong:
        told.wrong.append(f"{where}: {wrong}")
    return None if wrong or decision.new_visit else now


def _shown(world: World) -> object:
    """What the world looks like, to see that no text changes it in place."""
    snapshot = world.snapshot
    views = list(snapshot.sample_views), dict(snapshot.tags), dict(snapshot.kits), list(snapshot.times)
    return views, dict(snapshot.visit_view.answers), dict(world.timers)


def main(texts: int = 100_000, seed: int = SEED) -> None:
    began = time.monotonic()
    places = worlds()
    told = fuzz(texts, places, seed)
    print(
        f"{told.texts} random texts in {len(places)} states: {told.wrote} wrote something, "
        f"{told.moved} led on, "
        f"{told.not_understood} were not understood, {len(told.wrong)} went wrong; {time.monotonic() - began:.0f} s"
    )
    print("\n".join(told.wrong[:20]))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
