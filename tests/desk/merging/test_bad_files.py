"""What can't be merged gets one sentence and changes nothing."""

import json
import os
import sqlite3
from pathlib import Path

import pytest

from guide.cli import main
from guide.desk.merge import merge_file
from guide.desk.other_log import MergeError
from guide.record.jsonl import LogFileError, held_lines, written
from tests.conftest import Field
from tests.desk.merging.machines import NOW, code_of, everything, export, fix, merge, path_of


def bad_files(laptop: Field, folder: Path) -> dict[str, tuple[Path, str]]:
    """Files that can't be merged, with what is said of each."""
    good = export(laptop, folder / "good.jsonl").read_text("utf-8").splitlines(keepends=True)
    lines = {
        "cut.jsonl": (good[:50], "has no end line after 50 entries: it was cut short"),
        "broken_off.jsonl": ([*good[:50], good[50][:30]], ":51: the line breaks off"),
        "missing.jsonl": ([*good[:20], *good[21:]], ":21: entry .* comes after number 20"),
        "added.jsonl": ([*good, good[3]], "lines behind the end line"),
        "columns.jsonl": ([line.replace('"prev"', '"before"') for line in good], ":1: the line lacks prev"),
        "claim.jsonl": ([*good[:-1], '{"end": 10000000000000000, "mark": "x"}\n'], "speaks of 10000000000000000"),
        "seq.jsonl": ([good[0].replace('"seq": 1', f'"seq": {10**30}')], "no number or time that can be"),
        "deep.jsonl": (['{"a":' + "[" * 90_000 + "\n"], ":1: the line is not JSON"),
        "long.jsonl": (["{" + " " * 2_000_000 + "}\n"], "longer than 1,000,000 bytes"),
        "half.jsonl": ([line for line in good if "visit_opened" not in line], ":1: entry .* comes after number 0"),
    }
    found = {}
    for name, (text, said) in lines.items():
        (folder / name).write_text("".join(text), "utf-8")
        found[name] = (folder / name, said)
    (folder / "letters.jsonl").write_bytes("".join(good).replace("a cold day", "a c\u00f4ld day").encode("latin-1"))
    found["letters.jsonl"] = (folder / "letters.jsonl", "a letter is not UTF-8")
    (folder / "link.db").symlink_to(path_of(laptop))
    found["link.db"] = (folder / "link.db", "is a link")
    (folder / "notes.txt").write_text("dear desk, here is my log")
    found["notes.txt"] = (folder / "notes.txt", "neither a record nor a log.jsonl")
    os.mkfifo(folder / "fifo")
    found["fifo"] = (folder / "fifo", "no ordinary file")
    found["folder"] = (folder, "is a folder")
    found["nothing"] = (folder / "nothing.db", "can't be read: No such file")
    return found | bad_databases(laptop, folder)


def bad_databases(laptop: Field, folder: Path) -> dict[str, tuple[Path, str]]:
    changes = {
        "birds.db": ("PRAGMA application_id = 7", "database of another program"),
        "newer.db": ("PRAGMA user_version = 99", "written by a newer wadeline .* update this one"),
        "columns.db": ("ALTER TABLE words RENAME COLUMN salt TO pepper", "its table words has no column salt"),
    }
    found = {}
    for name, (sql, said) in changes.items():
        path = folder / name
        with sqlite3.connect(path_of(laptop)) as db:
            db.execute("VACUUM INTO ?", (str(path),))
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("DROP TRIGGER log_no_update")
        other.execute(sql)
        other.close()
        found[name] = (path, said)
    with sqlite3.connect(path_of(laptop)) as db:
        db.execute("VACUUM INTO ?", (str(folder / "whole.db"),))
    whole = (folder / "whole.db").read_bytes()
    (folder / "torn.db").write_bytes(whole[:3000] + b"\0" * (len(whole) - 3000))
    found["torn.db"] = (folder / "torn.db", "can't be read as a record: database disk image is malformed")
    return found


def test_every_bad_file_gets_one_sentence_and_changes_nothing(laptop, desk, tmp_path, capsys):
    folder = tmp_path / "bad"
    folder.mkdir()
    before = everything(desk)
    for name, (path, said) in bad_files(laptop, folder).items():
        with pytest.raises((MergeError, LogFileError), match=said):
            merge_file(desk.exchange.store, path, NOW)
        assert everything(desk) == before, name
        assert main(["desk", "merge", str(path), "--db", str(path_of(desk))]) == 2
        assert capsys.readouterr().err.count("\n") == 1, name


def test_this_record_itself_is_refused(desk):
    with pytest.raises(MergeError, match="is this record itself"):
        merge_file(desk.exchange.store, path_of(desk), NOW)


def test_a_fix_of_a_visit_that_is_not_here_is_refused(laptop, desk, machines, tmp_path):
    third = machines("third")
    merge(third, path_of(laptop))
    fix(third, code_of(laptop), "s1", "length", "30")
    path = tmp_path / "fixes.jsonl"
    lines = held_lines(third.db, "log.origin = 1 AND stream != 'desk'")
    path.write_text("".join(written(lines, True)), "utf-8")
    with pytest.raises(MergeError, match="whose beginning is neither there nor here"):
        merge_file(desk.exchange.store, path, NOW)


def test_the_other_file_is_left_as_it_was(laptop, desk, tmp_path):
    copy = tmp_path / "alone" / "copy.db"
    copy.parent.mkdir()
    with sqlite3.connect(path_of(laptop)) as db:
        db.execute("VACUUM INTO ?", (str(copy),))
    before = copy.read_bytes()
    merge(desk, copy)
    assert copy.read_bytes() == before
    assert os.listdir(copy.parent) == ["copy.db"]


def test_the_command_tells_what_came_in(laptop, desk, capsys):
    command = ["desk", "merge", str(path_of(laptop)), "--db", str(path_of(desk))]
    assert main([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert list(told["taken"]) == [code_of(laptop)]
    assert main(command) == 0
    assert capsys.readouterr().out.startswith("nothing new: ")
