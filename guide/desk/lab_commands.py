"""The commands about the lab: choose, ship, export."""

import argparse
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from guide.cli import record_path
from guide.desk.commands import record_options

if TYPE_CHECKING:
    from guide.desk.lab import Lab

SORTS = ("larva", "water", "sediment")


def add_lab_commands(commands: Any) -> None:
    """Adds the commands to those of the desk."""
    _add_choose(commands)
    _add_ship(commands.add_parser("ship", help="plan, pack, send and receive shipments"))
    _add_export(commands.add_parser("export", help="tables, log and papers of visits in a folder, to hand over"))


def _lab(args: argparse.Namespace) -> "Lab":
    from guide.desk.lab import open_lab

    return open_lab(record_path(args.db), datetime.now(UTC))


def _day(text: str) -> date:
    day = date.fromisoformat(text)
    if not 2000 <= day.year < 2200:
        raise ValueError
    return day


_day.__name__ = "day like 2026-10-26"


def _count(text: str) -> int:
    number = int(text)
    if number < 0:
        raise ValueError
    return number


_count.__name__ = "count"


def _amount(text: str) -> float:
    number = float(text)
    if not -100 <= number <= 1000:
        raise ValueError
    return number


_amount.__name__ = "number"


# Choose


def _add_choose(commands: Any) -> None:
    parser = commands.add_parser("choose", help="which larvae of a site go to the lab, and why the others stay")
    parser.add_argument("--site", required=True, metavar="CODE")
    parser.add_argument("--most", type=_count, metavar="N", help="at most so many (else the programme's target)")
    parser.add_argument("--minimum-mm", type=_amount, metavar="MM", help="none shorter (else the programme's minimum)")
    parser.add_argument("--family-min", type=_count, metavar="M", help="a family goes with so many or not at all")
    how = parser.add_mutually_exclusive_group()
    what_if = "only show what would be chosen, store nothing"
    how.add_argument("--dry-run", "--what-if", dest="how", action="store_const", const="what_if", help=what_if)
    how.add_argument("--stored", dest="how", action="store_const", const="stored", help="show the choice stored last")
    record_options(parser)
    parser.set_defaults(run=_choose, how="keep")


def _choose(args: argparse.Namespace) -> int:
    from guide.desk.choose import Wishes
    from guide.desk.show_choice import run_choose

    lab = _lab(args)
    settings = lab.settings
    wishes = Wishes(
        settings.target if args.most is None else args.most,
        settings.minimum_mm if args.minimum_mm is None else args.minimum_mm,
        max(1, settings.family_min if args.family_min is None else args.family_min),
    )
    return run_choose(lab, lab.site(args.site), wishes, args.how, args.json)


# Ship


def _add_ship(parser: argparse.ArgumentParser) -> None:
    record_options(parser)
    parser.set_defaults(run=_list)
    commands = parser.add_subparsers(dest="ship_command", metavar="COMMAND")
    listing = commands.add_parser("list", help="list the shipments, or show one")
    listing.add_argument("shipment", nargs="?", metavar="SHIPMENT")
    _ship_options(listing, _list)
    _add_plan(commands.add_parser("plan", help="good days with reasons, dry ice, checklist; --day keeps it"))
    pack = commands.add_parser("pack", help="scan or type tags into a box, each judged at once")
    pack.add_argument("shipment", metavar="SHIPMENT")
    pack.add_argument("--tags", type=Path, metavar="FILE", help="tags from a file, one a line (else standard input)")
    _ship_options(pack, _pack)
    sent = commands.add_parser("sent", help="the carrier has it: waybill and day")
    sent.add_argument("shipment", metavar="SHIPMENT")
    sent.add_argument("--waybill", required=True, metavar="NUMBER")
    sent.add_argument("--day", type=_day, metavar="DATE", help="the day of hand-over (else today)")
    sent.add_argument("--agreed", action="store_true", help="lab and carrier agreed to a day that isn't good")
    _ship_options(sent, _sent)
    unsent = commands.add_parser("unsent", help="take a hand-over back that was told wrongly")
    unsent.add_argument("shipment", metavar="SHIPMENT")
    unsent.add_argument("--reason", required=True, metavar="WHY")
    _ship_options(unsent, _unsent)
    received = commands.add_parser("received", help="hold the lab's list against what was packed")
    received.add_argument("shipment", metavar="SHIPMENT")
    received.add_argument("file", type=Path, metavar="FILE", help="CSV with the column tag; also condition, remark")
    received.add_argument("--day", type=_day, metavar="DATE", help="the day it came (else today)")
    _ship_options(received, _received)
    sheet = commands.add_parser("sheet", help="the custody record as PDF, to sign and to lay into the cooler")
    sheet.add_argument("shipment", metavar="SHIPMENT")
    sheet.add_argument("--to", type=Path, required=True, metavar="FILE")
    _ship_options(sheet, _sheet)
    drop = commands.add_parser("drop", help="give up a plan; its samples are free again")
    drop.add_argument("shipment", metavar="SHIPMENT")
    _ship_options(drop, _drop)


def _ship_options(parser: argparse.ArgumentParser, run: Any) -> None:
    """The record's options, also in front of the sub-command's name."""
    record_options(parser, inner=True)
    parser.set_defaults(run=run)


def _add_plan(parser: argparse.ArgumentParser) -> None:
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--site", action="append", metavar="CODE", help="a site, may be given several times")
    which.add_argument("--all", action="store_true", help="all sites")
    parser.add_argument("--only", action="append", choices=SORTS, help="only these (else all that waits)")
    parser.add_argument("--from", dest="first", type=_day, metavar="DATE", help="the first day (else today)")
    parser.add_argument("--days", type=_count, default=10, metavar="N", help="how many days (else 10)")
    parser.add_argument("--cooler", metavar="LxWxHxWALL", help="mm inside, and the wall")
    parser.add_argument("--inside", type=_amount, default=3.0, metavar="LITRES", help="room the samples take (else 3)")
    parser.add_argument("--air", type=_amount, default=30.0, metavar="CELSIUS", help="the warmest on the way (else 30)")
    parser.add_argument("--day", type=_day, metavar="DATE", help="keep the plan as a shipment for this day")
    parser.add_argument("--agreed", action="store_true", help="lab and carrier agreed to a day that isn't good")
    _ship_options(parser, _plan)


def _today(lab: "Lab") -> date:
    """Today at the programme's first site."""
    zones = [site.zone for site in lab.sites().values()]
    return lab.now.astimezone(ZoneInfo(zones[0] if zones else "UTC")).date()


def _plan(args: argparse.Namespace) -> int:
    from guide.desk.lab import DeskError
    from guide.desk.ship_plan import DEFAULT_COOLER, PlanWish, box_of
    from guide.desk.show_plan import run_plan

    lab = _lab(args)
    if not 1 <= args.days <= 366:
        raise DeskError(f"--days {args.days}: 1 to 366")
    sites = tuple(lab.site(word) for word in args.site or ())
    first = args.first or args.day or _today(lab)
    box = box_of(args.cooler or DEFAULT_COOLER, args.inside, args.air)
    wish = PlanWish(sites, tuple(args.only or ()), first, args.days, box)
    return run_plan(lab, wish, args.day, args.agreed, args.json)


def _list(args: argparse.Namespace) -> int:
    from guide.desk.shipments import run_list, run_show

    lab = _lab(args)
    shipment = getattr(args, "shipment", None)
    return run_show(lab, shipment, args.json) if shipment else run_list(lab, args.json)


def _pack(args: argparse.Namespace) -> int:
    from guide.desk.pack import run_pack

    return run_pack(_lab(args), args.shipment, args.tags, args.json)


def _sent(args: argparse.Namespace) -> int:
    from guide.desk.shipments import HandedOver, run_sent

    lab = _lab(args)
    today = _today(lab)
    told = HandedOver(args.waybill, args.day or today, today, args.agreed)
    return run_sent(lab, args.shipment, told, args.json)


def _unsent(args: argparse.Namespace) -> int:
    from guide.desk.shipments import run_unsent

    return run_unsent(_lab(args), args.shipment, args.reason, args.json)


def _received(args: argparse.Namespace) -> int:
    from guide.desk.lab import DeskError
    from guide.desk.received import run_received

    lab = _lab(args)
    if args.day and args.day > _today(lab):
        raise DeskError(f"{args.day} is still to come: tell it when the lab has the shipment")
    return run_received(lab, args.shipment, args.file, args.day or _today(lab), args.json)


def _drop(args: argparse.Namespace) -> int:
    from guide.desk.shipments import run_drop

    return run_drop(_lab(args), args.shipment, args.json)


def _sheet(args: argparse.Namespace) -> int:
    from guide.desk.export_papers import run_sheet

    return run_sheet(_lab(args), args.shipment, args.to)


# Export


def _add_export(parser: argparse.ArgumentParser) -> None:
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--visit", metavar="VISIT", help="one visit, by its code")
    which.add_argument("--site", metavar="CODE", help="all visits of a site")
    which.add_argument("--all", action="store_true", help="all visits, with the desk's own log")
    parser.add_argument(
        "--to", type=Path, required=True, metavar="DIR", help="a new folder, or one of an earlier export"
    )
    parser.add_argument("--practice", action="store_true", help="practice visits, and only those, marked everywhere")
    parser.add_argument("--tables", action="store_true", help="tables and log alone, no papers")
    record_options(parser)
    parser.set_defaults(run=_export)


def _export(args: argparse.Namespace) -> int:
    from guide.desk.export import Wish, run_export

    wish = Wish(args.visit, args.site, args.practice, not args.tables)
    return run_export(_lab(args), wish, args.to, args.json)
