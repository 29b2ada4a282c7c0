"""Says what is wrong with a command line: what it was, the nearest right word, an example that works, where help is.

Imported only when a line is wrong. What argparse found is told in our own words; a message it may say that isn't known
here is passed on as it is.
"""

import argparse
import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches

from guide.examples import EXAMPLES

_KINDS = {
    "int": "a whole number, such as 3",
    "count": "a whole number that makes sense there, such as 3",
    "_count": "a whole number from 1 on, such as 20",
    "float": "a number, such as 1.5",
    "number": "a number, such as 1.5",
    "day like 2026-10-26": "a day that there is, such as 2026-10-26",
}
"""Values by the names argparse calls their types."""

_FEW = 8


def what_is_wrong(parser: argparse.ArgumentParser, words: Sequence[str], error: argparse.ArgumentError) -> str:
    """A sentence on the line, an example for its command, and where its help is."""
    meant, rest = command_meant(parser, words)
    name = meant.prog.removeprefix(parser.prog).strip()
    found = _unknown_option(meant, rest) or _said(meant, error)
    commands = _commands(meant)
    near = _near(rest[0], commands.choices) if commands is not None and rest else []
    example = EXAMPLES.get(" ".join([name, *near]).strip(), EXAMPLES[""])
    lead, end = f"{name}: " if name else "", "" if found.endswith("?") else "."
    return f"{lead}{found}{end} For example: {parser.prog} {example} (help: {meant.prog} --help)"


def command_meant(
    parser: argparse.ArgumentParser, words: Sequence[str]
) -> tuple[argparse.ArgumentParser, Sequence[str]]:
    """The innermost command that the words name, and the words behind its name."""
    commands = _commands(parser)
    for place, word in enumerate(words):
        if word == "--":
            break
        if commands is not None and word in commands.choices:
            return command_meant(commands.choices[word], words[place + 1 :])
        if commands is not None and not word.startswith("-"):
            break
    return parser, words


def _commands(parser: argparse.ArgumentParser) -> "argparse._SubParsersAction[argparse.ArgumentParser] | None":
    return next((action for action in parser._actions if isinstance(action, argparse._SubParsersAction)), None)


def _unknown_option(parser: argparse.ArgumentParser, words: Sequence[str]) -> str:
    """The first option that the command doesn't know, in a sentence; empty if it knows all."""
    known, commands = [option for action in parser._actions for option in action.option_strings], _commands(parser)
    for place, word in enumerate(words):
        if word == "--" or (commands is not None and not word.startswith("-")):
            break
        option = word.split("=")[0]
        if re.fullmatch(r"--[^\W\d][\w-]*|-[^\W\d]", option) and not any(one.startswith(option) for one in known):
            if commands is not None and any(later in commands.choices for later in words[place + 1 :]):
                return f"{option} stands before the command and belongs behind it"
            return f"there is no option {option}{_did_you_mean(option, known)}"
    return ""


def _said(parser: argparse.ArgumentParser, error: argparse.ArgumentError) -> str:
    """What argparse found, in a sentence without its full stop."""
    message, name = error.message, error.argument_name or ""
    for pattern, tell in _TELL:
        found = re.match(pattern, message, re.DOTALL)
        if found is not None:
            return tell(parser, name, *found.groups())
    return f"{name}: {message}".removeprefix(": ").rstrip(".")


def _choice(parser: argparse.ArgumentParser, name: str, given: str) -> str:
    named = (one for one in parser._actions if name in (one.metavar, one.dest, *one.option_strings))
    action = next(named, None)
    if action is None:
        return f"{name} can't be {given}"
    known = [str(choice) for choice in action.choices or ()]
    near = _did_you_mean(given, known)
    if isinstance(action, argparse._SubParsersAction):
        return f"there is no command {given}{near or _list(known)}"
    return f"{name} takes {' or '.join(known)}, not {given}{near}"


def _value(parser: argparse.ArgumentParser, name: str, kind: str, given: str) -> str:
    return f"{name} takes {_KINDS.get(kind, 'another value')}, not {given}"


def _missing(parser: argparse.ArgumentParser, name: str, names: str) -> str:
    commands = _commands(parser)
    if commands is not None and names == commands.metavar:
        return f"a command is missing{_list(list(commands.choices))}"
    return f"{names.replace(', ', ' and ')} {'are' if ', ' in names else 'is'} missing"


def _one_of(parser: argparse.ArgumentParser, name: str, names: str) -> str:
    return f"one of {' or '.join(names.split())} is missing"


def _ambiguous(parser: argparse.ArgumentParser, name: str, option: str, known: str) -> str:
    return f"{option} may be {known.replace(', ', ' or ')}: write it out"


def _too_many(parser: argparse.ArgumentParser, name: str, words: str) -> str:
    first = words.split()[0]
    if first.startswith("-") and any(first in action.option_strings for action in parser._actions):
        return f"{first} stands before the command and belongs behind it"
    return f"{words} is more than it takes; words that belong together stand in quotes"


_TELL = (
    (r"invalid choice: '?(.*?)'? \(", _choice),
    (r"invalid (.*) value: '(.*)'", _value),
    (r"expected (?:one|at least one|\d+) arguments?", lambda parser, name: f"{name} needs a value behind it"),
    (r"not allowed with argument (.*)", lambda parser, name, other: f"{name} and {other} don't go together"),
    (r"ignored explicit argument '(.*)'", lambda parser, name, given: f"{name} takes no value, {given} is too much"),
    (r"the following arguments are required: (.*)", _missing),
    (r"one of the arguments (.*) is required", _one_of),
    (r"ambiguous option: (\S+) could match (.*)", _ambiguous),
    (r"unrecognized arguments: (.*)", _too_many),
)


def _near(given: str, known: Iterable[str]) -> list[str]:
    return get_close_matches(given, list(known), 1, 0.6)


def _did_you_mean(given: str, known: Iterable[str]) -> str:
    near = _near(given, known)
    return f", did you mean {near[0]}?" if near else ""


def _list(known: Sequence[str]) -> str:
    return f"; there are {', '.join(known)}" if len(known) <= _FEW else ""
