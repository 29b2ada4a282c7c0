"""The commands that watch, review and merge visits. Each imports what it needs when it runs."""

import argparse
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from guide.cli import record_path
from guide.desk.acts import ACTS
from guide.desk.commands import record_options

if TYPE_CHECKING:
    from guide.gateway.exchange import Exchange


def add_review_commands(commands: Any) -> None:
    """Adds the commands to those of the desk."""
    _visit_options(commands.add_parser("visit", help="list visits, or show one with what to look at"))
    _fix_options(commands.add_parser("fix", help="put something of a visit or a sample right, with the reason"))
    accept = commands.add_parser("accept", help="accept a closed visit: its samples may go to the lab")
    accept.add_argument("visit", metavar="VISIT", help="the visit's code")
    accept.add_argument("--anyway", metavar="REASON", help="accept it although serious findings stand")
    record_options(accept)
    accept.set_defaults(run=_accept)
    _close_options(commands.add_parser("close", help="close a visit that nobody texts for any more, with the reason"))
    merge = commands.add_parser("merge", help="bring in the log of another machine: its record, or a log.jsonl")
    merge.add_argument("file", type=Path, metavar="FILE")
    record_options(merge)
    merge.set_defaults(run=_merge)
    board = commands.add_parser(
        "board", help="who is out, what they do, who is overdue, what is asked; in a pipe a table"
    )
    record_options(board)
    board.set_defaults(run=_board)
    questions = commands.add_parser("questions", help="list the questions that wait for an answer")
    record_options(questions)
    questions.set_defaults(run=_questions)
    say = commands.add_parser("say", help="send words to a seat, a visit, or a group's phones; answers their questions")
    say.add_argument(
        "to", metavar="TO", help="a visit's code, code/seat such as K7Q2M3PA/A, or a group's or seat's word"
    )
    say.add_argument("words", nargs="+", metavar="WORDS")
    record_options(say)
    say.set_defaults(run=_say_words)


def _visit_options(visit: argparse.ArgumentParser) -> None:
    visit.add_argument("visit", nargs="?", metavar="VISIT", help="a visit's code (else all are listed)")
    visit.add_argument("--talk", action="store_true", help="with every text and answer, in order")
    visit.add_argument("--practice", action="store_true", help="list practice visits, and only those")
    visit.add_argument("--state", choices=("open", "closed", "accepted"), help="list only these")
    record_options(visit)
    visit.set_defaults(run=_visit)


def _fix_options(fix: argparse.ArgumentParser) -> None:
    fix.add_argument("visit", metavar="VISIT", help="the visit's code")
    own = "an answer of the visit (site, day, group, people, ... or note), or a sample by its tag or name and one of "
    fix.add_argument("what", metavar="WHAT", help=f"{own}{', '.join(ACTS)}")
    fix.add_argument("value", nargs="*", metavar="VALUE", help="what it should be, such as quill, or 27, or length 27")
    fix.add_argument("--reason", required=True, metavar="WORDS", help="why, for those who read the log")
    record_options(fix)
    fix.set_defaults(run=_fix)


def _close_options(close: argparse.ArgumentParser) -> None:
    close.add_argument("visit", metavar="VISIT", help="the visit's code")
    close.add_argument("--reason", required=True, metavar="WORDS", help="why, for those who read the log")
    close.add_argument("--anyway", action="store_true", help="although a seat was heard of within hours: all are home")
    record_options(close)
    close.set_defaults(run=_close)


def _visit(args: argparse.Namespace) -> None:
    from guide.desk.provisional import provisional
    from guide.desk.show import show_rows
    from guide.desk.show_visit import provisional_as_json, provisional_lines, visit_as_json, visit_lines, visit_rows
    from guide.desk.visits import load_visit, visit_uid
    from guide.record.open import open_record

    db = open_record(record_path(args.db), create=False)
    if args.visit is None:
        sort = "practice" if args.practice else "real"
        show_rows(visit_rows(db, args.practice, args.state), args.json, f"no {sort} visits in this record")
        return
    only_told = provisional(db, args.visit)
    if only_told:
        told = only_told[-1]
        print(provisional_as_json(db, told) if args.json else "\n".join(provisional_lines(db, told)))
        return
    visit = load_visit(db, visit_uid(db, args.visit))
    print(visit_as_json(db, visit, args.talk) if args.json else "\n".join(visit_lines(db, visit, args.talk)))


def _told(args: argparse.Namespace, done: str) -> None:
    """Says what a command did."""
    print(json.dumps({"done": done}, ensure_ascii=False) if args.json else done)


def _fix(args: argparse.Namespace) -> None:
    from guide.desk.fix import fix_as_said
    from guide.record.open import open_record
    from guide.record.store import Store

    store = Store(open_record(record_path(args.db), create=False))
    _told(args, fix_as_said(store, args.visit, [args.what, *args.value], args.reason, datetime.now(UTC)))


def _accept(args: argparse.Namespace) -> None:
    from guide.desk.accept import accept_visit
    from guide.record.open import open_record
    from guide.record.store import Store

    store = Store(open_record(record_path(args.db), create=False))
    _told(args, accept_visit(store, args.visit, args.anyway, datetime.now(UTC)))


def _close(args: argparse.Namespace) -> None:
    from guide.desk.close import close_visit

    _told(args, "\n".join(close_visit(_exchange(args), args.visit, args.reason, args.anyway, datetime.now(UTC))))


def _merge(args: argparse.Namespace) -> int:
    from guide.desk.merge import merge_file, show_merged
    from guide.desk.progress import progress
    from guide.record.open import open_record
    from guide.record.store import Store

    store = Store(open_record(record_path(args.db), create=False))
    merged = merge_file(store, args.file, datetime.now(UTC), progress)
    print("\n".join(show_merged(merged, args.file, args.json)))
    return 1 if merged.disagree else 0


def _exchange(args: argparse.Namespace) -> "Exchange":
    """The record with the book of today, to send texts over; raises RecordError where there is no record."""
    from guide.cli import open_exchange
    from guide.record.open import open_record

    open_record(record_path(args.db), create=False).close()
    return open_exchange(argparse.Namespace(db=args.db, programme=None, flows=None, seed=None))


def _board(args: argparse.Namespace) -> None:
    import sys

    from guide.desk.board import board_rows, read_board
    from guide.desk.show import show_rows
    from guide.record.open import open_record
    from guide.record.store import Store

    if args.json or not (sys.stdin.isatty() and sys.stdout.isatty()):
        store = Store(open_record(record_path(args.db), create=False))
        show_rows(list(board_rows(read_board(store, datetime.now(UTC)))), args.json, "nobody is out")
        return
    from guide.desk.board_screen import run_board

    run_board(_exchange(args), lambda: datetime.now(UTC))


def _questions(args: argparse.Namespace) -> None:
    from guide.desk.questions import waiting_questions
    from guide.desk.show import show_rows
    from guide.record.open import open_record

    db = open_record(record_path(args.db), create=False)
    rows = [
        {"to": one.to, "at": f"{one.at:%Y-%m-%d %H:%M}", "kind": one.kind.replace("_", " "), "practice": one.practice,
         "words": one.words or "(forgotten)"}
        for one in waiting_questions(db)
    ]  # fmt: skip
    show_rows(rows, args.json, "no questions wait")


def _say_words(args: argparse.Namespace) -> None:
    from guide.desk.send import say_to

    sent = say_to(_exchange(args), args.to, " ".join(args.words), datetime.now(UTC))
    if args.json:
        print(json.dumps({"to": sent.reached, "text": sent.text, "segments": sent.segments}, ensure_ascii=False))
    else:
        print(f"to {', '.join(sent.reached)} ({sent.segments} SMS each): {sent.text}")
