"""The terminal: typed keys through prompt_toolkit's pipe, and once through a real pseudo-terminal."""

import asyncio
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import time
from contextlib import redirect_stdout
from datetime import timedelta
from fcntl import ioctl
from io import StringIO

import pyte
import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.completion import CompleteEvent
from prompt_toolkit.document import Document
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from guide.chat import NOT_TAKEN, STOPPED, TERMINAL, Talker, let_timers_speak, wrapped
from guide.chat_bar import Bar, bar_text, read_bar, who_acts
from guide.chat_screen import INTERRUPTED, Answers, Screen, answers
from guide.field.families import FAMILIES
from guide.gateway.exchange import TextIn
from guide.record.open import open_record


@pytest.fixture
def talker(pond):
    """Somebody at a terminal whose clock the test moves."""
    return Talker(pond.exchange, lambda: pond.now)


def type_while(talker, typing) -> str:
    """Runs the screen form while ``typing(screen, keys, printed)`` types; returns what was printed above the line."""
    printed = StringIO()

    async def both(given):
        screen = Screen(talker, tick_s=0.01)
        await asyncio.gather(screen.talk(), typing(screen, given, printed))

    with create_pipe_input() as given, create_app_session(input=given, output=DummyOutput()), redirect_stdout(printed):
        asyncio.run(asyncio.wait_for(both(given), 20))
    return printed.getvalue()


def type_keys(talker, keys: str) -> str:
    """Types keys into the screen form; returns what was printed above the line."""

    async def typing(screen, given, printed):
        given.send_text(keys)

    return type_while(talker, typing)


def test_typed_lines_are_texts_and_their_answers_are_shown(talker, pond):
    talker.begin()
    printed = type_keys(talker, "quill\ry\r\x04")
    assert "disinfected and dry" in " ".join(printed.split())
    assert pond.rows("SELECT site FROM visit") == [("quill",)]


def test_ctrl_c_clears_the_line_and_says_how_to_leave(talker, pond):
    talker.begin()
    printed = type_keys(talker, "half a li\x03quill\r\x04")
    assert "Ctrl-D leaves; everything is kept." in printed
    assert pond.rows("SELECT site FROM visit") == [("quill",)]


def test_the_up_arrow_brings_back_a_line_that_ctrl_c_cleared(talker, pond):
    async def type_again(screen, given, printed):
        buffer = screen.session.default_buffer
        given.send_text("quill\x03")
        while INTERRUPTED[:20] not in printed.getvalue() or buffer.text:
            await asyncio.sleep(0.01)
        while not buffer.text:
            given.send_text("\x1b[A")
            await asyncio.sleep(0.05)
        given.send_text("\r\x04")

    talker.begin()
    type_while(talker, type_again)
    assert pond.rows("SELECT site FROM visit") == [("quill",)]


def test_a_paste_of_several_lines_is_one_text_of_several_samples(talker, pond):
    talker.begin()
    while not talker.last.step.startswith("larva."):
        talker.say(talker.last.options[0])
    type_keys(talker, "\x1b[200~01428 27 darner\n01431 31 skimmer\x1b[201~\r\x04")
    assert pond.rows("SELECT tag, length_mm FROM sample") == [("01428", 27.0), ("01431", 31.0)]


def test_a_start_goes_on_where_the_last_one_ended(talker, pond):
    talker.begin()
    talker.say("quill")
    where, prompt = Talker(pond.exchange, lambda: pond.now).begin()
    assert where.startswith("Quill Brook, pair A")
    assert prompt.startswith("BOTH: nets, waders")


def test_timers_speak_when_they_are_due(talker, pond):
    talker.begin()
    while talker.last.step != "net.spot":
        talker.say(talker.last.options[0])
    pond.now += timedelta(minutes=7)
    assert "minutes at this spot" in talker.overdue()[0]


def test_a_timer_speaks_while_a_line_is_typed_and_leaves_it_whole(talker, pond):
    talker.begin()
    while talker.last.step != "net.spot":
        talker.say(talker.last.options[0])

    async def type_across_a_timer(screen, given, printed):
        given.send_text("no")
        while screen.session.default_buffer.text != "no":
            await asyncio.sleep(0.01)
        pond.now += timedelta(minutes=7)
        while "minutes at this spot" not in printed.getvalue():
            await asyncio.sleep(0.01)
        given.send_text("ne\r\x04")

    type_while(talker, type_across_a_timer)
    assert pond.rows("SELECT raw FROM turn ORDER BY id DESC LIMIT 2") == [("none",), ("spot",)]


def test_timers_speak_on_a_plain_terminal_before_a_line_is_there(talker, pond, monkeypatch):
    talker.begin()
    while talker.last.step != "net.spot":
        talker.say(talker.last.options[0])
    pond.now += timedelta(minutes=7)
    monkeypatch.setattr("guide.chat.TICK_S", 0.01)
    master, slave = pty.openpty()
    shown = []

    def show(text):
        shown.append(text)
        os.write(master, b"none\n")

    with os.fdopen(slave) as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        let_timers_speak(talker, show)
    os.close(master)
    assert "minutes at this spot" in shown[0]


def test_what_was_not_shown_before_a_crash_is_shown_by_the_next_start(talker, pond):
    talker.begin()
    pond.exchange.receive(TextIn(TERMINAL, "quill"), pond.now)
    lost, where, again = Talker(pond.exchange, lambda: pond.now).begin()
    assert lost == again
    assert where.startswith("Quill Brook, pair A")


def test_a_stopped_terminal_says_why_nothing_is_answered(talker):
    talker.begin()
    assert "START brings them back" in talker.say("stop")[0]
    assert talker.say("quill") == [STOPPED]
    assert talker.begin() == [STOPPED]
    assert talker.say("start")[0] == "You get texts again."


def test_a_record_that_cannot_be_written_now_is_said_and_loses_nothing(talker, pond):
    talker.begin()
    pond.db.execute("PRAGMA busy_timeout = 1")
    other = open_record(pond.db.execute("PRAGMA database_list").fetchone()[2])
    other.execute("BEGIN IMMEDIATE")
    assert talker.say("quill") == [NOT_TAKEN.format(error="database is locked")]
    assert talker.overdue() == []
    other.execute("ROLLBACK")
    other.close()
    talker.say("quill")
    assert pond.rows("SELECT site FROM visit") == [("quill",)]


def test_completions_are_this_steps_answers_and_the_words_that_work_anywhere(talker):
    talker.begin()
    found = [one.text for one in Answers(talker).get_completions(Document(""), CompleteEvent())]
    assert found[:4] == ["amberwell", "quill", "harrow", "sallow"]
    assert {"OOPS", "DANGER", "JOIN"} <= set(found)
    assert [one.text for one in Answers(talker).get_completions(Document("oo"), CompleteEvent())] == ["OOPS"]


@pytest.mark.parametrize("step", ["safety.in_water", "larva.measure", "larva.tag", "close.lots"])
def test_no_made_up_measurement_or_tag_is_completed(talker, step):
    talker.begin()
    while talker.last.step != step:
        talker.say(talker.last.options[0])
    assert not [word for word in answers(talker.last) if not word.isalpha()]


@pytest.mark.parametrize(
    ("state", "who"),
    [("pause", "paused, GO goes on"), ("go", "BOTH next")],
)
def test_the_bar_tells_a_pause(talker, pond, state, who):
    talker.begin()
    talker.say(state)
    assert read_bar(pond.exchange, TERMINAL, pond.now).who == who


def test_every_family_is_completed_or_none_would_be_fair(talker):
    talker.begin()
    while talker.last.step != "larva.name":
        talker.say(talker.last.options[0])
    assert {family.everyday.upper() for family in FAMILIES} < set(answers(talker.last))


def test_the_bar_tells_timers_families_and_the_end(talker, pond):
    talker.begin()
    while talker.last.step != "larva.look" or not pond.rows("SELECT 1 FROM sample WHERE status = 'kept'"):
        talker.say(talker.last.options[0])
    bar = read_bar(pond.exchange, TERMINAL, pond.now)
    assert bar == Bar("CLEAN next", "2 of 12", (("check-in", 30),), "coach", "darner 1", True)
    while talker.last.expects is not None:
        talker.say(talker.last.options[0])
    bar = read_bar(pond.exchange, TERMINAL, pond.now)
    assert (bar.who, bar.count) == ("visit closed", "12 bagged")


@pytest.mark.parametrize(
    ("columns", "line"),
    [
        (96, "DIRTY next | 4 of 12 | check-in 12 min | pace coach | darner 2, skimmer 1 | practice"),
        (80, "DIRTY next | 4 of 12 | check-in 12 min | pace coach | darner 2, skimmer 1"),
        (40, "DIRTY next | 4 of 12 | check-in 12 min"),
        (12, "DIRTY next"),
    ],
)
def test_the_bar_leaves_out_what_matters_least(columns, line):
    bar = Bar("DIRTY next", "4 of 12", (("check-in", 12),), "coach", "darner 2, skimmer 1", True)
    assert bar_text(bar, columns) == line


@pytest.mark.parametrize(
    ("text", "who"),
    [
        ("Got 27. DIRTY: family?", "DIRTY next"),
        ("CLEAN, not DIRTY: measure again.", "CLEAN next"),
        ("All larvae found! ALL: out of the water.", "ALL next"),
        ("Noted.", ""),
    ],
)
def test_who_acts_is_read_off_the_prompt(text, who):
    assert who_acts(text) == who


def test_words_are_not_broken_at_the_edge():
    assert wrapped("lift one larva up-current of the line", 14).split("\n") == [
        "lift one", "larva", "up-current of", "the line",
    ]  # fmt: skip


class Terminal:
    """``wadeline chat`` in a pseudo-terminal, its screen read by a terminal emulator."""

    def __init__(self, args: list[str], columns: int, lines: int, **environment: str) -> None:
        self.screen = pyte.Screen(columns, lines)
        self.stream = pyte.ByteStream(self.screen)
        self.raw = b""
        master, slave = pty.openpty()
        ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
        self.master = master
        self.process = subprocess.Popen(
            [sys.executable, "-m", "guide.cli", "chat", *args],
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env={**os.environ, "TERM": "xterm", **environment},
        )  # fmt: skip
        os.close(slave)

    def wait_for(self, words: str, seconds: float = 20) -> str:
        """Reads until the screen shows the words."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            shown = " ".join(" ".join(self.screen.display).split())
            if words in shown:
                return shown
            if select.select([self.master], [], [], 0.05)[0]:
                try:
                    data = os.read(self.master, 65536)
                except OSError:
                    break
                self.raw += data
                self.stream.feed(data)
                if b"\x1b[6n" in data:
                    cursor = self.screen.cursor
                    os.write(self.master, f"\x1b[{cursor.y + 1};{cursor.x + 1}R".encode())
        raise AssertionError(f"never saw {words!r} on:\n" + "\n".join(self.screen.display))

    def type(self, words: str) -> None:
        os.write(self.master, words.encode())

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self.master)


WAY = (
    ("1", "nets, waders"),
    ("y", "look around"),
    ("sunny", "how many people"),
    ("3", "under 18"),
    ("0", "Thunder heard"),
    ("n", "how many go in"),
    ("0", "Net from the bank"),
    ("ok", "powder-free"),
    ("none", "bug spray"),
    ("n", "JOIN"),
    ("n", "new gloves. DIRTY"),
    ("ok", "1 of 12"),
)


@pytest.mark.parametrize(("columns", "lines"), [(80, 24), (40, 20)])
def test_on_a_real_terminal_a_visit_comes_to_its_first_larva(tmp_path, columns, lines):
    terminal = Terminal(["--db", str(tmp_path / "record.db")], columns, lines)
    try:
        terminal.wait_for("Sallow Fen")
        terminal.wait_for("BOTH next | pace coach")
        for words, then in WAY:
            terminal.type(f"{words}\r")
            terminal.wait_for(then)
        terminal.wait_for("CLEAN next | 1 of 12")
        terminal.type("note \x16\x1b[2Jdark\r")
        terminal.wait_for("Noted.")
        terminal.type("\x04")
        terminal.wait_for("Everything is kept.")
        assert terminal.process.wait(10) == 0
    finally:
        terminal.close()


@pytest.mark.parametrize("args", [["--plain"], []])
def test_plain_lines_on_a_dumb_terminal_hold_no_escape_codes(tmp_path, args):
    terminal = Terminal([*args, "--db", str(tmp_path / "record.db")], 80, 24, TERM="dumb", NO_COLOR="1")
    try:
        terminal.wait_for("Sallow Fen")
        terminal.type("1\n")
        terminal.wait_for("nets, waders")
        assert b"\x1b" not in terminal.raw
    finally:
        terminal.close()


def test_piped_input_is_answered_and_hostile_words_reach_no_terminal(tmp_path):
    command = [sys.executable, "-m", "guide.cli", "chat", "--db", str(tmp_path / "record.db")]
    given = b"1\n\x1b[2J\x1b]0;x\x07\n\xff\xfe\n"
    done = subprocess.run(command, input=given, capture_output=True, check=True)
    assert b"\x1b" not in done.stdout
    assert b"Practice visit of the demo programme" in done.stdout
    assert done.stdout.rstrip().endswith(b"record.db")
