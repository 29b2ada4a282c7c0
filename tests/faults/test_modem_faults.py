"""``serve`` over a modem's folders: killed at any moment, on a full disk, in folders that take no writing.

A file of the inbox goes only once its text is in the record. An answer goes out once, whatever is killed on our side:
its file in ``outbox`` or ``sent`` has the same name at each try.
"""

import asyncio
import os
import random
import signal
import subprocess
import sys
import threading
import time
from argparse import Namespace
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from guide.cli import open_exchange
from guide.gateway import modem
from guide.gateway.modem import ModemCarrier, ModemInbox
from guide.gateway.outbox import Outbox
from guide.gateway.trouble import Trouble
from guide.gateway.writer import Writer
from guide.record.verify import verify
from tests.conftest import START, Field
from tests.faults.serving import WORDS, copy_of, free_port
from tests.gateway.kannel import fetched, wait_for
from tests.gateway.modem_day import DEMO, words_in
from tests.gateway.test_modem_files import NAME, NUMBER, detail, section

KILLS = int(os.environ.get("WADELINE_KILLS", "6"))
NUMBERS = ("+447700900301", "+447700900302", "+447700900303")
FOLDERS = ("inbox", "outbox", "sent", "error", "draft", "unread")
QUICK = (
    sys.executable,
    "-c",
    "import sys, guide.gateway.modem as modem; modem.POLL_S = 0.02; from guide.cli import main; sys.exit(main())",
)
"""The server, looking into its folders fifty times a second."""


def new_folder(path: Path) -> Path:
    """The daemon's folders, all empty."""
    for name in FOLDERS:
        (path / name).mkdir(parents=True)
    path.chmod(0o770)
    return path


@dataclass
class Daemon:
    """Stands for the modem's daemon, and phones: puts texts into the inbox, sends what lies in the outbox."""

    folder: Path
    put: dict[str, tuple[str, str]] = field(default_factory=dict)
    sent: Counter[str] = field(default_factory=Counter)
    texts: bool = True
    sends: bool = True

    def text(self, number: str, words: str) -> None:
        """A phone's text comes."""
        count = len(self.put)
        name = f"IN20260704_{9 + count // 3600:02}{count // 60 % 60:02}{count % 60:02}_00_{number}_00.txt"
        (self.folder / "hold").write_bytes(detail(section(words, number)))
        (self.folder / "hold").rename(self.folder / "inbox" / name)
        self.put[name] = (number, words)

    def bring_texts(self) -> None:
        """Each phone joins and then notes, text after text, until it is told to end."""
        for number in NUMBERS:
            self.text(number, f"JOIN {WORDS[0]}")
        while self.texts:
            self.text(NUMBERS[len(self.put) % len(NUMBERS)], f"NOTE count {len(self.put)}")
            time.sleep(0.03)

    def send_texts(self) -> None:
        """Sends until it is told to end."""
        while self.sends:
            for path in sorted((self.folder / "outbox").iterdir()):
                self.sent[path.name] += 1
                path.rename(self.folder / "sent" / path.name)
            time.sleep(0.005)

    def gone(self) -> set[tuple[str, str]]:
        """The texts whose files are deleted."""
        put = dict(self.put)
        there = set(os.listdir(self.folder / "inbox"))
        return {text for name, text in put.items() if name not in there}


@dataclass
class Office:
    """A server over the folders of a daemon."""

    folder: Path

    def __post_init__(self) -> None:
        self.modem, self.record, self.health = new_folder(self.folder / "modem"), self.folder / "record.db", free_port()
        rules = "[door]\ntexts_a_minute = 1000000\n[sending]\nfirst_wait_s = 0.05\nlongest_wait_s = 0.2\n"
        text = f'record = "record.db"\nprogramme = "{DEMO}"\nregion = "GB"\nhealth = "127.0.0.1:{self.health}"\n{rules}'
        (self.folder / "serve.toml").write_text(text)
        (self.folder / "serve.toml").chmod(0o600)
        exchange = open_exchange(Namespace(db=self.record, programme=None, flows=None, seed=5))
        group = "INSERT INTO field_group (programme, code, name, join_word) VALUES ('tarrow', 'north', 'North', ?)"
        exchange.store.db.execute(group, WORDS[:1])
        exchange.store.db.close()

    def start(self) -> None:
        """Starts the server and waits until it answers."""
        command = [*QUICK, "serve", str(self.folder / "serve.toml"), "--modem", str(self.modem)]
        with (self.folder / "log").open("ab") as log:
            self.server = subprocess.Popen(command, stderr=log)
        wait_for(self.said, 20, "serve")

    def said(self) -> str:
        """What /health says."""
        return fetched(f"http://127.0.0.1:{self.health}/health")

    def end(self, how: signal.Signals) -> int:
        """Ends it with a signal; returns its exit code."""
        self.server.send_signal(how)
        return self.server.wait(20)

    def kept(self) -> list[tuple[str, str]]:
        """The texts in the whole record that an ended server left."""
        with copy_of(self.record) as db:
            assert verify(db).problems == []
            return db.execute("SELECT number, raw FROM turn JOIN phone ON phone.id = phone ORDER BY turn.id").fetchall()


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Office]:
    """An office whose server is ended."""
    one = Office(tmp_path)
    one.start()
    yield one
    one.server.kill()
    one.server.wait()


def test_kills_at_random_moments_lose_no_text_and_double_no_answer(office: Office) -> None:
    daemon, moments = Daemon(office.modem), random.Random(29)
    texting, sending = (threading.Thread(target=work) for work in (daemon.bring_texts, daemon.send_texts))
    texting.start()
    sending.start()
    try:
        for _ in range(KILLS):
            time.sleep(moments.uniform(0, 0.3))
            gone = daemon.gone()
            office.end(signal.SIGKILL)
            kept = office.kept()
            assert gone <= set(kept)
            assert len(kept) == len(set(kept))
            office.start()
        daemon.texts = False
        texting.join()
        wait_for(lambda: not any((office.modem / "inbox").iterdir()), 60, "the last text")
        wait_for(lambda: '"texts_waiting":0' in office.said(), 60, "the last answer")
        assert office.end(signal.SIGTERM) == 0
    finally:
        daemon.texts = daemon.sends = False
    assert sorted(office.kept()) == sorted(daemon.put.values())
    with copy_of(office.record) as db:
        answers = db.execute("SELECT number, text FROM outgoing JOIN phone ON phone.id = outgoing.phone").fetchall()
        assert db.execute("SELECT DISTINCT status FROM outgoing").fetchall() == [("sent",)]
    sent = [(path.name.split("_")[3], words_in(path.read_bytes())[0]) for path in (office.modem / "sent").iterdir()]
    assert sorted(sent) == sorted(answers)
    assert set(daemon.sent.values()) == {1}
    assert len(daemon.sent) == len(answers)
    assert "Traceback" not in (office.folder / "log").read_text()
    print(f"{KILLS} kills, {len(daemon.put)} texts in, {len(answers)} answers, none of them sent twice")


# The disk, without the daemon


@dataclass
class Desk:
    """An inbox over a record, at a time that stands until it is moved."""

    pond: Field
    folder: Path

    def __post_init__(self) -> None:
        self.now, self.trouble = START, Trouble()
        self.writer = Writer(self.pond.exchange, self.clock, lambda: None, self.trouble)
        self.inbox = ModemInbox(self.folder, self.writer.take, self.clock, "GB")

    def clock(self) -> datetime:
        return self.now

    def put(self, count: int) -> None:
        """So many long notes lie in the inbox."""
        for number in range(count):
            name = NAME.replace("_090000", f"_09{number // 60:02}{number % 60:02}")
            (self.folder / "inbox" / name).write_bytes(detail(section(f"NOTE {number} " + "windy " * 20)))

    def scan(self, later_s: float = 61) -> list[str]:
        """The inbox is looked at, a minute later; returns the files that are left."""
        self.now += timedelta(seconds=later_s)
        asyncio.run(self.inbox.scan())
        return sorted(os.listdir(self.folder / "inbox"))

    def texts(self) -> int:
        """How many notes the record holds, each counted once."""
        ((count, different),) = self.pond.rows(
            "SELECT count(*), count(DISTINCT raw) FROM turn WHERE gateway = 'number' AND raw LIKE 'NOTE%'"
        )
        assert count == different
        return int(count)


@pytest.fixture
def desk(pond: Field, tmp_path: Path) -> Desk:
    """An inbox whose phone is at a step."""
    pond.until("larva.look", NUMBER)
    return Desk(pond, new_folder(tmp_path / "modem"))


def test_no_file_is_deleted_while_the_disk_is_full_and_all_are_worked_when_it_is_not(
    desk: Desk, caplog: pytest.LogCaptureFixture
) -> None:
    (pages,) = desk.pond.rows("PRAGMA page_count")[0]
    desk.pond.rows(f"PRAGMA max_page_count = {pages + 1}")
    desk.put(150)
    for _ in range(3):
        assert len(desk.scan()) + desk.texts() == 150
    assert len(desk.scan()) > 0
    assert "full" in desk.trouble.why
    desk.pond.rows(f"PRAGMA max_page_count = {pages + 10_000}")
    assert desk.scan() == []
    assert desk.texts() == 150
    assert desk.trouble.why == ""
    assert caplog.text.count("the record can't be written now") == 1
    assert "Traceback" not in caplog.text
    desk.pond.whole()


@pytest.fixture
def read_only(desk: Desk) -> Iterator[Path]:
    """The folders on a disk that takes no writing, where this user may mount them so."""
    where = str(desk.folder)
    desk.put(3)
    if subprocess.run(["mount", "--bind", where, where], capture_output=True).returncode:
        pytest.skip("nothing can be mounted by this user")
    subprocess.run(["mount", "-o", "remount,ro,bind", where], check=True)
    yield desk.folder
    subprocess.run(["umount", where], check=True)


def test_folders_that_take_no_writing_keep_files_and_texts_and_double_none(
    desk: Desk, read_only: Path, caplog: pytest.LogCaptureFixture
) -> None:
    for _ in range(3):
        assert len(desk.scan()) == desk.texts() == 3
    assert caplog.text.count("its file can't be deleted: Read-only file system") == 3
    carrier = ModemCarrier(read_only, desk.pond.exchange.store.origin, desk.clock)
    handed = asyncio.run(carrier.hand(Outbox(desk.pond.exchange.store).waiting()[-1]))
    assert handed == ("later", "the modem's folders can't be used: Read-only file system")
    subprocess.run(["mount", "-o", "remount,rw,bind", str(read_only)], check=True)
    assert desk.scan() == []
    assert desk.texts() == 3
    assert "Traceback" not in caplog.text
    desk.pond.whole()


def test_an_inbox_that_cannot_be_read_is_said_once_and_read_when_it_can(
    desk: Desk, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(modem, "POLL_S", 0.001)
    desk.put(2)
    (desk.folder / "inbox").rename(desk.folder / "away")

    async def both() -> None:
        runs = asyncio.create_task(desk.inbox.run())
        await asyncio.sleep(0.02)
        (desk.folder / "away").rename(desk.folder / "inbox")
        while os.listdir(desk.folder / "inbox"):
            await asyncio.sleep(0.001)
        runs.cancel()

    asyncio.run(both())
    assert desk.texts() == 2
    assert caplog.text.count("the inbox can't be read, it is tried again: No such file or directory") == 1
    assert "Traceback" not in caplog.text
