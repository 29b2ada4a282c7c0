"""A field day through a real Kannel, with everything that can fall over falling over. Run in a network namespace:

    unshare --net sh -c 'ip link set lo up; python -m tests.gateway.kannel_scenario FOLDER'

Leaves the record and ``seen.json`` (what the phones sent and got) in FOLDER for the test to look at.
"""

import contextlib
import json
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

from guide.flow.load import shipped_flows
from tests.gateway.kannel import Kannel, Phones, fetched, wait_for

DEMO = (shipped_flows() / "programme.toml").as_posix()
TOKEN, PASSWORD = "abcdef0123456789abcdef", "foobar"
PAIRS = ("+447700900101", "+447700900102", "+447700900103")
NOTER, COORDINATOR, STRANGER = "+447700900104", "+447700900105", "+447700900106"
LONG_NOTE = "NOTE the bank by the alder has slipped, we moved the trays two metres up; " * 3 + "all fine"
ADVICE = "leave it, photo with the ruler beside it, rinse the net there and here, and tell the next group " * 2 + "too"
WIDE_NOTE = "NOTE water 14° \U0001f44d"
NOTES, MORE_NOTES = 120, 40
SETTINGS = """\
record = "record.db"
programme = "{programme}"
region = "GB"
number = "+447700900000"
[door]
texts_a_minute = 6000
[sending]
first_wait_s = 0.2
longest_wait_s = 1.0
[texts_in]
preset = "kannel"
secret_file = "in.secret"
[texts_out]
preset = "kannel"
url = "http://127.0.0.1:13013/cgi-bin/sendsms"
fields = {{ username = "tester" }}
secret_file = "out.secret"
"""


@dataclass
class Day:
    """The server, the gateway and the phones of one day."""

    folder: Path
    sent: dict[str, list[str]] = field(default_factory=dict)

    def start(self) -> None:
        """Starts everything from nothing."""
        for name, text in (
            ("serve.toml", SETTINGS.format(programme=DEMO)),
            ("in.secret", TOKEN),
            ("out.secret", PASSWORD),
        ):
            (self.folder / name).write_text(text)
            (self.folder / name).chmod(0o600)
        self.kannel = Kannel(self.folder, TOKEN)
        self.start_server()
        self.db = sqlite3.connect(self.folder / "record.db", isolation_level=None, timeout=10)
        self.invite()
        self.kannel.start()
        self.phones = Phones()

    def invite(self) -> None:
        """A group with its word, and a coordinator."""
        self.db.execute(
            "INSERT INTO field_group (programme, code, name, join_word) VALUES ('tarrow', 'north', 'North', 'lantern7')"
        )
        self.db.execute("INSERT INTO phone (number) VALUES (?)", (COORDINATOR,))
        self.db.execute(
            "INSERT INTO coordinator (programme, name, phone) SELECT 'tarrow', 'Duty', id FROM phone WHERE number = ?",
            (COORDINATOR,),
        )

    def start_server(self) -> None:
        """Starts ``wadeline serve``."""
        with (self.folder / "serve.log").open("ab") as log:
            self.server = subprocess.Popen(
                [sys.executable, "-m", "guide.cli", "serve", str(self.folder / "serve.toml")], stderr=log
            )
        wait_for(lambda: fetched("http://127.0.0.1:8091/health"), 20, "serve")

    def kill_server(self, away_s: float) -> None:
        """kill -9, an outage, and a start anew."""
        self.server.send_signal(signal.SIGKILL)
        self.server.wait()
        time.sleep(away_s)
        self.start_server()

    def text(self, number: str, words: str) -> None:
        """A phone sends a text."""
        self.sent.setdefault(number, []).append(words)
        self.phones.send(number, words)

    def step(self, number: str) -> str:
        """Where a phone's seat is."""
        row = self.db.execute(
            "SELECT json_extract(state, '$.frames[0].flow') || '.' || json_extract(state, '$.frames[0].step') "
            "FROM seat JOIN phone ON phone.current_seat = seat.id WHERE number = ?",
            (number,),
        ).fetchone()
        return str(row[0]) if row else ""

    def asked(self, number: str) -> tuple[int, str | None, list[str]]:
        """The newest text out to a phone that asks something: its id, what it expects, its answers."""
        row = self.db.execute(
            "SELECT outgoing.id, expects, options FROM outgoing JOIN phone ON phone.id = outgoing.phone "
            "WHERE number = ? AND step IS NOT NULL ORDER BY outgoing.id DESC LIMIT 1",
            (number,),
        ).fetchone()
        return (row[0], row[1], json.loads(row[2])) if row else (0, None, [])

    def play(self, until: str, numbers: tuple[str, ...], seconds: float = 60) -> None:
        """Each phone answers what it got last, until all of them are at a step or at rest."""
        answered = dict.fromkeys(numbers, 0)
        limit = time.monotonic() + seconds
        while not all(self.done(number, until) for number in numbers):
            assert time.monotonic() < limit, f"no end at {[self.step(number) for number in numbers]}"
            self.answer_new(answered, until)
            time.sleep(0.01)

    def done(self, number: str, until: str) -> bool:
        """Whether a phone is at a step, or is asked nothing any more."""
        text_id, expects, _ = self.asked(number)
        return self.step(number) == until or (text_id > 0 and expects is None)

    def answer_new(self, answered: dict[str, int], until: str) -> None:
        """Answers the newest question of each phone, once its text has reached it."""
        for number, before in answered.items():
            text_id, expects, options = self.asked(number)
            if text_id > before and expects is not None and self.step(number) != until and self.arrived(text_id):
                answered[number] = text_id
                self.text(number, options[0])

    def arrived(self, text_id: int) -> bool:
        """Whether a text out has reached its phone."""
        number, text = self.db.execute(
            "SELECT number, text FROM outgoing JOIN phone ON phone.id = phone WHERE outgoing.id = ?", (text_id,)
        ).fetchone()
        return text in self.phones.got.get(number, [])

    def settled(self) -> bool:
        """Nothing waits to be sent, and all that was sent has been reported as delivered."""
        return not self.db.execute("SELECT 1 FROM outgoing WHERE status IN ('waiting', 'sent') LIMIT 1").fetchone()

    def in_record(self, number: str) -> list[str]:
        """The texts of a phone in the record."""
        rows = self.db.execute(
            "SELECT raw FROM turn JOIN phone ON phone.id = turn.phone WHERE number = ? ORDER BY turn.id", (number,)
        )
        return [row[0] for row in rows]

    def stop(self) -> int:
        """Ends everything; returns the server's exit code after SIGTERM."""
        self.server.terminate()
        code = self.server.wait(20)
        self.kannel.stop()
        return code


def field_day(day: Day) -> None:
    """Three pairs of one group from the first word to the close, through kills and outages."""
    first, second, third = PAIRS
    day.text(STRANGER, "hello?")
    day.text(first, "JOIN LANTERN7")
    day.play("larva.look", (first,))
    (word,) = day.db.execute("SELECT word FROM visit").fetchone()
    for number, role in ((second, ""), (third, ""), (NOTER, " LEADER")):
        day.text(number, f"JOIN {word}{role}")
    day.play("larva.look", (second, third))
    day.text(first, "DESK may we take the snail? \U0001f40c")
    wait_for(lambda: any("snail" in text for text in day.phones.got.get(COORDINATOR, [])), 10, "the question")
    (own_word,) = day.db.execute("SELECT join_word FROM seat WHERE letter = 'A'").fetchone()
    day.text(COORDINATOR, f"TO {own_word} {ADVICE}")
    wait_for(lambda: any(ADVICE in text for text in day.phones.got[first]), 10, "the answer")
    day.text(NOTER, LONG_NOTE)
    day.text(NOTER, WIDE_NOTE)
    wait_for(lambda: WIDE_NOTE in day.in_record(NOTER), 20, "the wide note")
    under_load(day)
    kill_bearerbox(day)
    day.play("close.end", PAIRS, 90)
    day.play("close.end", (NOTER,))
    wait_for(day.settled, 40, "delivery reports of all texts out")


def under_load(day: Day) -> None:
    """Notes stream in while the server is killed twice, once for seconds."""
    for number in range(NOTES):
        day.text(NOTER, f"NOTE count {number}")
        if number == NOTES // 3:
            day.kill_server(0)
        if number == 2 * NOTES // 3:
            day.kill_server(2)
        time.sleep(0.01)
    notes = {f"NOTE count {number}" for number in range(NOTES)}
    wait_for(lambda: notes <= set(day.in_record(NOTER)), 60, "all notes")  # one brought again comes after later ones


def kill_bearerbox(day: Day) -> None:
    """More notes, with bearerbox killed among them: what it had not handed over is gone, what it had is answered."""
    for number in range(MORE_NOTES):
        with contextlib.suppress(OSError):
            day.text(NOTER, f"NOTE more {number}")
        if number == MORE_NOTES // 2:
            day.kannel.kill_bearerbox()
            day.phones.connect()
        time.sleep(0.01)
    last = f"NOTE more {MORE_NOTES - 1}"
    wait_for(lambda: last in day.in_record(NOTER), 60, "the last note after bearerbox is back")


def main() -> None:
    """Plays the day and leaves what was seen."""
    day = Day(Path(sys.argv[1]))
    day.start()
    try:
        field_day(day)
    finally:
        code = day.stop()
        seen = {"sent": day.sent, "got": day.phones.got, "exit": code}
        (day.folder / "seen.json").write_text(json.dumps(seen, ensure_ascii=False))


if __name__ == "__main__":
    main()
