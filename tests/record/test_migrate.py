"""A record of an earlier version opens, keeps all it held, and talks on."""

import gzip
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from guide.record.migrate import MIGRATIONS
from guide.record.open import open_record
from guide.record.schema import VERSION
from guide.record.verify import verify
from tests.conftest import Field

FIRST = Path(__file__).with_name("version_1.db.gz")
"""Three visits as the first schema kept them: one closed, one in the middle of an OOPS, one whose phone has stopped."""


@pytest.fixture
def first(tmp_path: Path) -> Path:
    """A record of the first schema, in a file."""
    path = tmp_path / "record.db"
    path.write_bytes(gzip.decompress(FIRST.read_bytes()))
    return path


def _columns(db: sqlite3.Connection) -> dict[str, list[tuple[object, ...]]]:
    tables = [name for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    return {table: sorted(row[1:] for row in db.execute(f"PRAGMA table_info({table})")) for table in tables}


def _others(db: sqlite3.Connection) -> list[tuple[object, ...]]:
    sql = "SELECT type, name, tbl_name, sql FROM sqlite_schema WHERE type != 'table' ORDER BY name"
    return list(db.execute(sql))


def test_every_version_has_its_step() -> None:
    assert sorted(MIGRATIONS) == list(range(2, VERSION + 1))


def test_a_migrated_record_has_the_tables_of_a_new_one(first: Path, tmp_path: Path) -> None:
    old, new = open_record(first), open_record(tmp_path / "new.db")
    assert {name: [c[:-1] for c in columns] for name, columns in _columns(old).items()} == {
        name: [c[:-1] for c in columns] for name, columns in _columns(new).items()
    }
    assert _others(old) == _others(new)
    old.close()
    new.close()


def test_a_migrated_record_keeps_every_row_and_is_whole(first: Path) -> None:
    before = sqlite3.connect(first)
    tables = [name for (name,) in before.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    counts = {table: before.execute(f"SELECT count(*) FROM {table}").fetchone() for table in tables}
    log = before.execute("SELECT * FROM log ORDER BY id").fetchall()
    before.close()
    db = open_record(first)
    assert {table: db.execute(f"SELECT count(*) FROM {table}").fetchone() for table in tables} == counts
    assert db.execute("SELECT * FROM log ORDER BY id").fetchall() == log
    assert verify(db).problems == []
    db.close()


def test_the_record_as_it_was_stands_beside_it(first: Path) -> None:
    open_record(first).close()
    backup = sqlite3.connect(first.with_name("record.db.v1.bak"))
    assert backup.execute("PRAGMA user_version").fetchone() == (1,)
    assert backup.execute("SELECT count(*) FROM log").fetchone() == (93,)
    backup.close()


def test_a_pair_in_the_middle_of_an_oops_goes_on_after_the_update(
    first: Path, open_field: Callable[..., Field]
) -> None:
    field = open_field("record.db")
    field.now = datetime(2026, 8, 16, 10, 30, tzinfo=UTC)
    field.converse("n", "ok", number="+10055502")
    assert not field.step("+10055502").startswith("oops.")
    assert field.rows("SELECT touched FROM contamination") == [("no",)]
    field.whole()


def test_a_step_that_fails_leaves_the_record_as_it_was(first: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(db: sqlite3.Connection) -> None:
        db.execute("CREATE TABLE half (id INTEGER)")
        raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setitem(MIGRATIONS, 2, fails)
    with pytest.raises(Exception, match="disk I/O error"):
        open_record(first)
    db = sqlite3.connect(first)
    assert db.execute("PRAGMA user_version").fetchone() == (1,)
    assert db.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'half'").fetchone() == (0,)
    db.close()
