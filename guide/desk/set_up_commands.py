"""The commands that set a programme up: programme, sites, groups, tags, contacts and custody."""

import argparse
from pathlib import Path
from typing import Any

from guide.cli import record_path
from guide.desk.commands import record_options
from guide.desk.contact_commands import add_contact_commands
from guide.desk.tag_commands import add_tag_commands


def add_set_up_commands(commands: Any) -> None:
    """Adds the commands to those of the desk."""
    programme = commands.add_parser("programme", help="check and keep a programme's settings, or show the present one")
    programme.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a settings file (else the present one)")
    record_options(programme)
    programme.set_defaults(run=_programme)
    sites = commands.add_parser("sites", help="load sites from a CSV list, or list them")
    sites.add_argument(
        "file", nargs="?", type=Path, metavar="FILE", help="columns: code, name; words, flows, zone, ..."
    )
    record_options(sites)
    sites.set_defaults(run=_sites)
    groups = commands.add_parser("groups", help="load groups from a CSV list, or list them with their join words")
    groups.add_argument("file", nargs="?", type=Path, metavar="FILE", help="columns: code, name; word, site, people")
    record_options(groups)
    groups.set_defaults(run=_groups)
    card = commands.add_parser("card", help="write pocket cards of the groups, as PDF")
    card.add_argument("to", type=Path, metavar="TO", help="a PDF file that isn't there yet")
    card.add_argument("--number", required=True, metavar="NUMBER", help="the number that groups text to")
    card.add_argument("--group", metavar="CODE", help="four cards of this group (else one of each)")
    card.add_argument("--page", choices=("a4", "letter"), default="a4", help="the paper's size")
    record_options(card)
    card.set_defaults(run=_card)
    add_tag_commands(commands.add_parser("tags", help="make, load, assign, void and count tags"))
    add_contact_commands(commands)


def _programme(args: argparse.Namespace) -> int:
    from guide.desk.programme import load_programme, show_programme

    if args.file is None:
        return show_programme(record_path(args.db), args.json)
    return load_programme(record_path(args.db), args.file, args.json)


def _sites(args: argparse.Namespace) -> int:
    from guide.desk.sites import load_sites, show_sites

    if args.file is None:
        return show_sites(record_path(args.db), args.json)
    return load_sites(record_path(args.db), args.file, args.json)


def _groups(args: argparse.Namespace) -> int:
    from guide.desk.groups import load_groups, show_groups

    if args.file is None:
        return show_groups(record_path(args.db), args.json)
    return load_groups(record_path(args.db), args.file, args.json)


def _card(args: argparse.Namespace) -> int:
    from guide.desk.papers import print_cards

    return print_cards(record_path(args.db), args.to, args.number, args.group, args.page)
