"""``flow try``: shows how replies are read."""

import json
import sys
from dataclasses import replace
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
        print(f"read: {json.dumps(shown['read'], ensure_ascii=False)}\nsure: {json.dumps(shown['sure'])}")
        if shown["say"]:
            print(f"say:  {shown['say']}")
        return 0
    for raw in sys.stdin.buffer:
        line = raw.decode("utf-8", "replace").rstrip("\r\n")
        print(json.dumps(attempt(book, kind, line, asked), ensure_ascii=False), flush=True)
    return 0


def _asked(book: FlowBook, kind: str, step: str | None) -> Asked:
    if kind not in book.kinds:
        raise WadelineError(f"there is no reply kind {kind!r}; the kinds are {', '.join(book.kinds)}")
    asked = Asked()
    if step is not None:
        if step not in book.steps:
            raise WadelineError(f"there is no step {step!r}; a step is flow.step, such as larva.measure")
        asked = book.steps[step].asked
    return replace(asked, tag_width=book.settings.tags.width, now=datetime.now().astimezone())


def attempt(book: FlowBook, kind: str, text: str, asked: Asked) -> dict[str, Any]:
    """One text, read as a kind: ``read`` is null when not understood, ``say`` what the guide would say to it."""
    reading = book.kinds[kind].read(text, asked)
    say = ""
    if reading.phrase:
        template = book.in_language(book.phrases[reading.phrase])
        say = template.format_map({"said": quote(text), **reading.blanks})
    return {"text": text, "read": reading.value, "sure": bool(reading.sure), "say": say}
