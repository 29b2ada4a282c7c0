"""The commands under ``wadeline desk tags``."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from guide.cli import record_path
from guide.desk.commands import record_options

if TYPE_CHECKING:
    from guide.desk.tags import Pool


def add_tag_commands(parser: argparse.ArgumentParser) -> None:
    """Adds the commands about tags."""
    commands = parser.add_subparsers(dest="tags_command", required=True, metavar="COMMAND")
    make = commands.add_parser("make", help="make tags with check digits")
    make.add_argument("count", type=int, metavar="COUNT", help="how many")
    make.add_argument("--first", type=int, metavar="NUMBER", help="the first number (else behind the highest there is)")
    make.add_argument("--site", metavar="CODE", help="for the pairs of this site only")
    make.set_defaults(run=_make)
    load = commands.add_parser("load", help="load the lab's own list: a code a line, or CSV with tag and site")
    load.add_argument("file", type=Path, metavar="FILE")
    load.set_defaults(run=_load)
    assign = commands.add_parser("assign", help="give the free tags from FIRST to LAST to the pairs of a site")
    assign.add_argument("first", metavar="FIRST")
    assign.add_argument("last", metavar="LAST")
    assign.add_argument("--site", metavar="CODE", help="a site's code (else any site again)")
    assign.set_defaults(run=_assign)
    void = commands.add_parser("void", help="make free tags void: slips lost, torn or wet")
    void.add_argument("tags", nargs="+", metavar="TAG")
    void.add_argument("--reason", required=True, metavar="WORDS", help="why, in a few words")
    void.set_defaults(run=_void)
    show = commands.add_parser("list", help="count tags by site and status")
    show.add_argument("--each", action="store_true", help="each tag, with its sample and visit")
    show.set_defaults(run=_list)
    sheet = commands.add_parser("sheet", help="write a printable sheet of the free tags, with QR codes, as PDF")
    _sheet_options(sheet)
    for command in (make, load, assign, void, show, sheet):
        command.add_argument("--practice", action="store_true", help="the pool of practice tags")
        record_options(command)


def _sheet_options(sheet: argparse.ArgumentParser) -> None:
    sheet.add_argument("to", type=Path, metavar="TO", help="a PDF file that isn't there yet")
    sheet.add_argument("--site", metavar="CODE", help="the tags given to this site (else all)")
    sheet.add_argument("--first", metavar="TAG", help="from this tag on")
    sheet.add_argument("--last", metavar="TAG", help="up to this tag")
    sheet.add_argument("--page", choices=("a4", "letter", "a5"), default="a4", help="the paper's size")
    sheet.add_argument("--columns", type=int, default=3, metavar="N", help="slips side by side (3)")
    sheet.add_argument("--rows", type=int, default=8, metavar="N", help="slips one below the other (8)")
    sheet.add_argument("--copies", type=int, default=1, metavar="N", help="of each slip (1)")
    sheet.set_defaults(run=_sheet)


def _pool(args: argparse.Namespace) -> "Pool":
    from guide.desk.tags import open_pool

    return open_pool(record_path(args.db), args.practice)


def _make(args: argparse.Namespace) -> int:
    from guide.desk.tags import make_tags, say_done, were_there

    pool = _pool(args)
    codes = make_tags(pool, args.count, args.first, args.site)
    say_done(codes, "made", pool, args.json)
    before = were_there(pool, codes)
    if before and not args.json:
        print(before)
    return 0


def _load(args: argparse.Namespace) -> int:
    from guide.desk.tags import load_tags, say_done

    pool = _pool(args)
    return say_done(load_tags(pool, args.file), "loaded", pool, args.json)


def _assign(args: argparse.Namespace) -> int:
    from guide.desk.tags import assign_tags, say_done

    pool = _pool(args)
    codes = assign_tags(pool, args.first, args.last, args.site)
    return say_done(codes, f"for {args.site or 'any site'}", pool, args.json)


def _void(args: argparse.Namespace) -> int:
    from guide.desk.tags import say_done, void_tags

    pool = _pool(args)
    return say_done(void_tags(pool, args.tags, args.reason), "void", pool, args.json)


def _list(args: argparse.Namespace) -> int:
    from guide.desk.tags import show_tags

    return show_tags(_pool(args), args.json, args.each)


def _sheet(args: argparse.Namespace) -> int:
    from guide.desk.papers import print_tags
    from guide.papers.tag_sheet import Layout

    layout = Layout(args.page, args.columns, args.rows, args.copies)
    return print_tags(_pool(args), args.to, layout, args.site, (args.first, args.last))
