"""Time to the first prompt of ``wadeline chat`` on a terminal, beside importing its libraries alone.

``python -m tests.bench.first_prompt --python PATH``: PATH is the Python of an environment with the wheel installed.
"""

import argparse
import os
import pty
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

LIBRARIES = "import prompt_toolkit, transitions, sqlite3, click"


def until_prompt(python: str, record: str) -> float:
    """Milliseconds from the start of the process until the first question is on the terminal."""
    master, slave = pty.openpty()
    start = time.perf_counter()
    process = subprocess.Popen(
        [str(Path(python).with_name("wadeline")), "chat", "--db", record],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        env={**os.environ, "TERM": "xterm"},
        start_new_session=True,
    )
    os.close(slave)
    seen = b""
    while b"BOTH:" not in seen:
        seen += os.read(master, 65536)
    took = (time.perf_counter() - start) * 1000
    process.kill()
    process.wait()
    os.close(master)
    return took


def whole(command: list[str]) -> float:
    """Milliseconds a whole process takes."""
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return (time.perf_counter() - start) * 1000


def main() -> None:
    """Prints medians with spread, the ways alternated in one run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--python", default=sys.executable)
    parser.add_argument("--rounds", type=int, default=15)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        record = f"{folder}/record.db"
        until_prompt(args.python, record)
        ways = {
            "bare Python": lambda: whole([args.python, "-c", "pass"]),
            "its libraries alone": lambda: whole([args.python, "-c", LIBRARIES]),
            "first prompt": lambda: until_prompt(args.python, record),
            "first prompt, new record": lambda: until_prompt(args.python, f"{folder}/{time.monotonic_ns()}.db"),
        }
        times: dict[str, list[float]] = {name: [] for name in ways}
        for _ in range(args.rounds):
            for name, way in ways.items():
                times[name].append(way())
    floor = statistics.median(times["its libraries alone"])
    for name, took in times.items():
        median = statistics.median(took)
        print(f"{name:26} {median:6.1f} ms  ({min(took):.1f} to {max(took):.1f})  x {median / floor:.2f}")


if __name__ == "__main__":
    main()
