"""The talk in a plain terminal: lines in, texts out. Works as well with standard input piped."""

import sys
from datetime import UTC, datetime

from guide.flow.replies.clean import clean
from guide.gateway.exchange import Exchange, TextIn
from guide.record.store import TextOut

TERMINAL = "terminal"
"""The terminal's number in the record."""


def chat(exchange: Exchange) -> int:
    """Talks until the input ends. What was said is in the record: the next start goes on from there."""
    if exchange.book.settings.practice:
        print("Practice visit of the demo programme: nothing here counts as a real sample.")
    print("Answer as you would text. ? explains, BACK asks again, Ctrl-D leaves and keeps everything.\n")
    _show(exchange.receive(TextIn(TERMINAL, _opening(exchange)), datetime.now(UTC)))
    while (line := _read()) is not None:
        now = datetime.now(UTC)
        while (late := exchange.fire_next(now)) is not None:
            _show(late)
        _show(exchange.receive(TextIn(TERMINAL, line), now))
    print("\nEverything is kept. Go on later with: wadeline chat")
    return 0


def _opening(exchange: Exchange) -> str:
    """Nothing, for a first visit to begin with; the question where we are, for one that is going on."""
    with exchange.store.transaction():
        phone = exchange.store.phone(TERMINAL)
    return "" if phone.seat is None else "WHERE"


def _read() -> str | None:
    try:
        line = input("> " if sys.stdin.isatty() else "")
    except (EOFError, KeyboardInterrupt):
        return None
    return line.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _show(texts: list[TextOut]) -> None:
    for out in texts:
        if out.number == TERMINAL:
            print(f"{clean(out.text)}\n", flush=True)
