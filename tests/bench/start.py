"""Whole processes: ``wadeline --help``, one text through ``pipe``, ``chat`` until it asks, beside their libraries.

They are measured from a wheel installed in an environment of its own: an editable install compiles at each start.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.bench.first_prompt import LIBRARIES, until_prompt, whole
from tests.bench.scene import ROOT, Measured

CORE = "import transitions, sqlite3, click"
ROUNDS = 15


def installed(place: Path) -> str:
    """The Python of a new environment in a folder, with the wheel of this tree in it."""
    pip = ["-m", "pip", "--disable-pip-version-check", "--quiet"]
    make = ["wheel", "--no-deps", "--wheel-dir", str(place), str(ROOT)]
    subprocess.run([sys.executable, *pip, *make], check=True, stderr=subprocess.DEVNULL)
    subprocess.run([sys.executable, "-m", "venv", str(place / "venv")], check=True)
    (wheel,) = place.glob("*.whl")
    python = str(place / "venv" / "bin" / "python")
    subprocess.run([python, *pip, "install", str(wheel)], check=True, stderr=subprocess.DEVNULL)
    return python


def measure() -> list[Measured]:
    """Milliseconds of whole processes, all ways alternated."""
    os.environ.pop("PYTHONPATH", None)  # it would bring this folder in front of the wheel
    with tempfile.TemporaryDirectory(prefix="bench-wheel-") as place:
        python = installed(Path(place))
        ways = ways_of(python, place)
        ways["one text through pipe"]()  # makes the record
        until_prompt(python, f"{place}/chat.db")
        took: dict[str, list[float]] = {name: [] for name in ways}
        for _ in range(ROUNDS):
            for name, way in ways.items():
                took[name].append(way())
    lines = [Measured(name, "ms", values) for name, values in took.items()]
    by_name = {line.what: line for line in lines}
    for name, floor, reach in (
        ("wadeline --help", "its core libraries alone", "at most 1.3"),
        ("one text through pipe", "its core libraries alone", "at most 1.3"),
        ("one text through pipe, new record", "its core libraries alone", ""),
        ("first prompt of chat", "with prompt_toolkit", "at most 1.25"),
        ("first prompt of chat, new record", "with prompt_toolkit", "at most 1.25"),
    ):
        line = by_name[name]
        line.floor, line.reach = floor, reach
        line.ratio = line.median / by_name[floor].median
    return lines


def ways_of(python: str, place: str) -> dict[str, Callable[[], float]]:
    """What is timed, by name."""
    wadeline = str(Path(python).with_name("wadeline"))
    pair = Pair()

    def new() -> str:
        return f"{place}/{time.monotonic_ns()}.db"

    return {
        "bare Python": lambda: whole([python, "-c", "pass"]),
        "its core libraries alone": lambda: whole([python, "-c", CORE]),
        "wadeline --help": lambda: whole([wadeline, "--help"]),
        "one text through pipe": lambda: one_text(wadeline, f"{place}/pipe.db", pair),
        "one text through pipe, new record": lambda: one_text(wadeline, new(), Pair()),
        "with prompt_toolkit": lambda: whole([python, "-c", LIBRARIES]),
        "first prompt of chat": lambda: until_prompt(python, f"{place}/chat.db"),
        "first prompt of chat, new record": lambda: until_prompt(python, new()),
    }


@dataclass
class Pair:
    """Answers each text with what carries on, so that every text is understood and written."""

    says: str = "amberwell"


def one_text(wadeline: str, record: str, pair: Pair) -> float:
    """Milliseconds of a pipe that works one text and ends."""
    line = {"id": str(time.monotonic_ns()), "from": "+100", "text": pair.says}
    given, words = json.dumps(line).encode(), [wadeline, "pipe", "--db", record]
    begun = time.perf_counter()
    done = subprocess.run(words, input=given, check=True, capture_output=True)
    took = (time.perf_counter() - begun) * 1000
    *texts, handled = [json.loads(line) for line in done.stdout.splitlines()]
    assert "handled" in handled
    pair.says = next(iter(texts[-1]["options"]), "amberwell")
    return took
