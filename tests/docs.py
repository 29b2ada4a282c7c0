"""Generates the parts of the documents that come from the program: ``python -m tests.docs`` writes them in place."""

import argparse
import re
from dataclasses import fields
from pathlib import Path
from typing import get_type_hints

from guide.cli import build_parser
from guide.flow.replies.kinds import KINDS
from guide.flow.settings import Settings
from guide.gateway.serve_settings import ServeSettings, TextsIn, TextsOut
from guide.talk.words import WORDS
from tests.docs_desk import desk

ROOT = Path(__file__).parent.parent
PHONE_WORDS = (
    ("JOIN", "JOIN and a word: this phone takes over the talk of the one that was given the word"),
    ("STOP", "no more texts to this phone; also END, QUIT, CANCEL, UNSUBSCRIBE"),
    ("START", "texts again"),
    ("HELP", "who is talking, and how to stop it"),
)


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    """A Markdown table."""
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join(f"| {' | '.join(cell.replace('|', '/') for cell in line)} |" for line in lines)


def words() -> str:
    """The words that work anywhere."""
    rows = [(f"`{word.name}`", word.help) for word in WORDS]
    return table(("text", "what it does"), [*rows, *((f"`{word}`", text) for word, text in PHONE_WORDS)])


def settings() -> str:
    """Every setting of a programme, with the demo's value where there is one."""
    rows = []
    for name, declared in get_type_hints(Settings, include_extras=True).items():
        default = Settings._field_defaults.get(name)
        shown = f"{default}" if isinstance(default, int | float | str) else ""
        rows.append((f"`{name}`", declared.__metadata__[0], shown.lower() if isinstance(default, bool) else shown))
    return table(("setting", "meaning", "if not given"), rows)


def serve() -> str:
    """Every setting of ``serve``, table by table, with its value where none is given."""
    rows = []
    for title, kind in (("", ServeSettings), ("texts_in.", TextsIn), ("texts_out.", TextsOut)):
        for one in fields(kind):
            default = one.default if isinstance(one.default, int | float | str) else ""
            rows.append((f"`{title}{one.name}`", one.metadata["doc"], f"{default}"))
    return table(("setting", "meaning", "if not given"), rows)


def kinds() -> str:
    """Every reply kind, with what it reads."""
    rows = [(f"`{name}`", (kind.__class__.__doc__ or "").split("\n")[0]) for name, kind in KINDS.items()]
    return table(("kind", "what it reads"), rows)


def commands() -> str:
    """Every command and its options."""
    return table(("command", "options", "what it does"), list(_commands(build_parser(), "wadeline")))


def _commands(parser: argparse.ArgumentParser, name: str) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            helps = {choice.dest: choice.help or "" for choice in action._choices_actions}
            for command, sub in action.choices.items():
                if any(isinstance(deeper, argparse._SubParsersAction) for deeper in sub._actions):
                    rows += _commands(sub, f"{name} {command}")
                else:
                    rows.append((f"`{name} {command}`", _options(sub), helps.get(command, "")))
    return rows


def _options(parser: argparse.ArgumentParser) -> str:
    shown = []
    for action in parser._actions:
        if isinstance(action, argparse._HelpAction):
            continue
        name = action.option_strings[-1] if action.option_strings else str(action.metavar or action.dest)
        shown.append(f"`{name}`")
    return " ".join(shown)


def conversation() -> str:
    """A piece of a demo conversation, word for word: the second larva of the coach visit."""
    text = (ROOT / "transcripts_demo" / "coach_visit.txt").read_text("utf-8")
    piece = text[text.index("# Larva 2.") :]
    piece = piece[: piece.index("\n\n")]
    return f"```\n{piece}\n```"


PARTS = {
    "README.md": {
        "conversation": conversation,
        "words": words,
        "commands": commands,
        "settings": settings,
        "serve": serve,
        "desk": desk,
    },
    "DEVELOPERS.md": {"kinds": kinds},
}


def renewed(document: str) -> str:
    """A document with its generated parts made anew."""
    text = (ROOT / document).read_text("utf-8")
    for name, make in PARTS[document].items():
        pattern = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end -->)", re.S)
        assert pattern.search(text), f"{document} has no part <!-- {name} -->"
        body = make()
        text = pattern.sub(lambda found, body=body: f"{found[1]}{body}\n{found[2]}", text)
    return text


if __name__ == "__main__":
    for document in PARTS:
        (ROOT / document).write_text(renewed(document), "utf-8")
