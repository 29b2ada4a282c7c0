"""Progress of long work: a bar on a terminal, nothing in a pipe."""

import os
import pty
import struct
import subprocess
import sys
import termios
from fcntl import ioctl

SHOWS = "from guide.desk import progress as p; p.QUIET_S = -1; print(sum(p.progress(range(50), 50, 'taking')))"


def test_in_a_pipe_nothing_is_said() -> None:
    done = subprocess.run([sys.executable, "-c", SHOWS], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("1225\n", "")


def test_on_a_terminal_a_bar_tells_how_far_it_is() -> None:
    ours, theirs = pty.openpty()
    ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    env = {**os.environ, "TERM": "xterm", "WADELINE_PLAIN": ""}
    done = subprocess.run(
        [sys.executable, "-c", SHOWS],
        stdout=subprocess.PIPE,
        stderr=theirs,
        stdin=theirs,
        text=True,
        env=env,
        check=True,
    )
    os.close(theirs)
    drawn = b""
    while b"100.0%" not in drawn:
        drawn += os.read(ours, 4096)
    os.close(ours)
    assert done.stdout == "1225\n"
    assert b"taking" in drawn
