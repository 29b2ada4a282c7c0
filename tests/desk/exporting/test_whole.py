"""An export is whole or not there, and says what may still change."""

import json
import os
import signal
import sqlite3
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

import guide.desk.export
from guide.record.log import Entry
from tests.desk.exporting.folder import TAGS, export, pages, rows
from tests.desk.lab_world import FRIDAY, World


def test_an_earlier_export_is_replaced_and_nothing_is_left_beside(world: World) -> None:
    folder = export(world, "--all")
    export(world, "--site", "quill")
    assert not (folder / "summary_amberwell.html").exists()
    assert [path.name for path in world.path.parent.iterdir() if ".part" in path.name or ".old" in path.name] == []


def test_a_folder_of_other_files_is_refused(world: World, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = export(world, "--all")
    (folder / "thesis.txt").write_text("dear")
    cases = {folder: "holds thesis.txt, which is not of an export", tmp_path: "is not empty and no earlier export"}
    link, file = tmp_path / "link", tmp_path / "tags.txt"
    link.symlink_to(folder)
    cases |= {link: "is a link", file: "is a file"}
    for to, reason in cases.items():
        assert world.desk("export", "--all", "--to", str(to)) == 2
        assert reason in capsys.readouterr().err
    assert (folder / "thesis.txt").read_text() == "dear"


def test_the_folder_one_stands_in_is_refused(
    world: World, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    for to in (".", "..", "../here"):
        assert world.desk("export", "--all", "--to", to) == 2
        assert "the folder you are in" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["{", "[]", '{"generator": {"name": "other"}, "resources": []}', '{"resources": 3}'])
def test_a_descriptor_that_is_not_ours_does_not_open_a_folder(
    world: World, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    folder = world.path.parent / "out"
    folder.mkdir()
    (folder / "datapackage.json").write_text(text)
    assert world.desk("export", "--all", "--to", str(folder)) == 2
    assert "no earlier export" in capsys.readouterr().err


def test_real_work_and_practice_never_share_a_folder(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    folder = export(world, "--all")
    assert world.desk("export", "--all", "--practice", "--to", str(folder)) == 2
    assert "holds an export of real work" in capsys.readouterr().err


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_fault_in_the_middle_leaves_the_earlier_export(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = export(world, "--all")
    before = contents(folder)

    def full(*_: Any) -> Iterable[Any]:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(guide.desk.export, "describe", full)
    assert world.desk("export", "--all", "--to", str(folder)) == 2
    assert contents(folder) == before
    assert [path for path in world.path.parent.iterdir() if path.name.startswith(".")] == []


def test_a_kill_in_the_middle_leaves_the_earlier_export(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = export(world, "--all")
    before = contents(folder)
    monkeypatch.setattr(guide.desk.export, "describe", lambda *_: os.kill(os.getpid(), signal.SIGKILL))
    child = os.fork()
    if child == 0:
        world.desk("export", "--all", "--to", str(folder))
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    assert contents(folder) == before
    (left,) = [path for path in world.path.parent.iterdir() if path.name.startswith(".")]
    monkeypatch.undo()
    os.utime(left, (0, 0))
    assert export(world, "--all") == folder
    assert [path for path in world.path.parent.iterdir() if path.name.startswith(".")] == []


def test_what_a_running_export_and_other_folders_have_beside_is_left_alone(world: World) -> None:
    beside = world.path.parent
    running = ".out.999999999.part"  # a process of another machine on a shared folder: none here has its number
    others = [running, ".other.999999999.part", ".out.notes.part", ".out.part"]
    for name in others:
        (beside / name).mkdir()
        if name != running:
            os.utime(beside / name, (0, 0))
    export(world, "--all")
    assert sorted(path.name for path in beside.iterdir() if path.name.startswith(".")) == sorted(others)


def test_a_visit_that_is_open_is_told_on_the_screen_in_the_tables_and_on_the_papers(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    world.visit("CCCC2222", "amberwell", [{"tag": TAGS[20]}], closed=False)
    folder = export(world, "--all")
    said = capsys.readouterr().out
    assert "NOT CLOSED: visit CCCC2222. What is told of it may still change; the files say so." in said
    assert "wadeline desk close CCCC2222 --reason WHY" in said
    standing = {row["visit_id"]: row["visit_status"] for row in rows(folder, "samples.csv")}
    assert standing == {"AAAA2222": "accepted", "BBBB2222": "accepted", "CCCC2222": "open"}
    package = json.loads((folder / "datapackage.json").read_text())
    assert package["visits_not_closed"] == ["CCCC2222"]
    assert "may still change: visit CCCC2222." in package["description"]
    for name in ("field_sheet_CCCC2222.pdf", "custody_CCCC2222.pdf"):
        assert "NOT CLOSED" in pages(folder / name)[0]
    assert "NOT CLOSED" in (folder / "summary_amberwell.html").read_text()
    assert "NOT CLOSED" not in (folder / "summary_quill.html").read_text()
    assert "NOT CLOSED" not in pages(folder / "field_sheet_AAAA2222.pdf")[0]


def test_an_export_of_closed_visits_names_none_as_open(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    folder = export(world, "--site", "quill")
    assert "NOT CLOSED" not in capsys.readouterr().out
    assert json.loads((folder / "datapackage.json").read_text())["visits_not_closed"] == []


def test_a_visit_closed_at_the_desk_says_so_and_has_no_mark_that_was_texted(world: World) -> None:
    uid = world.visit("CCCC2222", "amberwell", [{"tag": TAGS[20]}], closed=False)
    closed = Entry("visit_closed", "desk.close", {"by": "desk"}, words="phone lost")
    fixed = Entry("fix", "desk.fix", {"people": 4}, words="the leader rang")
    with world.store.transaction():
        world.store.append(uid, "desk", 0, FRIDAY, [closed, fixed])
    (mark,) = world.rows("SELECT hash FROM log WHERE stream = ? AND kind = 'visit_closed'", uid)[0]
    folder = export(world, "--all")
    assert [visit["mark"] for visit in rows(folder, "visits.csv") if visit["visit_id"] == "CCCC2222"] == [""]
    (page,) = pages(folder / "field_sheet_CCCC2222.pdf")
    assert "closed at the desk" in page
    assert "Put right at the desk after the visit: people." in page
    assert "phone lost" not in page
    assert mark[:8] not in page


def test_a_record_of_another_program_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from guide.cli import main

    other = tmp_path / "birds.db"
    db = sqlite3.connect(other)
    db.execute("CREATE TABLE birds (name)")
    db.commit()
    db.close()
    assert main(["desk", "export", "--all", "--to", str(tmp_path / "out"), "--db", str(other)]) == 2
    said = capsys.readouterr().err
    assert "a database of another program" in said
    assert said.count("\n") == 1
    assert not (tmp_path / "out").exists()
