"""The commands that set a programme up: programme, sites, groups, tags, contacts and custody."""

import argparse
from pathlib import Path
from typing import Any

from guide.cli import record_path
from guide.desk.commands import record_options


def add_set_up_commands(commands: Any) -> None:
    """Adds the commands to those of the desk."""
    programme = commands.add_parser("programme", help="check and keep a programme's settings, or show the present one")
    programme.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a settings file (else the present one)")
    record_options(programme)
    programme.set_defaults(run=_programme)


def _programme(args: argparse.Namespace) -> int:
    from guide.desk.programme import load_programme, show_programme

    if args.file is None:
        return show_programme(record_path(args.db), args.json)
    return load_programme(record_path(args.db), args.file, args.json)
