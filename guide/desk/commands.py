"""The commands under ``wadeline desk``. Each imports what it needs when it runs."""

import argparse
from pathlib import Path
from typing import Any

from guide.cli import record_path


def add_desk_commands(parser: argparse.ArgumentParser) -> None:
    """All of the desk's commands and their options."""
    from guide.desk.lab_commands import add_lab_commands
    from guide.desk.review_commands import add_review_commands
    from guide.desk.set_up_commands import add_set_up_commands
    from guide.desk.texts import add_texts_command

    commands = parser.add_subparsers(dest="desk_command", required=True, metavar="COMMAND")
    proves = "prove that no entry, table or flow book of the record, or a file of its log, was changed"
    verify = commands.add_parser("verify", help=proves)
    verify.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a log.jsonl of an export (else the record)")
    record_options(verify)
    verify.set_defaults(run=_verify)
    add_set_up_commands(commands)
    add_review_commands(commands)
    add_texts_command(commands)
    add_lab_commands(commands)


def record_options(parser: argparse.ArgumentParser, inner: bool = False) -> None:
    """``--db`` and ``--json``, which every command of the desk takes; an ``inner`` command keeps its outer one's."""
    absent: dict[str, Any] = {"default": argparse.SUPPRESS} if inner else {}
    record = "the record (else WADELINE_DB, else one in your data folder)"
    parser.add_argument("--db", type=Path, help=record, **absent)
    parser.add_argument("--json", action="store_true", help="print JSON, for scripts", **absent)


def _verify(args: argparse.Namespace) -> int:
    from guide.desk.verify import verify_log_file, verify_record

    if args.file is not None and args.file.suffix == ".jsonl":
        return verify_log_file(args.file, args.json)
    return verify_record(args.file or record_path(args.db), args.json)
