"""Counts of the talk: texts and segments a sample by pace, the digest's texts, and how long the flow check takes."""

import io
import time
from argparse import Namespace
from contextlib import redirect_stdout

from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange
from guide.papers.digest import write
from guide.papers.visit_digest import visit_digest
from guide.proof.command import check
from guide.record.store import TextOut
from guide.talk.blanks import REGISTRY
from guide.talk.sms import segments
from tests.bench.scene import Measured, Phones, big_book, folder, new_exchange

PACES = ("COACH", "STEADY", "BRISK")
FIRST, LAST = 4, 11
"""Samples between which a pace is counted: the first ones go with the offer of other paces."""


def measure() -> list[Measured]:
    """All counts."""
    lines = []
    with folder() as place:
        for pace in PACES:
            exchange = new_exchange(place / f"{pace}.db", big_book())
            lines += _a_sample(exchange, pace)
            if pace == "COACH":
                texts = write(visit_digest(exchange.store.db))
                lines.append(Measured("digest of a visit, 12 larvae: texts", "texts", [float(len(texts))]))
                sizes = [float(segments(text)) for text in texts]
                lines.append(Measured("digest of a visit, 12 larvae: segments", "segments", [sum(sizes)]))
            exchange.store.db.close()
    return [*lines, _flow_check()]


def _a_sample(exchange: Exchange, pace: str) -> list[Measured]:
    """Plays a whole visit at a pace; texts in, texts out and segments out for a sample in the middle of it."""
    phones, last, counted = Phones(1), "", [0, 0, 0]
    begun: list[int] = []
    ended: list[int] = []
    while last != "close.end":
        (text,) = phones.next_texts(1)
        outs = exchange.receive(text, phones.now)
        counted = [counted[0] + 1, counted[1] + len(outs), counted[2] + sum(out.segments for out in outs)]
        phones.heard(_at_pace(outs, pace))
        last = outs[-1].step or ""
        (kept,) = exchange.store.db.execute("SELECT count(*) FROM sample WHERE status = 'kept'").fetchone()
        begun = counted if kept == FIRST and not begun else begun
        ended = counted if kept == LAST and not ended else ended
    each = [(after - before) / (LAST - FIRST) for before, after in zip(begun, ended, strict=True)]
    named = zip(("texts in", "texts out", "segments out"), each, strict=True)
    return [Measured(f"{name} a sample, {pace.lower()}", "a sample", [count]) for name, count in named]


def _at_pace(outs: list[TextOut], pace: str) -> list[TextOut]:
    """Where paces are offered, this one is taken."""
    return [out._replace(options=(pace,)) if out.step == "larva.pace" else out for out in outs]


def _flow_check() -> Measured:
    """Seconds of ``wadeline flow check`` on the shipped flows, the book already read."""
    book = load_book(book_text(shipped_flows()), REGISTRY, KINDS)
    took = []
    for _ in range(3):
        begun = time.perf_counter()
        with redirect_stdout(io.StringIO()):
            check(book, Namespace(flows=None, table=False, json=False, deep=False))
        took.append(time.perf_counter() - begun)
    return Measured("flow check, the whole book", "s", took)
