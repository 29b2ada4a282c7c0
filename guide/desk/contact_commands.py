"""The commands about people: coordinators, custody, forgetting; and the backup that keeps what they hold."""

import argparse
from pathlib import Path
from typing import Any

from guide.cli import record_path
from guide.desk.commands import record_options


def add_contact_commands(commands: Any) -> None:
    """Adds the commands to those of the desk."""
    _coordinator_commands(commands.add_parser("coordinators", help="who is told of danger: list, add, remove"))
    custody = commands.add_parser("custody", help="who held a visit's cooler when, and adding to it")
    custody.add_argument("--visit", required=True, metavar="CODE", help="the visit's code")
    custody.add_argument("--add", metavar="INITIALS", help="who has the cooler now; initials only")
    custody.add_argument("--at", metavar="TIME", help="since when, at the site (else now), like '2026-07-04 18:30'")
    custody.add_argument("--seal", metavar="NUMBER", help="the number on the cooler's seal")
    record_options(custody)
    custody.set_defaults(run=_custody)
    forget = commands.add_parser("forget", help="blank a phone's number, or a visit's words, for good")
    which = forget.add_mutually_exclusive_group(required=True)
    which.add_argument("number", nargs="?", metavar="NUMBER", help="a phone's number")
    which.add_argument("--visit", metavar="CODE", help="the words of this visit")
    forget.add_argument("--initials", action="store_true", help="of the visit the initials alone")
    forget.add_argument("--yes", action="store_true", help="do it; else it is only said what would go")
    record_options(forget)
    forget.set_defaults(run=_forget)
    backup = commands.add_parser("backup", help="copy the record while it is in use, and verify the copy")
    backup.add_argument(
        "to",
        nargs="?",
        type=Path,
        metavar="TO",
        help="a folder, or a new file such as kept.db (else beside the record)",
    )
    record_options(backup)
    backup.set_defaults(run=_backup)


def _coordinator_commands(parser: argparse.ArgumentParser) -> None:
    commands = parser.add_subparsers(dest="coordinators_command", required=True, metavar="COMMAND")
    show = commands.add_parser("list", help="who is on the list")
    show.set_defaults(run=_list)
    add = commands.add_parser("add", help="put somebody on the list")
    add.add_argument("number", metavar="NUMBER", help="with its country, such as '+353 20 912 0001'")
    add.add_argument("name", metavar="NAME")
    add.set_defaults(run=_add)
    remove = commands.add_parser("remove", help="take somebody off the list")
    remove.add_argument("name", metavar="NAME")
    remove.set_defaults(run=_remove)
    for command in (show, add, remove):
        record_options(command)


def _list(args: argparse.Namespace) -> int:
    from guide.desk.coordinators import list_coordinators

    return list_coordinators(record_path(args.db), args.json)


def _add(args: argparse.Namespace) -> int:
    from guide.desk.coordinators import add_coordinator

    return add_coordinator(record_path(args.db), args.number, args.name, args.json)


def _remove(args: argparse.Namespace) -> int:
    from guide.desk.coordinators import remove_coordinator

    return remove_coordinator(record_path(args.db), args.name, args.json)


def _custody(args: argparse.Namespace) -> int:
    from guide.desk.custody import HandOver, add_hand_over, show_custody

    if args.add is not None:
        add_hand_over(record_path(args.db), args.visit, HandOver(args.add, args.at, args.seal))
    return show_custody(record_path(args.db), args.visit, args.json)


def _forget(args: argparse.Namespace) -> int:
    from guide.desk.forget import forget_number, forget_words

    if args.visit is None:
        return forget_number(record_path(args.db), args.number, args.yes, args.json)
    return forget_words(record_path(args.db), args.visit, args.initials, args.yes, args.json)


def _backup(args: argparse.Namespace) -> int:
    from guide.desk.backup import back_up

    return back_up(record_path(args.db), args.to, args.json)
