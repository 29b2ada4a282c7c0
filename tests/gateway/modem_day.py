"""A real Gammu daemon with its dummy phone, and ``wadeline serve --modem`` on the other side of its folders."""

import json
import os
import re
import socket
import sqlite3
import subprocess
import sys
from argparse import Namespace
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from guide.cli import open_exchange
from guide.flow.load import shipped_flows
from guide.gateway.exchange import TextIn
from guide.gateway.modem_check import DAEMON_SETTINGS
from tests.gateway.kannel import fetched, wait_for

GROUP_WORD = "lantern7"
DEMO = (shipped_flows() / "programme.toml").as_posix()
_ASKED = (
    "SELECT outgoing.id, step, options FROM outgoing JOIN phone ON phone.id = outgoing.phone "
    "WHERE number = ? AND step IS NOT NULL ORDER BY outgoing.id DESC LIMIT 1"
)
_GAMMU = "[gammu]\nmodel = dummy\nconnection = none\ndevice = {phone}\ngammuloc = /dev/null\n"


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def utf16_hex(text: str) -> str:
    return text.encode("utf-16-be").hex().upper()


def words_in(file: bytes) -> tuple[str, int]:
    """The words of a file in the daemon's backup format, and in how many parts: read by other code than is tested."""
    hexes = re.findall(rb"^Text\d+ = ([0-9A-F]*)", file, re.M)
    parts = len(re.findall(rb"^\[SMSBackup", file, re.M))
    return bytes.fromhex(b"".join(hexes).decode()).decode("utf-16-be"), parts


@dataclass
class ModemDay:
    """The daemon, the phone behind it, and the server."""

    folder: Path
    health: int
    sent: dict[str, list[str]] = field(default_factory=dict)
    _clock: dict[str, datetime] = field(default_factory=dict)
    _slot: int = 0

    def __post_init__(self) -> None:
        self.modem, self.phone = self.folder / "modem", self.folder / "phone"
        self.modem.mkdir(mode=0o770)
        for name in ("inbox", "outbox", "sent", "error"):
            (self.modem / name).mkdir()
        self.phone.mkdir()
        lines = DAEMON_SETTINGS.format(folder=self.modem).split("\n")[1:]
        own = f"LogFile = {self.log}\nDebugLevel = 1\nCommTimeout = 1\n"
        text = _GAMMU.format(phone=self.phone) + "\n".join(line.strip() for line in lines) + "\n" + own
        (self.folder / "smsdrc").write_text(text)
        rules = "[door]\ntexts_a_minute = 600\n[sending]\nstale_s = 600\nfirst_wait_s = 0.2\nlongest_wait_s = 1\n"
        settings = (
            f'record = "record.db"\nprogramme = "{DEMO}"\nregion = "GB"\nhealth = "127.0.0.1:{self.health}"\n{rules}'
        )
        (self.folder / "serve.toml").write_text(settings)
        (self.folder / "serve.toml").chmod(0o600)
        subprocess.run(["gammu", "-c", self.folder / "smsdrc", "identify"], check=True, capture_output=True, timeout=20)

    @property
    def log(self) -> Path:
        return self.folder / "smsd.log"

    # Before the day: a group whose first pair is at its first larva already

    def prepare(self, coordinator: str, pair: str) -> None:
        """A group with its word, a coordinator, and a pair of the group that has come to its first larva."""
        where = Namespace(db=self.folder / "record.db", programme=None, flows=None, seed=5)
        exchange = open_exchange(where)
        store = exchange.store
        store.db.execute(
            "INSERT INTO field_group (programme, code, name, join_word) VALUES ('tarrow', 'north', 'North', ?)",
            (GROUP_WORD,),
        )
        with store.transaction():
            phone = store.phone(coordinator)
        store.db.execute("INSERT INTO coordinator (programme, name, phone) VALUES ('tarrow', 'Duty', ?)", (phone.id,))
        words, count = f"JOIN {GROUP_WORD}", 0
        while True:
            count += 1
            texts = exchange.receive(TextIn(pair, words, f"before{count}", None, "number"), datetime.now(UTC))
            with store.transaction():
                store.handed_over([text.id for text in texts])
            if texts[-1].step == "larva.look":
                break
            words = texts[-1].options[0]
        store.db.close()

    # Processes, each ended by its own id

    def start_daemon(self) -> None:
        environment = {**os.environ, "LC_ALL": "C"}  # as an init script starts it: no letter may depend on it
        self.daemon = subprocess.Popen(
            ["gammu-smsd", "-c", self.folder / "smsdrc"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            env=environment,
        )  # fmt: skip

    def start_server(self) -> None:
        command = [sys.executable, "-m", "guide.cli", "serve", self.folder / "serve.toml", "--modem", self.modem]
        with (self.folder / "serve.log").open("ab") as log:
            self.server = subprocess.Popen([str(word) for word in command], stderr=log)
        wait_for(lambda: fetched(f"http://127.0.0.1:{self.health}/health"), 20, "serve")

    def end(self) -> int:
        """Ends both as an operator does; returns the server's exit code."""
        self.server.terminate()
        self.daemon.terminate()
        self.daemon.wait(20)
        return self.server.wait(20)

    def kill(self, process: "subprocess.Popen[bytes]") -> None:
        process.kill()
        process.wait()

    # Phones

    def text(self, number: str, *parts: str) -> None:
        """A text comes to the modem's phone, in the parts given, the last first; each has the carrier's next second."""
        self.sent.setdefault(number, []).append("".join(parts))
        before = self._clock.get(number)
        now = datetime.now(UTC).replace(microsecond=0)
        at = self._clock[number] = max(now, before + timedelta(seconds=1)) if before else now
        reference = len(self.sent[number]) % 256
        for index in sorted(range(1, len(parts) + 1), reverse=True):
            header = f"050003{reference:02X}{len(parts):02X}{index:02X}" if len(parts) > 1 else ""
            self._put(number, parts[index - 1], header, at)

    def _put(self, number: str, words: str, header: str, at: datetime) -> None:
        hexes = utf16_hex(words)
        coding = "Default" if words.isascii() else "Unicode"
        lines = ["[SMSBackup000]", "PDU = Deliver", f"DateTime = {at:%Y%m%dT%H%M%SZ}", "State = UnRead"]
        lines += [f'Number = "{number}"', f"NumberUnicode = {utf16_hex(number)}"]
        lines += [f"UDH = {header}"] if header else []
        lines += [f"Text{i // 200:02d} = {hexes[i : i + 200]}" for i in range(0, len(hexes), 200)]
        lines += [f"Coding = {coding}_No_Compression", "Folder = 1", f"Length = {len(hexes) // 4}", ""]
        self._slot += 1
        (self.folder / "hold").write_text("\r\n".join(lines))
        (self.folder / "hold").rename(self.phone / "sms" / "1" / str(self._slot))

    # What the record and the folders say

    def open_record(self) -> sqlite3.Connection:
        return sqlite3.connect(self.folder / "record.db", isolation_level=None, timeout=10)

    def ask(self, db: sqlite3.Connection, number: str, *words: str) -> None:
        """A phone texts; returns once the text is in the record."""
        for one in words:
            self.text(number, one)
            wait_for(lambda: self.in_record(db, number) == self.sent[number], 20, f"{one!r} of {number}")

    def in_record(self, db: sqlite3.Connection, number: str) -> list[str]:
        """A phone's texts since the server started, in order."""
        rows = db.execute(
            "SELECT raw FROM turn JOIN phone ON phone.id = turn.phone WHERE number = ? AND ext_id NOT LIKE 'before%' "
            "ORDER BY turn.id",
            (number,),
        )
        return [row[0] for row in rows]

    def asked(self, db: sqlite3.Connection, number: str) -> tuple[str, list[str]]:
        """The step a phone is at, and the answers it may give."""
        _, step, options = db.execute(_ASKED, (number,)).fetchone()
        return step, json.loads(options)

    def play(self, db: sqlite3.Connection, number: str, *steps: str) -> str:
        """A phone answers with whatever carries on, at least once, until it is at one of these steps."""
        for _ in range(40):
            self.ask(db, number, self.asked(db, number)[1][0])
            if self.asked(db, number)[0] in steps:
                return self.asked(db, number)[0]
        raise AssertionError(f"never came to {steps}, but to {self.asked(db, number)}")

    def files(self, name: str) -> list[Path]:
        return sorted((self.modem / name).iterdir())

    def is_quiet(self, db: sqlite3.Connection) -> bool:
        """Whether nothing is under way any more."""
        waiting = db.execute("SELECT count(*) FROM outgoing WHERE status = 'waiting'").fetchone()[0]
        return not (waiting or self.files("inbox") or self.files("outbox") or any((self.phone / "sms/1").iterdir()))
