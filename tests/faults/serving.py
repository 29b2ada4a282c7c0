"""``wadeline serve`` on loopback, between a gateway of our own that counts what it is handed and phones that text.

As behind a real gateway, each text is brought again until it is answered 2xx. The record is only opened from here while
the server runs, or as a copy: after a kill it lies there as the killed process left it.
"""

import http.client
import itertools
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from argparse import Namespace
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode

from guide.cli import open_exchange
from guide.flow.load import shipped_flows
from tests.gateway.kannel import wait_for

SECRET = "0123456789abcdef"
WORDS = ("lantern7", "heron12")
NOTER_WORD = "rushes9"
"""What the phones of three groups join with."""

TARGET = 4
"""Larvae a visit: a short one, for many."""

_LONGEST_WAIT_S = 60.0

SETTINGS = """\
record = "{record}"
programme = "programme.toml"
region = "GB"
number = "+447700900000"
listen = "127.0.0.1:{listen}"
health = "127.0.0.1:{health}"
[door]
texts_a_minute = 1000000
[sending]
first_wait_s = 0.05
longest_wait_s = 0.2
[texts_in]
secret_file = "secret"
[texts_out]
url = "http://127.0.0.1:{gateway}/send"
"""


class _Server(ThreadingHTTPServer):
    request_queue_size = 128
    daemon_threads = True

    def handle_error(self, *_: object) -> None:
        """A server that is killed while it hands over a text leaves a torn connection."""


class Gateway:
    """Takes every text out, and keeps which it was handed in which order, doubles among them."""

    def __init__(self) -> None:
        self.handed: list[tuple[int, str, str]] = []
        self.slow_s = 0.0
        """How long a text lies in its hands before it says so."""
        self.refuses_every = 0
        self._asked = itertools.count(1)
        self._came = threading.Condition()
        gateway = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"])).decode()
                takes = gateway.is_open()
                if takes:
                    gateway.take({name: values[0] for name, values in parse_qs(body).items()})
                time.sleep(gateway.slow_s)
                self.send_response(200 if takes else 503)
                self.send_header("content-length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Nothing on the screen."""

        self._server = _Server(("127.0.0.1", 0), Handler)
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def is_open(self) -> bool:
        """Whether it takes the next text: each ``refuses_every``-th it refuses for now."""
        return not self.refuses_every or next(self._asked) % self.refuses_every > 0

    def take(self, fields: dict[str, str]) -> None:
        """Counts one text."""
        with self._came:
            self.handed.append((int(fields["id"].removeprefix("t")), fields["to"], fields["text"]))
            self._came.notify_all()

    def newest(self, number: str, after: int, within_s: float = 0.5) -> int | None:
        """The newest text that a phone got, if it is newer than ``after``; waited for."""

        def found() -> int | None:
            newest = max((text_id for text_id, to, _ in self.handed if to == number), default=0)
            return newest if newest > after else None

        with self._came:
            self._came.wait_for(lambda: found() is not None, within_s)
            return found()

    @property
    def counts(self) -> Counter[int]:
        """How often each text was handed over."""
        with self._came:
            return Counter(text_id for text_id, _, _ in self.handed)

    def close(self) -> None:
        """Ends it."""
        self._server.shutdown()
        self._server.server_close()


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def copy_of(record: Path) -> Iterator[sqlite3.Connection]:
    """A copy of a record that no process has open, so that the next start finds it as it was left."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "record.db"
        for end in ("", "-wal"):
            if os.path.exists(f"{record}{end}"):
                shutil.copy(f"{record}{end}", f"{copy}{end}")
        with closing(sqlite3.connect(copy, isolation_level=None)) as db:
            yield db


@dataclass
class Left:
    """The record as a kill left it: the texts in it, what it says of each text out, and what verify finds."""

    texts_in: list[tuple[str, str]]
    status: dict[int, str]
    handed: Counter[int]
    problems: list[str]

    def those(self, *statuses: str) -> set[int]:
        """The texts out with one of these statuses."""
        return {text_id for text_id, status in self.status.items() if status in statuses}


@dataclass
class Line:
    """The server with its settings in a folder, its record there or on a ``disk`` of its own, its gateway, and what the
    phones brought."""

    folder: Path
    disk: Path | None = None
    environment: dict[str, str] = field(default_factory=dict)
    gateway: Gateway = field(default_factory=Gateway)
    brought: dict[tuple[str, str], str] = field(default_factory=dict)
    acknowledged: set[tuple[str, str]] = field(default_factory=set)
    refused: Counter[int] = field(default_factory=Counter)
    left: list[Left] = field(default_factory=list)
    closed: bool = False
    looking: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.listen, self.health = free_port(), free_port()
        self.record = (self.disk or self.folder) / "record.db"
        (self.folder / "secret").write_text(SECRET)
        ports = {"listen": self.listen, "health": self.health, "gateway": self.gateway.port}
        text = SETTINGS.format(record=self.record, **ports)
        (self.folder / "serve.toml").write_text(text)
        programme = self.folder / "programme.toml"
        programme.write_text(
            re.sub(r"(?m)^target = \d+", f"target = {TARGET}", (shipped_flows() / "programme.toml").read_text())
        )
        for name in ("secret", "serve.toml"):
            (self.folder / name).chmod(0o600)
        exchange = open_exchange(self.how)
        sql = "INSERT OR IGNORE INTO field_group (programme, code, name, join_word) VALUES ('tarrow', ?, ?, ?)"
        exchange.store.db.executemany(sql, [(word, word, word) for word in (*WORDS, NOTER_WORD)])
        exchange.store.db.close()

    @property
    def how(self) -> Namespace:
        """How this process opens the same exchange."""
        return Namespace(db=self.record, programme=self.folder / "programme.toml", flows=None, seed=5)

    # The server

    def command(self, *command: str) -> list[str]:
        """The words of ``wadeline serve``, or of what stands for it."""
        return [*(command or (sys.executable, "-m", "guide.cli")), "serve", str(self.folder / "serve.toml")]

    def start(self, *command: str) -> None:
        """Starts ``wadeline serve``, or what stands for it, and waits until it answers."""
        with (self.folder / "log").open("ab") as log:
            self.server = subprocess.Popen(self.command(*command), stderr=log, env={**os.environ, **self.environment})
        wait_for(lambda: self.server.poll() is not None or self.state(), 20, "serve")
        assert self.server.poll() is None, self.log

    def state(self) -> dict[str, Any]:
        """What /health says; empty while nobody answers."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.health}/health", timeout=15) as answer:
                return dict(json.load(answer))
        except urllib.error.HTTPError as error:
            return dict(json.load(error))
        except OSError:
            return {}

    def end(self, how: signal.Signals) -> int:
        """Ends it with a signal; returns its exit code."""
        self.server.send_signal(how)
        return self.server.wait(30)

    def close(self) -> None:
        """Ends whatever runs still; nothing is brought any more."""
        self.closed = True
        if self.server.poll() is None:
            self.server.kill()
            self.server.wait()
        self.gateway.close()

    @property
    def log(self) -> str:
        """What the server said."""
        return (self.folder / "log").read_text()

    # The record

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        """What the record says, while the server runs."""
        with self.looking, closing(sqlite3.connect(self.record, timeout=20)) as db:
            return db.execute(sql, values).fetchall()

    def is_settled(self) -> bool:
        """Whether every answer is noted as handed over."""
        return not self.rows("SELECT 1 FROM outgoing WHERE status = 'waiting'")

    def look(self, check: Callable[[sqlite3.Connection], list[str]]) -> Left:
        """What a killed server left."""
        handed = self.gateway.counts
        texts = "SELECT number, ext_id FROM turn JOIN phone ON phone.id = phone WHERE ext_id IS NOT NULL"
        with copy_of(self.record) as db:
            status = dict(db.execute("SELECT id, status FROM outgoing").fetchall())
            self.left.append(Left(db.execute(texts).fetchall(), status, handed, check(db)))
        return self.left[-1]

    # Texts in

    def bring_once(self, number: str, words: str, ext_id: str) -> int:
        """The gateway brings a text; returns the status, 0 if nobody answered."""
        self.brought[number, ext_id] = words
        body = urlencode({"id": ext_id, "from": number, "text": words})
        headers = {"content-type": "application/x-www-form-urlencoded", "X-Token": SECRET}
        connection = http.client.HTTPConnection("127.0.0.1", self.listen, timeout=20)
        try:
            connection.request("POST", "/texts", body, headers)
            status = connection.getresponse().status
        except (OSError, http.client.HTTPException):
            status = 0
        finally:
            connection.close()
        if status == 200:
            self.acknowledged.add((number, ext_id))
        else:
            self.refused[status] += 1
        return status

    def bring(self, number: str, words: str, ext_id: str, within_s: float = _LONGEST_WAIT_S) -> None:
        """The gateway brings a text until it is acknowledged."""
        until = time.monotonic() + within_s
        while self.bring_once(number, words, ext_id) != 200:
            assert not self.closed
            assert time.monotonic() < until, f"{words!r} of {number} was never acknowledged: {self.refused}"
            time.sleep(0.01)


@dataclass
class Phone:
    """A pair's phone: it answers its newest text with whatever carries on, until nothing is asked any more."""

    line: Line
    number: str
    sent: int = 0
    answered: int = 0
    asks: bool = True

    def text(self, words: str) -> None:
        """One text, acknowledged when this returns."""
        self.sent += 1
        self.line.bring(self.number, words, f"{self.number[-3:]}-{self.sent}")

    def answer(self) -> bool:
        """Answers the newest text, if there is one since the last answer."""
        newest = self.line.gateway.newest(self.number, self.answered)
        if newest is None:
            return False
        self.answered = newest
        sql = "SELECT step, expects, options FROM outgoing WHERE id = ?"
        ((step, expects, options),) = self.line.rows(sql, newest)
        self.asks = expects is not None or step is None  # a greeting belongs to no step
        if expects is not None:
            self.text(json.loads(options)[0])
        return True

    def play(self, word: str, most: int = 400) -> None:
        """A whole visit from its first word on."""
        self.text(f"JOIN {word}")
        until = time.monotonic() + _LONGEST_WAIT_S
        while self.asks:
            assert not self.line.closed
            assert self.sent < most, f"{self.number} comes to no end"
            assert time.monotonic() < until, f"no answer came to {self.number}"
            if self.answer():
                until = time.monotonic() + _LONGEST_WAIT_S
