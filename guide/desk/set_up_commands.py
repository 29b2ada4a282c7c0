"""The commands that set a programme up: programme, sites, groups, tags, contacts and custody."""

import argparse
from pathlib import Path
from typing import Any

from guide.cli import record_path
from guide.desk.commands import record_options
from guide.desk.contact_commands import add_contact_commands
from guide.desk.tag_commands import add_tag_commands
from guide.errors import WadelineError


def add_set_up_commands(commands: Any) -> None:
    """Adds the commands to those of the desk."""
    programme = commands.add_parser("programme", help="check and keep a programme's settings, or show the present one")
    programme.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a settings file (else the present one)")
    record_options(programme)
    programme.set_defaults(run=_programme)
    sites = commands.add_parser("sites", help="load sites from a CSV list, or list them")
    sites.add_argument(
        "file",
        nargs="?",
        type=Path,
        metavar="FILE",
        help="columns: code, name; words, flows, zone, lat, lon, permit, take_limit, protected, disinfectant",
    )
    sites.add_argument("--remove", metavar="CODE", help="take a site off the list that was never used")
    record_options(sites)
    sites.set_defaults(run=_sites)
    groups = commands.add_parser("groups", help="load groups from a CSV list, or list them with their join words")
    groups.add_argument("file", nargs="?", type=Path, metavar="FILE", help="columns: code, name; word, site, people")
    groups.add_argument("--remove", metavar="CODE", help="take a group off the list that was never used")
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
    from guide.desk.sites import load_sites, remove_site, show_sites

    if args.remove is not None:
        _alone(args)
        return remove_site(record_path(args.db), args.remove, args.json)
    if args.file is None:
        return show_sites(record_path(args.db), args.json)
    return load_sites(record_path(args.db), args.file, args.json)


def _alone(args: argparse.Namespace) -> None:
    if args.file is not None:
        raise WadelineError("--remove CODE takes no file: load the list and remove in two commands")


def _groups(args: argparse.Namespace) -> int:
    from guide.desk.groups import load_groups, remove_group, show_groups

    if args.remove is not None:
        _alone(args)
        return remove_group(record_path(args.db), args.remove, args.json)
    if args.file is None:
        return show_groups(record_path(args.db), args.json)
    return load_groups(record_path(args.db), args.file, args.json)


def _card(args: argparse.Namespace) -> int:
    from guide.desk.papers import print_cards

    return print_cards(record_path(args.db), args.to, args.number, args.group, args.page)
