"""The commands under ``wadeline desk``. Each imports what it needs when it runs."""

import argparse
from pathlib import Path

from guide.cli import record_path


def add_desk_commands(parser: argparse.ArgumentParser) -> None:
    """All of the desk's commands and their options."""
    commands = parser.add_subparsers(dest="desk_command", required=True, metavar="COMMAND")
    verify = commands.add_parser("verify", help="prove that nothing in the record was changed or cut")
    record_options(verify)
    verify.set_defaults(run=_verify)


def record_options(parser: argparse.ArgumentParser) -> None:
    """``--db`` and ``--json``, which every command of the desk takes."""
    parser.add_argument("--db", type=Path, help="the record (else WADELINE_DB, else one in your data folder)")
    parser.add_argument("--json", action="store_true", help="print JSON, for scripts")


def _verify(args: argparse.Namespace) -> int:
    from guide.desk.verify import verify_record

    return verify_record(record_path(args.db), args.json)
