"""``desk verify`` fails when one byte of an entry, one value of a sample or the last entry is changed or removed."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from random import Random

import pytest

from guide.errors import RecordError
from guide.record.open import open_record
from guide.record.verify import verify

SAMPLE_COLUMNS = {
    "tag": "'99999'",
    "length_mm": "length_mm + 1",
    "family": "'Gomphidae'",
    "sure": "0",
    "gloves": "'not asked'",
    "status": "'void'",
    "sealed_at": "NULL",
    "frozen_at": "'2026-07-04T20:00:00.000Z'",
}


@pytest.fixture
def visited(pond):
    """A record with a few larvae, a note and a slip in it."""
    pond.until("larva.pace")
    pond.converse("note a cold day", "oops", "1", "n", "ok")
    pond.whole()
    return pond


def without_triggers(db):
    for name in ("log_no_update", "log_no_delete"):
        db.execute(f"DROP TRIGGER {name}")


def with_triggers_back(db):
    from guide.record.schema import TRIGGERS

    for sql in TRIGGERS.values():
        db.execute(sql)


def test_the_log_refuses_update_delete_and_replace(visited):
    for sql in (
        "UPDATE log SET at = '' WHERE seq = 3",
        "DELETE FROM log WHERE seq = 3",
        "INSERT OR REPLACE INTO log SELECT * FROM log WHERE seq = 3",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            visited.db.execute(sql)


@pytest.mark.parametrize("column", ["at", "seat", "kind", "step", "data", "prev", "hash", "stream", "sample_uid"])
def test_one_changed_byte_of_any_entry_shows(visited, column):
    db = visited.db
    without_triggers(db)
    sql = f"SELECT id, {column} FROM log WHERE {column} != '' AND stream != 'desk' ORDER BY random() LIMIT 1"
    entry, value = db.execute(sql).fetchone()
    changed = ("0" if value[0] != "0" else "1") + value[1:]
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute(f"UPDATE log SET {column} = ? WHERE id = ?", (changed, entry))
    with_triggers_back(db)
    assert verify(db).problems


@pytest.mark.parametrize("column", SAMPLE_COLUMNS)
def test_one_changed_value_of_a_sample_shows(visited, column):
    visited.db.execute(f"UPDATE sample SET {column} = {SAMPLE_COLUMNS[column]} WHERE uid LIKE '%-2'")
    assert any("table sample" in problem for problem in verify(visited.db).problems)


def test_a_removed_last_entry_shows(visited):
    db = visited.db
    without_triggers(db)
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute("DELETE FROM log WHERE id = (SELECT max(id) FROM log)")
    with_triggers_back(db)
    assert any("cut" in problem for problem in verify(db).problems)


def test_a_missing_trigger_shows(visited):
    visited.db.execute("DROP TRIGGER log_no_delete")
    assert any("log_no_delete" in problem for problem in verify(visited.db).problems)


def test_changed_words_show_and_so_do_words_blanked_behind_the_logs_back(visited):
    visited.db.execute("UPDATE words SET text = 'a warm day'")
    assert any("words" in problem and "changed" in problem for problem in verify(visited.db).problems)
    visited.db.execute("UPDATE words SET text = NULL")
    assert any("blanked without desk forget" in problem for problem in verify(visited.db).problems)


def test_a_tag_set_free_behind_the_logs_back_shows(visited):
    visited.db.execute("UPDATE tag SET status = 'free', sample = NULL WHERE code = '01402'")
    assert any("table tag" in problem for problem in verify(visited.db).problems)


def test_desk_verify_says_ok_or_what_is_wrong(visited, tmp_path):
    command = [sys.executable, "-m", "guide.cli", "desk", "verify", "--db", str(tmp_path / "record.db")]
    good = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (good.returncode, good.stdout.splitlines()[-1][:3]) == (0, "ok:")
    visited.db.execute("UPDATE sample SET length_mm = 99 WHERE uid LIKE '%-2'")
    bad = subprocess.run(command, capture_output=True, text=True, check=False)
    assert bad.returncode == 1
    assert "length_mm 99" in bad.stdout


def test_a_database_of_another_program_is_refused(tmp_path):
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE birds (name)")
    other.commit()
    other.close()
    with pytest.raises(RecordError, match="another program"):
        open_record(tmp_path / "other.db")


def test_a_newer_schema_is_refused_with_what_to_do(tmp_path):
    db = open_record(tmp_path / "record.db")
    db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(RecordError, match="update first"):
        open_record(tmp_path / "record.db")


def test_a_file_that_is_no_database_is_refused(tmp_path):
    (tmp_path / "notes.db").write_text("this is no database, " * 100)
    with pytest.raises(RecordError, match="can't be used"):
        open_record(tmp_path / "notes.db")


def test_a_flipped_bit_anywhere_is_told_or_does_no_harm_and_never_ends_in_an_error_of_python(tmp_path, pond):
    pond.until("larva.measure")
    copy = tmp_path / "copy.db"
    with closing(sqlite3.connect(copy)) as db:
        pond.exchange.store.db.backup(db)
    whole, random = copy.read_bytes(), Random(11)
    for _ in range(80):
        damaged = bytearray(whole)
        damaged[random.randrange(100, len(whole))] ^= 1 << random.randrange(8)
        copy.write_bytes(damaged)
        try:
            with closing(open_record(copy, create=False)) as db:
                verify(db)
        except (RecordError, sqlite3.DatabaseError):
            continue


def test_a_schema_that_is_no_text_any_more_is_one_sentence(tmp_path):
    path = tmp_path / "record.db"
    open_record(path).close()
    damaged = bytearray(path.read_bytes())
    damaged[damaged.index(b"CREATE TABLE visit")] = 0xC9
    path.write_bytes(damaged)
    with pytest.raises(RecordError, match="can't be used as a record"):
        open_record(path)
