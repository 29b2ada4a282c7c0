"""The flow book a drill's visits begin with: the programme's own, always practice, and with the drill's questions.

A visit keeps the book it began with, stored by hash, so that any process that works its texts (a terminal, the pipe, a
gateway) has the drill's questions and knows the visit for practice without knowing of drills.
"""

import json
import re
from collections.abc import Iterable, Mapping

from guide.drill.model import Drill, DrillError, Surprise
from guide.flow.load import FILE_MARK, load_book
from guide.flow.model import FlowBook
from guide.flow.replies.kinds import KINDS
from guide.talk.blanks import REGISTRY

QUESTIONS = "surprise"
"""The flow that holds the questions of surprises."""

_HEAD = 'title = "Surprises of a drill"\nfirst = "start"\ncalled = true\n\n[start]\nkind = "route"\n'
_RETURN = 'then = [{ go = "return" }]\n'
_FIRST_TABLE = re.compile(r"^\s*\[", re.MULTILINE)


def drill_book(book: FlowBook, drill: Drill) -> FlowBook:
    """The book of a drill's visits; raises DrillError if they would not be practice."""
    parts = [part for part in ("\n" + book.text).split("\n" + FILE_MARK) if part.strip()]
    files = dict(part.split("\n", 1) for part in parts)
    if f"{QUESTIONS}.toml" in files:
        raise DrillError(f"the flow files have a {QUESTIONS}.toml of their own; drills need that name")
    settings = files["programme.toml"]
    for name, value in (("practice", "true"), ("target", str(drill.target or book.settings.target))):
        settings = _with_setting(settings, name, value)
    files["programme.toml"] = settings
    files[f"{QUESTIONS}.toml"] = questions(one.surprise for one in drill.coming)
    text = "".join(f"{FILE_MARK}{name}\n{files[name].rstrip()}\n" for name in sorted(files))
    made = load_book(text, REGISTRY, KINDS)
    if not made.settings.practice:
        raise DrillError("the programme's settings can't be made practice: put practice = ... on a line of its own")
    return made


def is_drill_book(book: FlowBook) -> bool:
    """True for a book that drill_book made."""
    return QUESTIONS in book.flows


def _with_setting(text: str, name: str, value: str) -> str:
    """A settings file with one of its top values set, whether or not it was there."""
    found = _FIRST_TABLE.search(text)
    top, rest = (text[: found.start()], text[found.start() :]) if found else (text, "")
    line = re.compile(rf"^\s*{name}\s*=.*$", re.MULTILINE)
    return f"{name} = {value}\n{line.sub('', top)}{rest}"


def questions(surprises: Iterable[Surprise]) -> str:
    """A flow file with a step for each surprise that asks a question of its own."""
    steps = [_HEAD + _RETURN]
    for surprise in surprises:
        if surprise.options:
            steps.append(_step(surprise))
    return "\n".join(steps)


def _step(surprise: Surprise) -> str:
    lines = [f"[{surprise.name}]", *_texts("say", surprise.say), 'kind = "choice"']
    lines += [f"options.{json.dumps(code)} = {json.dumps(list(words))}" for code, words in surprise.options.items()]
    return "\n".join(lines) + "\n" + _RETURN


def _texts(key: str, texts: Mapping[str, str]) -> list[str]:
    return [f"{key}.{language} = {json.dumps(text)}" for language, text in texts.items()]
