"""Coordinators, who held the cooler, what is forgotten, and the backup that is read back."""

import gc
import os
import sqlite3
import stat
from unittest.mock import patch

import pytest

from guide.record.log import FORGOTTEN
from guide.record.open import open_record
from guide.record.verify import verify
from tests.desk.set_up_world import NOTE, Desk, texting


def in_the_files(desk: Desk, words: str) -> bool:
    """Whether words stand anywhere in the record's files, free pages and write-ahead log included."""
    return any(words.encode() in path.read_bytes() for path in desk.folder.glob("record.db*"))


# Coordinators


def test_coordinators_are_listed_added_renumbered_and_taken_off(circle):
    circle.said("coordinators", "add", "+353 20 912 0002", "Teasel")
    told = circle.told("coordinators", "add", "+44 7700 900123", "Wren")
    assert [(one["name"], one["number"]) for one in told] == [("Teasel", "+353209120002"), ("Wren", "+447700900123")]
    assert [one["name"] for one in circle.told("coordinators", "remove", "wren")] == ["Teasel"]
    assert "Wren" not in str(circle.rows("SELECT data FROM log"))
    circle.whole()


@pytest.mark.parametrize(
    ("words", "error"),
    [
        (("add", "020 912 0001", "Teasel"), "is no phone number with its country, such as +353 20 912 0001"),
        (("add", "+353 20", "Teasel"), "is too long or too short"),
        (("add", "+353 20 912 0001", " "), "a coordinator's name has 1 to 40 letters"),
        (("remove", "Teasel"), "there is no coordinator 'Teasel'; there is Wren"),
    ],
)
def test_a_coordinator_that_cant_be_is_said_and_changes_nothing(circle, words, error):
    assert error in circle.refused("coordinators", *words)


def test_a_coordinator_whose_phone_has_stopped_shows_in_the_list(circle):
    pond = texting(circle)
    pond.text("stop", number="+353209120001")
    pond.db.close()
    assert circle.said("coordinators", "list").splitlines()[1].split() == ["Wren", "+353209120001", "no"]


# Custody


def test_who_held_the_cooler_is_told_in_order_with_seal_ice_and_freezer(frozen):
    code = frozen.code
    rows = frozen.told("custody", "--visit", code)
    assert [(row["what"], row["words"]) for row in rows] == [
        ("visit closed, cooler with the group", ""),
        ("has the cooler", "QXZ"),
        ("seal on the cooler", "S-123"),
        ("ice looked at", "ice left, bags cold"),
        ("freezer", "GARAGE 7"),
        ("freezer's thermometer", "-18 C"),
        ("in the freezer", ""),
    ]
    assert rows == sorted(rows, key=lambda row: row["at"])


def test_a_hand_over_is_added_at_the_sites_time_and_its_initials_stay_out_of_the_log(frozen):
    code = frozen.code
    said = frozen.said("custody", "--visit", code.lower(), "--add", "M.K.", "--at", "2025-07-04 18:30", "--seal", "S-9")
    assert "2025-07-04 18:30 IST  has the cooler" in said
    assert "MK" in said
    entry = frozen.rows("SELECT seat, data FROM log WHERE kind = 'custody'")
    assert entry[0][0] == "desk"
    assert '"since":"2025-07-04T17:30:00.000Z"' in entry[0][1]
    assert "MK" not in entry[0][1]
    frozen.whole()


@pytest.mark.parametrize(
    ("words", "error"),
    [
        (("--add", "Moira Kell"), "initials only, up to 5 letters such as AB; no names"),
        (("--add", "AB", "--at", "yesterday"), "must be a time at the site"),
        (("--add", "AB", "--at", "2099-07-04 18:30"), "is still to come"),
        (("--add", "AB", "--seal", "a b"), "a seal's number has up to 20 letters"),
    ],
)
def test_a_hand_over_that_cant_be_is_said_and_changes_nothing(frozen, words, error):
    code = frozen.code
    assert error in frozen.refused("custody", "--visit", code, *words)


def test_a_visit_without_a_cooler_yet_says_how_to_tell_of_one(circle):
    pond = texting(circle)
    pond.text("hi")
    ((code,),) = pond.rows("SELECT code8 FROM visit")
    pond.db.close()
    assert "texts FREEZE" in circle.said("custody", "--visit", code)
    assert "there is no visit 'ABCDEFGH' in this record" in circle.refused("custody", "--visit", "ABCDEFGH")


# Forgetting


def test_words_are_forgotten_to_the_last_byte_and_the_chains_stay_whole(frozen):
    code = frozen.code
    assert all(in_the_files(frozen, words) for words in (NOTE, "QXZ", "GARAGE 7"))
    heads = frozen.rows("SELECT origin, stream, seq, hash FROM log WHERE stream != 'desk'")
    said = frozen.said("forget", "--visit", code, "--yes")
    assert "Forgotten: words in 5 entries of visit" in said
    assert not any(
        in_the_files(frozen, words) for words in (NOTE, NOTE.casefold(), "QXZ", "qxz", "GARAGE 7", "garage 7")
    )
    assert frozen.rows("SELECT origin, stream, seq, hash FROM log WHERE stream != 'desk'") == heads
    db = open_record(frozen.record)
    found = verify(db)
    assert (found.problems, found.forgotten) == ([], 5)
    db.close()
    assert "the words of 5 entries are not held here" in frozen.said("verify")
    assert [row["words"] for row in frozen.told("custody", "--visit", code)][1] == "(forgotten)"


def test_a_forgotten_words_salt_is_gone_so_that_initials_cant_be_tried_out(frozen):
    code = frozen.code
    frozen.said("forget", "--visit", code, "--initials", "--yes")
    assert frozen.rows("SELECT count(*) FROM words WHERE salt = ? AND text IS NULL", FORGOTTEN) == [(1,)]
    assert not in_the_files(frozen, "QXZ")
    assert in_the_files(frozen, NOTE)
    frozen.whole()


def test_words_forgotten_here_are_not_brought_back_by_a_merge(frozen):
    code = frozen.code
    frozen.said("backup", str(frozen.folder / "copy.db"))
    frozen.said("forget", "--visit", code, "--yes")
    frozen.said("merge", str(frozen.folder / "copy.db"))
    assert not in_the_files(frozen, "QXZ")
    frozen.whole()


def test_a_program_that_still_reads_the_record_is_named_as_a_place_where_words_stay(frozen):
    code = frozen.code
    reader = open_record(frozen.record)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM words").fetchone()
    with patch("guide.record.open.BUSY_MS", 50):
        returned, _, err = frozen.run("forget", "--visit", code, "--yes")
    assert (returned, "another program is using the record" in err) == (0, True)
    reader.close()
    gc.collect()  # connections of commands that ran in this process
    assert not in_the_files(frozen, "QXZ")


def test_a_talk_goes_on_after_its_words_are_forgotten(circle):
    pond = texting(circle)
    pond.until("larva.measure")
    pond.text(f"NOTE {NOTE}")
    ((code,),) = pond.rows("SELECT code8 FROM visit")
    circle.said("forget", "--visit", code, "--yes")
    assert pond.text("27")[0].startswith("Got 27 mm.")
    pond.whole()
    pond.db.close()


def test_nothing_is_forgotten_without_yes(frozen):
    code = frozen.code
    before = frozen.everything()
    assert "This would forget words in 5 entries" in frozen.said("forget", "--visit", code)
    assert "This would forget a phone's number" in frozen.said("forget", "+100")
    assert frozen.everything() == before


def test_a_forgotten_number_gets_no_more_texts_and_its_samples_stay(circle):
    pond = texting(circle)
    pond.until("larva.tag", "+353209120077")
    pond.text("01428", "+353209120077")
    circle.said("forget", "+353 20 912 0077", "--yes")
    assert {out.number for out in pond.wait(120)} == {"+353209120001"}, "coordinators alone hear of the silence"
    assert pond.rows("SELECT count(*) FROM sample WHERE tag = '01428'") == [(1,)]
    pond.whole()
    pond.db.close()
    assert not in_the_files(circle, "353209120077")
    assert circle.refused("forget", "+353209120077", "--yes") == "no phone has the number +353209120077"


def test_a_coordinators_name_is_forgotten_with_the_number(circle):
    circle.said("forget", "+353209120001", "--yes")
    assert circle.told("coordinators", "list") == []
    assert ("Wren",) not in circle.rows("SELECT text FROM words")
    assert "are not held here" in circle.said("verify")
    circle.whole()


def test_words_blanked_behind_the_desks_back_show(circle):
    db = open_record(circle.record)
    db.execute("UPDATE words SET text = NULL, salt = ?", (FORGOTTEN,))
    db.close()
    assert "blanked without desk forget" in circle.run("verify")[1]


def test_backups_that_still_hold_what_is_forgotten_are_named(circle):
    circle.said("backup")
    (backup,) = circle.folder.glob("record.backup-*.db")
    assert circle.told("forget", "+353209120001")["backups"] == [str(backup)]
    assert f"until somebody deletes them: backups, exports, printouts, other laptops, here {backup}." in circle.said(
        "forget", "+353209120001", "--yes"
    )
    assert b"+353209120001" in backup.read_bytes()


# Backup


def test_a_backup_taken_while_texts_come_is_whole_and_for_its_owner_alone(circle):
    pond = texting(circle)
    pond.until("larva.measure")
    told = circle.told("backup", str(circle.folder / "kept.db"))
    pond.text("27")
    copy = circle.folder / "kept.db"
    assert told["bytes"] == copy.stat().st_size
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    db = sqlite3.connect(copy)
    assert db.execute("SELECT hash FROM log ORDER BY id DESC LIMIT 1").fetchone() == (told["head"],)
    assert verify(db).problems == []
    db.close()
    assert [path.name for path in circle.folder.glob("kept.db*")] == ["kept.db"]
    pond.db.close()
    assert Desk(circle.folder).run("verify")[0] == 0


@pytest.mark.parametrize("kind", ["file", "link", "link to nothing"])
def test_a_backup_overwrites_nothing(circle, kind):
    to = circle.folder / "kept.db"
    if kind == "file":
        to.write_bytes(b"mine")
    else:
        os.symlink(circle.folder / ("circle.toml" if kind == "link" else "nowhere"), to)
    before = to.read_bytes() if to.exists() else None
    assert "is there already; name another file" in circle.refused("backup", str(to))
    assert (to.read_bytes() if to.exists() else None) == before
    assert not (circle.folder / "nowhere").exists()


def test_a_backup_goes_into_a_folder_or_beside_the_record_under_a_name_with_its_time(circle):
    (circle.folder / "safe").mkdir()
    circle.said("backup", str(circle.folder / "safe"))
    circle.said("backup")
    circle.said("backup", str(circle.folder / "copies"))
    assert len(list((circle.folder / "safe").glob("record.backup-*.db"))) == 1
    assert len(list((circle.folder / "copies").glob("record.backup-*.db"))) == 1, "made, since the name has no ending"
    assert len(list(circle.folder.glob("record.backup-*.db"))) == 1
    assert "No such file" in circle.refused("backup", str(circle.folder / "nowhere" / "kept.db"))


def test_no_backup_is_kept_of_a_record_that_doesnt_verify(circle):
    db = open_record(circle.record)
    db.execute("UPDATE tag SET status = 'void' WHERE code = '01402'")
    db.close()
    error = circle.refused("backup", str(circle.folder / "kept.db"))
    assert "no backup was kept, since it doesn't verify: table tag doesn't agree with the log" in error
    assert not (circle.folder / "kept.db").exists()


def test_a_backup_of_nothing_makes_no_file(desk):
    assert "there is no record at" in desk.refused("backup", str(desk.folder / "kept.db"))
    assert not (desk.folder / "kept.db").exists()
