"""A disk that is full, can't be written, or has lost a page: one sentence for a person, and no text half kept."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from guide.gateway.exchange import TextIn
from guide.record.open import open_record
from guide.record.verify import verify
from tests.conftest import Field
from tests.gateway.scripted import START, PipeProcess, ScriptedPair

WADELINE = (sys.executable, "-m", "guide.cli")
LONG = "note " + "windy " * 300
HELLO = b'{"id": "late", "from": "+100", "text": "ok", "at": "2026-07-05T09:00:00Z"}\n'


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 8 MB, where this user may mount one."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(place)], capture_output=True)
    if mounted.returncode:
        pytest.skip("no disk can be mounted by this user")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def run_pipe(db: Path, given: bytes = HELLO) -> subprocess.CompletedProcess[bytes]:
    """A pipe that works one text and ends, whatever comes of it."""
    return subprocess.run([*WADELINE, "pipe", "--db", str(db)], input=given, capture_output=True, timeout=30)


def is_one_sentence(done: subprocess.CompletedProcess[bytes]) -> bool:
    """True for a command that ended with one line for a person."""
    lines = done.stderr.decode().splitlines()
    return done.returncode == 2 and len(lines) == 1 and lines[0].startswith("wadeline: ")


def test_a_text_that_finds_no_space_leaves_nothing_and_can_be_sent_again(pond: Field) -> None:
    pond.until("larva.look")
    (pages,) = pond.rows("PRAGMA page_count")[0]
    pond.rows(f"PRAGMA max_page_count = {pages + 1}")
    kept = texts_until_full(pond)
    assert pond.rows("SELECT count(*) FROM turn WHERE ext_id LIKE 'n%'") == [(kept,)]
    pond.rows(f"PRAGMA max_page_count = {pages + 1000}")
    assert pond.text(LONG, ext_id=f"n{kept}")
    pond.whole()


def texts_until_full(pond: Field) -> int:
    """How many long texts are worked before there is no space."""
    for number in range(200):
        try:
            pond.text(LONG, ext_id=f"n{number}")
        except sqlite3.OperationalError:
            return number
    raise AssertionError("the disk was never full")


def test_a_batch_that_finds_no_space_leaves_none_of_its_texts(pond: Field) -> None:
    pond.until("larva.look")
    (pages,) = pond.rows("PRAGMA page_count")[0]
    before = pond.rows("SELECT count(*) FROM turn")
    pond.rows(f"PRAGMA max_page_count = {pages + 1}")
    texts = [TextIn("+100", LONG, f"b{number}") for number in range(200)]
    with pytest.raises(sqlite3.OperationalError, match="full"):
        pond.exchange.work_all(texts, pond.now)
    assert pond.rows("SELECT count(*) FROM turn") == before
    pond.whole()


def test_a_pipe_on_a_full_disk_says_so_for_each_text_and_goes_on_when_there_is_space(small_disk: Path) -> None:
    db, ballast = small_disk / "record.db", small_disk / "ballast"
    with PipeProcess(db, ("--seed", "3")) as pipe:
        pair = ScriptedPair(pipe)
        pair.text("hello")
        fill(ballast)
        refused = handled = None
        for number in range(100):
            line = {"id": f"f{number}", "from": "+100", "text": "note " + "rain " * 400, "at": START.isoformat()}
            (*_, refused) = pipe.send(line)
            if "error" in refused:
                break
        assert refused == {"error": "database or disk is full", "line": number + 2}
        ballast.unlink()
        (*_, handled) = pipe.send(line)
        assert handled == {"handled": line["id"]}
        pair.now = START
        pair.play()
    db = open_record(db)
    turns = db.execute("SELECT ext_id FROM turn WHERE gateway = 'line' ORDER BY id").fetchall()
    assert [one for (one,) in turns if one.startswith("f")] == [f"f{place}" for place in range(number + 1)]
    assert db.execute("SELECT status FROM visit").fetchall() == [("closed",)]
    assert verify(db).problems == []
    db.close()


def fill(ballast: Path) -> None:
    """Takes all space that is left."""
    with ballast.open("wb", buffering=0) as file:
        try:
            while file.write(b"x" * 4096):
                pass
        except OSError:
            return


def test_a_new_record_on_a_full_disk_is_one_sentence(small_disk: Path) -> None:
    fill(small_disk / "ballast")
    done = run_pipe(small_disk / "record.db")
    assert is_one_sentence(done), done.stderr
    assert b"can't be used as a record" in done.stderr


def test_a_record_on_a_disk_that_takes_no_writing_is_one_sentence(small_disk: Path) -> None:
    db = small_disk / "record.db"
    assert run_pipe(db).returncode == 0
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    done = run_pipe(db)
    assert is_one_sentence(done), done.stderr
    assert done.stdout == b""


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write to any file")
def test_a_file_that_may_not_be_written_is_one_sentence(tmp_path: Path) -> None:
    db = tmp_path / "record.db"
    assert run_pipe(db).returncode == 0
    db.chmod(0o444)
    assert is_one_sentence(run_pipe(db))


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a record with half a visit in it."""
    db = tmp_path_factory.mktemp("good") / "record.db"
    with PipeProcess(db, ("--seed", "3")) as pipe:
        pair = ScriptedPair(pipe)
        pair.text("hello")
        for _ in range(40):
            pair.text(pair.choose(pair.texts[-1]))
    return db.read_bytes()


def page_of(data: bytes, name: str, tmp_path: Path) -> int:
    """The number of the page a table or index begins at."""
    (tmp_path / "look.db").write_bytes(data)
    db = sqlite3.connect(tmp_path / "look.db")
    (page,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (name,)).fetchone()
    db.close()
    return int(page)


@pytest.mark.parametrize("name", ["log", "turn", "sample", "seat", "flow_book", "sqlite_autoindex_log_1"])
def test_a_lost_page_is_said_by_verify_and_never_a_traceback(tmp_path: Path, good: bytes, name: str) -> None:
    page = page_of(good, name, tmp_path)
    db = tmp_path / "record.db"
    db.write_bytes(good[: (page - 1) * 4096] + b"\xa5" * 4096 + good[page * 4096 :])
    done = subprocess.run([*WADELINE, "desk", "verify", "--db", str(db)], capture_output=True, timeout=30)
    said = done.stdout.decode() + done.stderr.decode()
    assert done.returncode in (1, 2)
    assert "malformed" in said or "damaged" in said
    assert "Traceback" not in said
    piped = run_pipe(db)
    assert b"Traceback" not in piped.stderr
    assert piped.returncode == 0 or is_one_sentence(piped), piped.stderr


def test_a_power_cut_leaves_the_record_as_it_was_after_some_text(pond: Field, tmp_path: Path) -> None:
    """What had not reached the disk is gone from the end of the write-ahead log, which may end in torn bytes."""
    pond.rows("PRAGMA wal_autocheckpoint = 0")
    record = tmp_path / "record.db"
    sizes: list[int] = []
    while len(sizes) < 60:
        pond.text(pond.last["+100"][-1].options[0] if sizes else "hi")
        sizes.append(os.path.getsize(f"{record}-wal"))
    texts, cuts = [raw for (raw,) in pond.rows("SELECT raw FROM turn WHERE gateway = 'line' ORDER BY id")], Random(5)
    for number in range(25):
        size = cuts.choice(sizes) + cuts.choice((0, -1, 1, 4096, cuts.randrange(50_000)))
        left = tmp_path / f"left{number}.db"
        left.write_bytes(record.read_bytes())
        wal = Path(f"{record}-wal").read_bytes()[: max(size, 0)]
        Path(f"{left}-wal").write_bytes(wal + cuts.randbytes(cuts.randrange(9000)))
        db = open_record(left)
        kept = [raw for (raw,) in db.execute("SELECT raw FROM turn WHERE gateway = 'line' ORDER BY id")]
        assert kept == texts[: sum(one <= size for one in sizes)]
        assert verify(db).problems == []
        db.close()


def test_a_file_that_lost_its_head_is_no_record(tmp_path: Path, good: bytes) -> None:
    db = tmp_path / "record.db"
    db.write_bytes(b"\xa5" * 4096 + good[4096:])
    assert is_one_sentence(run_pipe(db))
    done = subprocess.run([*WADELINE, "desk", "verify", "--db", str(db)], capture_output=True, timeout=30)
    assert is_one_sentence(done), done.stderr
