"""The command line. Each command imports what it needs when it runs, so that none pays for another's libraries."""

import argparse
import atexit
import gc
import os
import sqlite3
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NoReturn

from guide import __version__
from guide.errors import WadelineError

if TYPE_CHECKING:
    from pathlib import Path

    from guide.flow.model import FlowBook
    from guide.gateway.door import Door
    from guide.gateway.exchange import Exchange


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns its exit code. Errors meant for people are one line on standard error."""
    gc.set_threshold(50_000, 20, 20)  # a start makes many objects and no garbage: looking for some takes 10 ms
    wanted = list(sys.argv[1:] if argv is None else argv)
    parser = build_parser(wanted or ["--help"])
    try:
        args, more = parser.parse_known_args(wanted)
        if more:
            raise argparse.ArgumentError(None, f"unrecognized arguments: {' '.join(more)}")
    except argparse.ArgumentError as error:
        from guide.wrong_line import what_is_wrong

        print(f"wadeline: {what_is_wrong(parser, wanted, error)}", file=sys.stderr)
        return 2
    return _run(args)


def _run(args: argparse.Namespace) -> int:
    try:
        return int(args.run(args) or 0)
    except WadelineError as error:
        print(f"wadeline: {error}", file=sys.stderr)
        return 2
    except ModuleNotFoundError as error:
        if (error.name or "guide").startswith("guide"):
            raise
        from guide.lacking import lacking

        print(f"wadeline: {lacking(error.name or '', args.command)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 1
        print(f"wadeline: {error.filename or 'input or output'}: {error.strerror or error}", file=sys.stderr)
        return 2
    except sqlite3.Error as error:
        print(f"wadeline: the record can't be used now: {error}", file=sys.stderr)
        return 2


class _Help(argparse.HelpFormatter):
    """Help as wide as the terminal, asked without a module of archives that each start would import."""

    def __init__(self, prog: str) -> None:
        try:
            columns = int(os.environ.get("COLUMNS") or os.get_terminal_size().columns) or 80
        except (OSError, ValueError):
            columns = 80
        super().__init__(prog, width=columns - 2)


class _Parser(argparse.ArgumentParser):
    """A command's parser: what is wrong with a line is raised and told by ``main``, with no block of usage."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**{"formatter_class": _Help, "exit_on_error": False, **given})

    def format_help(self) -> str:
        """The help, with a line that works at its end."""
        from guide.examples import EXAMPLES

        program, _, command = self.prog.partition(" ")
        return f"{super().format_help()}\nFor example: {program} {EXAMPLES.get(command, command)}\n"

    def error(self, message: str) -> NoReturn:
        """What older versions of argparse say here and newer ones raise."""
        raise argparse.ArgumentError(None, message)


def build_parser(wanted: Sequence[str] = ()) -> argparse.ArgumentParser:
    """All commands with their options; for the words ``wanted`` of a command line, no more of them than these need."""
    about = "A guide in plain text messages for taking trace-metal-clean samples."
    parser = _Parser(prog="wadeline", description=about)
    parser.add_argument("--version", action="version", version=f"wadeline {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    only = wanted[0] if wanted and wanted[0] in _COMMANDS else None
    for name, (words, add_options) in _COMMANDS.items():
        if only in (None, name):
            command = commands.add_parser(name, help=words)
            if only or not wanted:
                add_options(command)
    return parser


def _chat_options(parser: argparse.ArgumentParser) -> None:
    _record_options(parser)
    plain = "plain lines, for screen readers and simple terminals (or set WADELINE_PLAIN)"
    parser.add_argument("--plain", action="store_true", help=plain)
    parser.set_defaults(run=_chat)


def _pipe_options(parser: argparse.ArgumentParser) -> None:
    _record_options(parser)
    parser.add_argument("--lossy", action="store_true", help="the channel loses texts: a repeated OK is read back")
    parser.set_defaults(run=_pipe)


def _serve_options(parser: argparse.ArgumentParser) -> None:
    from guide.gateway.serve_command import run_serve, serve_options

    serve_options(parser)
    parser.set_defaults(run=run_serve)


def _desk_options(parser: argparse.ArgumentParser) -> None:
    from guide.desk.commands import add_desk_commands

    add_desk_commands(parser)


def _drill_options(parser: argparse.ArgumentParser) -> None:
    from guide.drill.commands import drill_options

    drill_options(parser)


def _record_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--db", metavar="FILE", help="the record (else WADELINE_DB, else one in your data folder)")
    _flow_options(parser)
    parser.add_argument("--seed", type=int, help="makes words and codes the same each time, for tests and demos")


def _path(text: str) -> "Path":
    from pathlib import Path  # a start-up feels the import

    return Path(text)


def _flow_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--programme", type=_path, metavar="FILE", help="a programme's settings (else the demo's)")
    parser.add_argument("--flows", type=_path, metavar="DIR", help="a folder of flow files (else those shipped)")


def _flow_commands(parser: argparse.ArgumentParser) -> None:
    commands = parser.add_subparsers(dest="flow_command", required=True, metavar="COMMAND")
    check = commands.add_parser("check", help="prove that texts fit, steps lead on, no rule is broken")
    check.add_argument(
        "--deep", action="store_true", help="tell apart what waits beneath a slip or a danger too: 5 minutes"
    )
    check.add_argument("--table", action="store_true", help="figures of every prompt: segments, words, reading grade")
    check.add_argument("--json", action="store_true", help="the figures as JSON")
    _flow_options(check)
    check.set_defaults(run=_flow_check)
    show = commands.add_parser("show", help="print a flow: what is said, why, the answers, the ways on")
    show.add_argument("flow", metavar="FLOW", help="a flow's name, such as larva")
    _flow_options(show)
    show.set_defaults(run=_flow_show)
    draw = commands.add_parser("draw", help="draw flows as Mermaid and, with Graphviz installed, SVG")
    draw.add_argument("flow", nargs="?", metavar="FLOW", help="a flow's name (else all)")
    draw.add_argument("--to", type=_path, default=".", metavar="DIR", help="where to (else here)")
    _flow_options(draw)
    draw.set_defaults(run=_flow_draw)
    attempt = commands.add_parser("try", help="show how a reply is read; without TEXT, read lines from standard input")
    attempt.add_argument("kind", metavar="KIND", help="a reply kind, such as length")
    attempt.add_argument("text", nargs="?", metavar="TEXT")
    attempt.add_argument("--step", metavar="FLOW.STEP", help="use this step's choices and bounds")
    _flow_options(attempt)
    attempt.set_defaults(run=_flow_try)


def _digest_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--db", type=_path, help="the record (else WADELINE_DB, else one in your data folder)")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--visit", metavar="CODE", help="the visit with this code (else the one begun last)")
    read = "read texts, one a line, from a file or standard input"
    how.add_argument("--read", nargs="?", const="-", metavar="FILE", help=read)
    _flow_options(parser)
    parser.set_defaults(run=_digest)


def _replay_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", type=_path, nargs="+", metavar="FILE", help="a transcript, such as those shipped")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--update", action="store_true", help="rewrite the guide's lines, never the expect lines")
    how.add_argument("--fast", action="store_const", const=0.0, dest="pace", help="show it as a film without waiting")
    how.add_argument("--pace", type=float, metavar="SECONDS", help="show it as a film, so long between two texts")
    _flow_options(parser)
    parser.set_defaults(run=_replay)


def record_path(given: "str | Path | None") -> "Path":
    """Where the record is: what was given, else WADELINE_DB, else a file in the user's data folder."""
    from pathlib import Path

    return Path(_record_file(given))


def _record_file(given: "str | Path | None") -> str:
    if given is not None:
        return os.fspath(given)
    if os.environ.get("WADELINE_DB"):
        return os.environ["WADELINE_DB"]
    home = os.path.expanduser("~")
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA", home)
    elif sys.platform == "darwin":
        base = os.path.join(home, "Library", "Application Support")
    else:
        base = os.environ.get("XDG_DATA_HOME") or os.path.join(home, ".local", "share")
    return os.path.join(base, "wadeline", "record.db")


def read_book(args: argparse.Namespace, db: sqlite3.Connection | None = None) -> "FlowBook":
    """The flow book the options name; without ``--programme``, with the settings that the desk loaded last."""
    from guide.flow.load import book_text, shipped_folder

    programme, file = None, "programme.toml"
    if args.programme is not None:
        from guide.flow.programme_text import read_programme

        programme, file = read_programme(args.programme).text, str(args.programme)
    elif db is not None:
        from guide.record.programme import stored_programme

        programme = stored_programme(db)
    book = _book(db, book_text(args.flows or shipped_folder(), programme), file)
    if args.flows:
        from guide.flow.load import check_phrases

        check_phrases(book)
    return book


def _book(db: sqlite3.Connection | None, text: str, settings_file: str = "programme.toml") -> "FlowBook":
    """The book of a text: from its ready form, if the record has one, else read and checked."""
    from guide.flow.load import load_book
    from guide.flow.replies.kinds import KINDS
    from guide.record.books import ready_book
    from guide.talk.blanks import REGISTRY

    ready = ready_book(db, text, REGISTRY, KINDS) if db is not None else None
    return ready or load_book(text, REGISTRY, KINDS, settings_file)


def open_exchange(args: argparse.Namespace, lossy: bool = False, door: "Door | None" = None) -> "Exchange":
    """The record, the flow book and the exchange over both."""
    from guide.gateway.exchange import Exchange
    from guide.record.open import open_record
    from guide.record.store import Store
    from guide.talk.blanks import REGISTRY
    from guide.talk.turn import Talk

    path = _record_file(args.db)
    db = open_record(path) if os.path.exists(path) else None  # a book that can't be read makes no record
    book = read_book(args, db)
    store = Store(db or open_record(path))

    def load(text: str) -> Talk:
        return Talk.of(book if text == book.text else _book(store.db, text), REGISTRY)

    exchange = Exchange(store, book, load, args.seed, lossy, door)
    exchange.set_up(datetime.now(UTC))
    gc.freeze()  # what a start made stays to the end, and is never looked at again
    atexit.register(store.db.close)  # so that the file alone is the record, without its write-ahead log
    return exchange


def _pipe(args: argparse.Namespace) -> NoReturn:
    from guide.gateway.alone import hold_beside_pipes
    from guide.gateway.pipe import Pipe

    out = sys.stdout.buffer

    def write(data: bytes) -> None:
        out.write(data)
        out.flush()

    # A reader of its own: an error that ends the program must not wait for the thread that reads sys.stdin.
    source = os.fdopen(sys.stdin.fileno(), "rb", closefd=False)
    path = _record_file(args.db)
    carried = hold_beside_pipes(path) if os.path.exists(path) else None  # before anything is written to another's
    exchange = open_exchange(args, args.lossy)
    carried = carried or hold_beside_pipes(path)
    Pipe(exchange, write, lambda: datetime.now(UTC)).run(source)
    carried.close()
    exchange.store.db.close()
    os._exit(0)  # all is written; to take the interpreter apart would take a pipe of one text 3 ms


def _chat(args: argparse.Namespace) -> int:
    from guide.chat import chat

    program = sys.argv[0] if sys.argv[0].endswith("wadeline") and not sys.argv[0].startswith("/") else "wadeline"
    again = f"{program} chat --db {args.db}" if args.db else f"{program} chat"
    return chat(open_exchange(args), again, args.plain)


def _flow_check(args: argparse.Namespace) -> int:
    from guide.proof.command import check

    return check(read_book(args), args)


def _flow_show(args: argparse.Namespace) -> None:
    from guide.flow.show import flow_named, show

    book = read_book(args)
    print(show(book, flow_named(book, args.flow)))


def _flow_draw(args: argparse.Namespace) -> None:
    from guide.flow.show import draw, flow_named

    book = read_book(args)
    for flow in [flow_named(book, args.flow)] if args.flow else book.flows.values():
        for path in draw(book, flow, args.to):
            print(path)


def _flow_try(args: argparse.Namespace) -> int:
    from guide.flow.attempt import run_attempts

    return run_attempts(read_book(args), args.kind, args.text, args.step)


def _digest(args: argparse.Namespace) -> int:
    from guide.papers.show_digest import print_digest, read_digest

    if args.read is None:
        return print_digest(record_path(args.db), args.visit)
    return read_digest(args.read, record_path(args.db), read_book(args).settings.sites)


def _replay(args: argparse.Namespace) -> int:
    from guide.replay.run import Wanted, replay_files

    if args.pace is not None and not 0 <= args.pace <= 60:
        raise WadelineError("--pace takes 0 to 60 seconds, such as --pace 1.5")
    return replay_files(read_book(args), args.files, Wanted(args.update, args.pace))


_COMMANDS: dict[str, tuple[str, Callable[[argparse.ArgumentParser], None]]] = {
    "chat": ("talk with the guide in this terminal", _chat_options),
    "pipe": ("carry texts as JSON lines on standard input and output", _pipe_options),
    "serve": ("answer texts through a gateway, unattended", _serve_options),
    "flow": ("look at the flow files and check them", _flow_commands),
    "desk": ("the coordinator's commands", _desk_options),
    "drill": ("practise with surprises, a score and a debrief; no pond is needed", _drill_options),
    "digest": ("print a visit as few texts to type later, or read such texts", _digest_options),
    "replay": ("play whole conversations and hold them against the guide", _replay_options),
}
"""Each command: its line of help, and what adds its options."""


if __name__ == "__main__":
    sys.exit(main())
