"""The command ``wadeline serve``: over HTTP with a settings file, or over a modem's folder."""

import argparse
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from guide.errors import WadelineError
from guide.gateway.serve_settings import ServeSettings, read_serve_settings

if TYPE_CHECKING:
    from guide.gateway.serve_check import Checked

if TYPE_CHECKING:
    from guide.flow.model import FlowBook
    from guide.gateway.exchange import Exchange


def serve_options(parser: argparse.ArgumentParser) -> None:
    """The options of ``serve``."""
    parser.add_argument("settings", type=Path, nargs="?", metavar="SETTINGS.toml", help="where texts come and go")
    parser.add_argument("--modem", type=Path, metavar="DIR", help="the folder of a Gammu daemon, instead of HTTP")
    parser.add_argument("--db", type=Path, help="the record, where no settings file names one")
    parser.add_argument("--check", action="store_true", help="say what is reachable, missing or unsafe; serve nothing")
    parser.add_argument("--send-to", metavar="NUMBER", help="with --check: send one test text")
    parser.add_argument("--unit", action="store_true", help="print a systemd unit for this command")


def run_serve(args: argparse.Namespace) -> int:
    """Runs it; returns the exit code."""
    settings = _settings(args)
    if args.unit:
        from guide.gateway.serve_check import unit

        print(unit(settings, _arguments(args), args.modem), end="")
        return 0
    if args.check:
        return _check(args, settings)
    from guide.cli import open_exchange
    from guide.gateway.alone import hold_alone
    from guide.gateway.door import Door
    from guide.gateway.numbers import check_numbers
    from guide.gateway.serve_record import programme_of

    check_numbers(settings.number, settings.region)
    record = settings.record
    carried = hold_alone(record) if record.exists() else None  # before a record that another carries is changed
    programme_of(settings)

    where = argparse.Namespace(db=settings.record, programme=settings.programme, flows=settings.flows, seed=None)
    exchange = open_exchange(where, door=Door(settings.door))
    fresh_book = _fresh_book(where, exchange)
    with closing(carried or hold_alone(record)):
        if args.modem:
            from guide.gateway.modem import serve_modem

            return serve_modem(settings, exchange, args.modem, fresh_book)
        from guide.gateway.serve import serve_http

        return serve_http(settings, exchange, fresh_book)


def _fresh_book(where: argparse.Namespace, exchange: "Exchange") -> Callable[[], "FlowBook | None"]:
    """Gives the book anew when the desk has loaded a programme or sites; a programme file of the settings stays."""
    from guide.cli import read_book
    from guide.record.programme import loaded_at

    db = exchange.store.db
    seen = loaded_at(db)

    def fresh_book() -> "FlowBook | None":
        nonlocal seen
        at = loaded_at(db)
        if where.programme is not None or at == seen:
            return None
        seen = at
        return read_book(where, db)

    return fresh_book


def _settings(args: argparse.Namespace) -> ServeSettings:
    if args.settings is not None:
        return read_serve_settings(args.settings)
    if args.modem is None:
        raise WadelineError("serve needs a SETTINGS.toml, or --modem DIR; README.md shows both")
    from guide.cli import record_path

    return ServeSettings(record_path(args.db))


def _arguments(args: argparse.Namespace) -> list[str]:
    words = [str(args.settings.resolve())] if args.settings else []
    words += ["--modem", str(args.modem.resolve())] if args.modem else []
    return words + (["--db", str(args.db.resolve())] if args.db else [])


def _check(args: argparse.Namespace, settings: ServeSettings) -> int:
    from guide.gateway.serve_check import check

    found = check(settings)
    if args.modem:
        from guide.gateway.modem_check import check_modem

        check_modem(args.modem, found)
    print(found.as_text())
    if args.send_to:
        sent = _send_test(args, settings)
        print(sent.as_text())
        found.wrong += sent.wrong
    return 1 if found.wrong else 0


def _send_test(args: argparse.Namespace, settings: ServeSettings) -> "Checked":
    if args.modem:
        from guide.gateway.modem_check import send_test_by_modem

        return send_test_by_modem(args.modem, args.send_to, settings.region)
    from guide.gateway.serve_check import send_test

    return send_test(settings, args.send_to)
