"""An export of a million log entries beside the sqlite3 shell that writes the same tables as CSV.

``python -m tests.bench.export [--entries N] [--rounds N]``: makes a record (a minute or two), then prints medians, the
ratio to the shell, and the most memory of each process; a tenth of the entries first, so that growth would show.
"""

import argparse
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from guide.papers.csv_tables import SAMPLES, Scope, csv_lines, sample_rows
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.store import Store
from tests.bench.scene import Measured
from tests.bench.scene import folder as folder_on_disk
from tests.desk.lab_world import make_world

ENTRIES = 1_000_000
LARVAE = 40
"""Larvae a visit; each is seven entries of the log."""

ENTRIES_A_VISIT = 3 + LARVAE * 7
LOG = "SELECT log.*, uid FROM log JOIN origin ON origin.id = log.origin ORDER BY log.id"


def make(folder: Path, entries: int) -> Path:
    """A record of so many entries."""
    world = make_world(folder)
    begun = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
    store = world.store
    for number in range(entries // ENTRIES_A_VISIT):
        uid, at = f"{store.origin}-b{number:07}", begun + timedelta(minutes=number)
        opened = {
            "code8": f"B{number:07}", "programme": world.settings.code, "book_hash": "", "practice": 0, "target": 12,
            "local_date": at.date().isoformat(), "word": f"word{number}",
        }  # fmt: skip
        rows = [Entry("visit_opened", "", opened), Entry("answer", "arrive.site", {"site": "amberwell"})]
        for larva in range(1, LARVAE + 1):
            one = f"{uid}-{larva}"
            rows += [
                Entry("sample_opened", "larva.look", {"kind": "larva", "gloves": "asked", "pace": "coach"}, one),
                Entry("sealed", "larva.bag", {"gloves": "confirmed"}, one),
                Entry("answer", "larva.measure", {"length_mm": 13 + larva}, one),
                Entry("answer", "larva.name", {"family": "Gomphidae", "sure": True}, one),
                Entry("outer_bagged", "larva.outer", {}, one),
                Entry("flag", "larva.outer", {"flag": "odd_length_mm"}, one) if larva % 9 == 0 else Entry("note"),
                Entry("kept", "larva.outer", {}, one),
            ]
        with store.transaction():
            store.append(uid, "A", 0, at, [*rows, Entry("visit_closed", "close.done", {})])
    store.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    store.db.close()
    return world.path


def samples_alone(record: Path, to: Path) -> None:
    """Writes samples.csv and nothing else."""
    db = open_record(record)
    (programme,) = db.execute("SELECT uid FROM programme").fetchone()
    with to.open("w", newline="", encoding="utf-8") as file:
        file.writelines(csv_lines(SAMPLES, sample_rows(db, Scope(programme, False))))


def sample_query() -> str:
    """The query behind samples.csv, its values put in."""
    seen: list[tuple[str, tuple[object, ...]]] = []

    class Spy:
        def execute(self, sql: str, values: tuple[object, ...]) -> list[object]:
            seen.append((sql, values))
            return []

    sample_rows(Spy(), Scope("tarrow", False))  # type: ignore[arg-type]
    sql, values = seen[0]
    for value in values:
        sql = sql.replace("?", f"'{value}'" if isinstance(value, str) else str(value), 1)
    return sql


def shell(record: Path, *queries: tuple[str, Path]) -> list[str]:
    """The sqlite3 shell that writes the results of queries as CSV files."""
    words = ["sqlite3", "-readonly", str(record), ".mode csv", ".headers on"]
    for sql, to in queries:
        words += [f".output {to}", f"{sql};"]
    return words


def run(words: list[str]) -> tuple[float, float]:
    """Seconds, and megabytes held at most, of a process (``ru_maxrss`` would count what its parent held)."""
    begun, most = time.perf_counter(), 0
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    while process.poll() is None:
        if found := re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{process.pid}/status").read_text()):
            most = max(most, int(found[1]))
        time.sleep(0.01)
    assert process.returncode == 0, words
    return time.perf_counter() - begun, most / 1024


def times_of(record: Path, folder: Path, rounds: int) -> dict[str, list[tuple[float, float]]]:
    """Seconds and megabytes of each way, the ways alternated; ours stands behind its floor."""
    csv, log = folder / "samples.csv", folder / "log.csv"
    us = [sys.executable, "-m", "tests.bench.export"]
    command = [sys.executable, "-m", "guide.cli", "desk", "export", "--all", "--tables", "--db", str(record)]
    number = iter(range(10_000))
    ways: dict[str, Callable[[], list[str]]] = {
        "shell: samples": lambda: shell(record, (sample_query(), csv)),
        "ours: samples.csv": lambda: [*us, "--samples", str(record), str(csv)],
        "shell: samples and log": lambda: shell(record, (sample_query(), csv), (LOG, log)),
        "ours: all tables and log.jsonl": lambda: [*command, "--to", str(folder / f"out{next(number)}")],
    }
    took: dict[str, list[tuple[float, float]]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, words in ways.items():
            took[name].append(run(words()))
    return took


def measure() -> list[Measured]:
    """An export of a million entries, for the table of all benches."""
    lines: list[Measured] = []
    with folder_on_disk() as place:
        for name, found in times_of(make(place, ENTRIES), place, 3).items():
            most = max(one[1] for one in found)
            line = Measured(
                f"export of a million entries, {name} (at most {most:.0f} MB)", "s", [one[0] for one in found]
            )
            if name.startswith("ours"):
                line.floor, line.reach, line.ratio = "the sqlite3 shell", "at most 6", line.median / lines[-1].median
            lines.append(line)
    return lines


def show(record: Path, folder: Path, rounds: int) -> None:
    """Prints the ways side by side."""
    floor = 0.0
    for name, found in times_of(record, folder, rounds).items():
        seconds, most = statistics.median(one[0] for one in found), max(one[1] for one in found)
        floor = seconds if name.startswith("shell") else floor
        print(f"  {name:32} {seconds:7.2f} s  x {seconds / floor:4.1f}  {most:6.0f} MB")


def main() -> None:
    """Makes the records and measures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=ENTRIES)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--samples", nargs=2, type=Path, metavar=("RECORD", "FILE"))
    args = parser.parse_args()
    if args.samples:
        samples_alone(*args.samples)
        return
    for entries in (args.entries // 10, args.entries):
        with tempfile.TemporaryDirectory() as folder:
            begun = time.perf_counter()
            record = make(Path(folder), entries)
            held = Store(open_record(record)).db.execute("SELECT count(*) FROM log").fetchone()[0]
            size = record.stat().st_size / 2**20
            print(f"{held:,} entries, {size:.0f} MB, made in {time.perf_counter() - begun:.0f} s", flush=True)
            show(record, Path(folder), args.rounds)


if __name__ == "__main__":
    main()
