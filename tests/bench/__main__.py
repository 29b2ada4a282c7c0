"""One table of all benches: ``python -m tests.bench``, or of some: ``python -m tests.bench start durable``.

Each figure is a median with its least and most, beside its floor, measured in the same run. Nothing here passes or
fails: a loaded machine shows in the spread and in the floors.
"""

import argparse
import os
import platform
import sqlite3
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

from tests.bench.scene import ROOT, Measured, folder, fsyncs_a_second

BENCHES = ("start", "durable", "account", "engine", "serve", "shape", "export", "growth")
"""In the order they run; the last makes a record of 8 GB, for which it needs the space and some minutes."""

_WIDTHS = (76, 10, 21, 10, 8, 30)


def main() -> None:
    """Runs benches and prints their lines as they come."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"some of {', '.join(BENCHES)} (else all)")
    names = parser.parse_args().names or list(BENCHES)
    for name in names:
        if name not in BENCHES:
            parser.error(f"there is no bench {name!r}; there are {', '.join(BENCHES)}")
    print(facts(), end="\n\n")
    print(row("what", "median", "least to most", "unit", "x floor", "the floor; to reach"))
    for name in names:
        measure: Callable[[], list[Measured]] = import_module(f"tests.bench.{name}").measure
        for one in measure():
            print(line(one), flush=True)


def facts() -> str:
    """The machine the figures belong to."""
    with folder() as place:
        disk = fsyncs_a_second(place)
    now, load = f"{datetime.now(UTC):%Y-%m-%d %H:%M}Z", ", ".join(f"{one:.1f}" for one in os.getloadavg())
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True).stdout
    where = f"{_processor()}, {os.cpu_count()} cores, load {load}; {platform.system()} {platform.release()}"
    return (
        f"{now}, commit {commit.strip() or 'unknown'}; {where}; Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}; the disk takes {disk:,.0f} appending fsyncs a second"
    )


def _processor() -> str:
    cpuinfo = Path("/proc/cpuinfo")
    lines = cpuinfo.read_text().splitlines() if cpuinfo.exists() else []
    named = [one for one in lines if one.startswith("model name")]
    return named[0].partition(":")[2].strip() if named else platform.processor() or platform.machine()


def line(one: Measured) -> str:
    """A figure as a row of the table."""
    ratio = f"{one.ratio:.2f}" if one.ratio is not None else ""
    beside = "; ".join(filter(None, (one.floor, one.reach)))
    spread = f"{number(min(one.values))} to {number(max(one.values))}" if len(one.values) > 1 else ""
    return row(one.what, number(one.median), spread, one.unit, ratio, beside)


def row(*cells: str) -> str:
    """Cells in columns, the figures to the right."""
    what, median, spread, unit, ratio, beside = cells
    w = _WIDTHS
    return f"{what:{w[0]}} {median:>{w[1]}} {spread:>{w[2]}}  {unit:{w[3]}} {ratio:>{w[4]}}  {beside}".rstrip()


def number(value: float) -> str:
    """Three digits that matter."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


if __name__ == "__main__":
    main()
