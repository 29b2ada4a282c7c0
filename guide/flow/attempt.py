"""``flow try``: shows how replies are read."""

import json
import sys
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from guide.errors import WadelineError
from guide.flow.model import FlowBook
from guide.flow.replies.base import Asked
from guide.flow.replies.clean import quote


def run_attempts(book: FlowBook, kind: str, text: str | None, step: str | None) -> int:
    """Prints how one text is read, or as JSON lines how each line of standard input is."""
    asked = _asked(book, kind, step)
    if text is not None:
        shown = attempt(book, kind, text, asked)
        _print(f"read: {json.dumps(shown['read'], ensure_ascii=False)}")
        _print(f"sure: {json.dumps(shown['sure'])}")
        if shown["say"]:
            _print(f"say:  {shown['say']}")
        return 0
    for raw in sys.stdin.buffer:
        line = raw.decode("utf-8", "replace").rstrip("\r\n")
        answer = json.dumps(attempt(book, kind, line, asked), ensure_ascii=False)
        sys.stdout.buffer.write(answer.encode() + b"\n")  # JSON lines are UTF-8 whatever the terminal is
        sys.stdout.buffer.flush()
    return 0


def _print(line: str) -> None:
    """A line for people; what the terminal can't show is a question mark."""
    encoding = sys.stdout.encoding or "utf-8"
    print(line.encode(encoding, "replace").decode(encoding))


def _asked(book: FlowBook, kind: str, step: str | None) -> Asked:
    if kind not in book.kinds:
        message = f"there is no reply kind {kind!r}{_nearest(kind, book.kinds)}; the kinds are {', '.join(book.kinds)}"
        raise WadelineError(message)
    asked = Asked()
    if step is not None:
        if step not in book.steps:
            hint = _nearest(step, book.steps) or "; a step is flow.step, such as larva.measure"
            raise WadelineError(f"there is no step {step!r}{hint}")
        asked = book.steps[step].asked
    tags = book.settings.tags
    return asked._replace(tag_width=tags.width, tag_check=tags.check, now=datetime.now().astimezone())


def _nearest(given: str, names: Iterable[str]) -> str:
    from difflib import get_close_matches  # only where a name is wrong

    near = get_close_matches(given, list(names), 1, 0.6)
    return f", did you mean {near[0]!r}?" if near else ""


def attempt(book: FlowBook, kind: str, text: str, asked: Asked) -> dict[str, Any]:
    """One text, read as a kind: ``read`` is null when not understood, ``say`` what the guide would say to it."""
    reading = book.kinds[kind].read(text, asked)
    say = ""
    if reading.phrase:
        template = book.in_language(book.phrases[reading.phrase])
        say = template.format_map({"said": quote(text), **reading.blanks})
    return {"text": text, "read": reading.value, "sure": bool(reading.sure), "say": say}
