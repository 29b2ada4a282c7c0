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

from guide.chat import Talker, wrapped
from guide.chat_bar import Bar, bar_text, who_acts
from guide.chat_screen import Answers, Screen


@pytest.fixture
def talker(pond):
    """Somebody at a terminal whose clock the test moves."""
    return Talker(pond.exchange, lambda: pond.now)


def type_keys(talker, keys: str) -> str:
    """Types keys into the screen form; returns what was printed above the line."""
    printed = StringIO()
    with create_pipe_input() as given, create_app_session(input=given, output=DummyOutput()), redirect_stdout(printed):
        given.send_text(keys)
        asyncio.run(asyncio.wait_for(Screen(talker).talk(), 20))
    return printed.getvalue()


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


def test_completions_are_this_steps_answers_and_the_words_that_work_anywhere(talker):
    talker.begin()
    found = [one.text for one in Answers(talker).get_completions(Document(""), CompleteEvent())]
    assert found[:4] == ["amberwell", "quill", "harrow", "sallow"]
    assert {"OOPS", "DANGER", "JOIN"} <= set(found)
    assert [one.text for one in Answers(talker).get_completions(Document("oo"), CompleteEvent())] == ["OOPS"]


@pytest.mark.parametrize(
    ("columns", "line"),
    [
        (80, "DIRTY next | 3 of 12 larvae | shelter 12 min | pace coach | darner 2, skimmer 1"),
        (40, "DIRTY next | 3 of 12 larvae"),
        (12, "DIRTY next"),
    ],
)
def test_the_bar_leaves_out_what_matters_least(columns, line):
    bar = Bar("DIRTY next", "3 of 12 larvae", (("shelter", 12),), "coach", "darner 2, skimmer 1")
    assert bar_text(bar, columns) == line


@pytest.mark.parametrize(("text", "who"), [("Got 27. DIRTY: family?", "DIRTY next"), ("Noted.", "")])
def test_who_acts_is_read_off_the_prompt(text, who):
    assert who_acts(text) == who


def test_words_are_not_broken_at_the_edge():
    assert wrapped("lift one larva over the line", 12).split("\n") == ["lift one", "larva over", "the line"]


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
    ("y", "what do you see"),
    ("sunny", "how many people"),
    ("3", "under 18"),
    ("0", "Thunder heard"),
    ("n", "how many go in"),
    ("0", "Net from the bank"),
    ("ok", "powder-free"),
    ("none", "insect spray"),
    ("n", "JOIN"),
    ("n", "new gloves. DIRTY"),
    ("ok", "1 of 12"),
)


@pytest.mark.parametrize(("columns", "lines"), [(80, 24), (40, 20)])
def test_on_a_real_terminal_a_visit_comes_to_its_first_larva(tmp_path, columns, lines):
    terminal = Terminal(["--db", str(tmp_path / "record.db")], columns, lines)
    try:
        terminal.wait_for("Sallow Fen")
        terminal.wait_for("larvae")
        for words, then in WAY:
            terminal.type(f"{words}\r")
            terminal.wait_for(then)
        terminal.wait_for("CLEAN next | 0 of 12 larvae")
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
    assert done.stdout.rstrip().endswith(b"Go on later with: wadeline chat")
