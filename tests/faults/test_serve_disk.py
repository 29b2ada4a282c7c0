"""``serve`` on a disk that is full, takes no writing, fails in the middle of a batch, or has lost a page.

Whatever the disk does: a text is acknowledged only when it is in the record; else the gateway is told to bring it
again, and it is worked as soon as that is possible, without a start anew.
"""

import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from guide.record.verify import verify
from tests.faults.serving import WORDS, Line, Phone
from tests.faults.test_disk import fill, is_one_sentence, small_disk
from tests.gateway.kannel import fetched, wait_for

__all__ = ["small_disk"]

PAIRS = tuple(f"+4477009002{number:02}" for number in range(6))
LONG = "NOTE " + "windy " * 300
BEGINS, ENDS = "the record can't be written now, it is tried again: ", "the record can be written again"


Opens = Callable[..., Line]


@pytest.fixture
def open_line(tmp_path: Path) -> Iterator[Opens]:
    """Starts a server whose pairs have begun their visit."""
    opened: list[Line] = []

    def make(**given: Any) -> Line:
        line = Line(tmp_path / "day", **given)
        opened.append(line)
        line.start()
        begin(line)
        return line

    yield make
    for line in opened:
        line.close()


def begin(line: Line) -> None:
    """Each pair has its seat and its first question."""
    for number in PAIRS:
        Phone(line, number).text(f"JOIN {WORDS[0]}")
    wait_for(line.is_settled, 20, "the first answers")


def bring_all(line: Line, words: str, prefix: str) -> list[int]:
    """A text of each pair comes at the same moment; returns the statuses they are answered."""
    statuses: list[int] = []
    threads = [
        threading.Thread(target=lambda n=number: statuses.append(line.bring_once(n, words, f"{prefix}{n[-2:]}")))
        for number in PAIRS
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return statuses


def refused_and_said(line: Line, why: str) -> int:
    """Texts come until the disk fails them: they are refused, and nothing of them is kept; returns how many were."""
    refused = number = 0
    while refused <= len(PAIRS):
        number += 1
        assert number < 60, "the disk took everything"
        refused += bring_all(line, f"{LONG} {number}", f"a{number}-").count(503)
    assert why in str(line.state()["why"])
    assert "wadeline_record_ok 0.0" in fetched(f"http://127.0.0.1:{line.health}/metrics")
    return refused


def worked_without_a_start(line: Line, refused: int) -> None:
    """What was refused is brought again and worked, each text once; the log tells the beginning and the end."""
    for (number, ext_id), words in list(line.brought.items()):
        line.bring(number, words, ext_id, within_s=20)
    wait_for(lambda: line.state()["ok"], 10, "health again")
    wait_for(line.is_settled, 20, "the last answer")
    assert line.end(signal.SIGTERM) == 0
    assert line.log.count(BEGINS) == line.log.count(ENDS)
    assert 1 <= len(line.log.splitlines()) - 1 < refused
    assert "Traceback" not in line.log
    each_text_once(line)
    assert max(line.gateway.counts.values()) == 1


def each_text_once(line: Line) -> None:
    """The record holds what was brought, each text once, and is whole."""
    with closing(sqlite3.connect(line.record, isolation_level=None)) as db:
        texts = "SELECT number, ext_id, raw FROM turn JOIN phone ON phone.id = phone WHERE ext_id IS NOT NULL"
        assert sorted(db.execute(texts)) == sorted((*which, words) for which, words in line.brought.items())
        assert verify(db).problems == []


def test_on_a_full_disk_texts_are_refused_and_worked_when_there_is_space(small_disk: Path, open_line: Opens) -> None:
    line = open_line(disk=small_disk)
    fill(small_disk / "ballast")
    refused = refused_and_said(line, "database or disk is full")
    (small_disk / "ballast").unlink()
    worked_without_a_start(line, refused)


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="only Linux limits another process's files")
def test_an_error_of_the_disk_in_the_middle_of_a_batch_keeps_none_of_its_texts(open_line: Opens) -> None:
    """No file of the server may grow: a write fails in the middle of a commit, as on a disk that breaks."""
    line = open_line()
    largest = max(path.stat().st_size for path in line.folder.glob("record.db*"))
    _, most = resource.prlimit(line.server.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(line.server.pid, resource.RLIMIT_FSIZE, (largest + 3000, most))
    refused = refused_and_said(line, "disk I/O error")
    resource.prlimit(line.server.pid, resource.RLIMIT_FSIZE, (most, most))
    worked_without_a_start(line, refused)


FAILS_TO_SYNC = """
#include <errno.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <unistd.h>
static int broken(void) { return access(getenv("WADELINE_BROKEN"), F_OK) == 0; }
int fsync(int file) { return broken() ? (errno = EIO, -1) : (int) syscall(SYS_fsync, file); }
int fdatasync(int file) { return broken() ? (errno = EIO, -1) : (int) syscall(SYS_fdatasync, file); }
"""
"""Stands before the system's own: while a file of that name is there, nothing gets to the disk for sure."""


@pytest.mark.skipif(sys.platform != "linux" or shutil.which("cc") is None, reason="needs Linux and a C compiler")
def test_a_text_that_does_not_get_to_the_disk_for_sure_is_not_acknowledged(open_line: Opens, tmp_path: Path) -> None:
    (tmp_path / "sync.c").write_text(FAILS_TO_SYNC)
    command = ["cc", "-shared", "-fPIC", "-o", str(tmp_path / "sync.so"), str(tmp_path / "sync.c")]
    subprocess.run(command, check=True, timeout=60)
    broken = tmp_path / "broken"
    line = open_line(environment={"LD_PRELOAD": str(tmp_path / "sync.so"), "WADELINE_BROKEN": str(broken)})
    broken.touch()
    refused = refused_and_said(line, "disk I/O error")
    assert not any(ext_id.startswith("a") for _, ext_id in line.acknowledged)
    broken.unlink()
    worked_without_a_start(line, refused)


@pytest.mark.parametrize("name", ["seat", "log"])
def test_a_page_lost_in_the_middle_of_the_work_refuses_what_meets_it_and_keeps_nothing_half(
    open_line: Opens, name: str
) -> None:
    line = open_line()
    before = line.gateway.counts
    was = lose_page(line, name)
    assert set(bring_all(line, "where", "a")) == {503}
    assert "the record is damaged" in str(line.state()["why"])
    assert set(bring_all(line, "where", "a")) == {503}
    assert line.end(signal.SIGTERM) == 0
    assert line.log.count("damaged") == 1
    assert "Traceback" not in line.log
    assert line.gateway.counts == before
    line.record.write_bytes(was)
    line.start()
    for (number, ext_id), words in list(line.brought.items()):
        line.bring(number, words, ext_id)
    wait_for(line.is_settled, 20, "the last answer")
    assert line.end(signal.SIGTERM) == 0
    each_text_once(line)


def lose_page(line: Line, name: str) -> bytes:
    """Overwrites the page that a table or index begins at, as it lies on the disk; returns the file as it was."""
    with closing(sqlite3.connect(line.record, isolation_level=None, timeout=10)) as db:
        (page,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (name,)).fetchone()
        (version,) = db.execute("PRAGMA user_version").fetchone()
        db.execute(f"PRAGMA user_version = {version}")  # another process writes: the server reads its pages anew
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        was = line.record.read_bytes()
        with line.record.open("r+b") as file:
            file.seek((page - 1) * 4096)
            file.write(b"\xa5" * 4096)
    return was


@pytest.mark.parametrize("how", ["full", "read only"])
def test_a_server_that_begins_on_such_a_disk_says_so_in_one_sentence(
    tmp_path: Path, small_disk: Path, how: str
) -> None:
    line = Line(tmp_path / "day", small_disk)
    if how == "full":
        fill(small_disk / "ballast")
    else:
        subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    done = subprocess.run(line.command(), capture_output=True, timeout=30)
    line.gateway.close()
    assert is_one_sentence(done), done.stderr
