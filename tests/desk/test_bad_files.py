"""Whatever file a command of the desk is given, it says in one sentence what is wrong, and the record is as it was."""

import hashlib
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from guide.field.tags import block
from tests.desk.lab_world import make_world
from tests.desk.set_up_world import REAL, Desk

TAGS = block(140, 60, 5)
TEN_GB = 10 * 1024**3
COMMANDS: dict[str, tuple[str, ...]] = {
    "programme": ("programme",),
    "sites": ("sites",),
    "groups": ("groups",),
    "tags": ("tags", "load"),
    "merge": ("merge",),
    "received": ("ship", "received", "S1"),
}
GOOD = {
    "programme": REAL,
    "sites": "code,name\nteal,Teal Mere\n",
    "groups": "code,name\nG1,The Early Herons\n",
    "tags": f"tag\n{block(700, 1, 5)[0]}\n",
    "merge": '{"stream": "x"}\n',
    "received": f"tag\n{TAGS[0]}\n",
}


@pytest.fixture(scope="module")
def sent(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with a programme, its tags, a visit, and a shipment that is on its way."""
    desk = Desk(tmp_path_factory.mktemp("sent"))
    world = make_world(desk.folder)
    world.visit("AAAA2222", "amberwell", [{"tag": tag, "length_mm": 20} for tag in TAGS[:3]])
    world.store.db.close()
    desk.said("programme", desk.file("circle.toml", REAL))
    desk.said("choose", "--site", "amberwell")
    desk.said("ship", "plan", "--all", "--day", "2026-10-27")
    desk.said("ship", "pack", "S1", "--tags", desk.file("tags.txt", "\n".join(TAGS[:3])))
    desk.said("ship", "sent", "S1", "--waybill", "TB 12", "--day", "2026-10-27")
    with closing(sqlite3.connect(desk.record)) as db:
        db.execute("VACUUM INTO ?", (str(desk.folder / "still.db"),))
    return desk.folder / "still.db"


@pytest.fixture
def desk(sent: Path, tmp_path: Path) -> Desk:
    """A copy of that record in a folder of its own."""
    shutil.copy(sent, tmp_path / "record.db")
    return Desk(tmp_path)


def one_sentence(desk: Desk, command: str, file: str) -> str:
    """What a refused command said of a file, in one line; a table may list its rows below."""
    said = desk.refused(*COMMANDS[command], file)
    assert Path(file).name in said.splitlines()[0]
    assert "Traceback" not in said
    return said


def other_database(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA application_id = 7")
        db.execute("CREATE TABLE log (data TEXT)")


# Files


@pytest.mark.parametrize("command", COMMANDS)
def test_a_good_file_would_be_taken(desk, command):
    """So that what follows is refused for what is wrong with it."""
    code, _, _ = desk.run(*COMMANDS[command], desk.file("good.csv", GOOD[command]))
    assert code == {"merge": 2, "received": 1}.get(command, 0)


def ten_gigabytes(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(TEN_GB)


def ten_gigabytes_of_a_line(path: Path) -> None:
    with path.open("wb") as file:
        file.write(b'{"a": "')
        file.truncate(TEN_GB)


def link(path: Path) -> None:
    path.with_name("behind.csv").write_text("code,name,tag\n")
    path.symlink_to(path.with_name("behind.csv"))


def link_to_itself(path: Path) -> None:
    path.symlink_to(path)


def latin_1(path: Path) -> None:
    path.write_bytes(b"{code,name,tag\nteal,M\xe9re,01\n")


def utf_16(path: Path) -> None:
    path.write_text("code,name,tag\nteal,Mere,01\n", "utf-16")


MADE: dict[str, tuple[Callable[[Path], None], str, str]] = {
    "nothing": (lambda path: None, "can't be read: No such file", "can't be read: No such file"),
    "folder": (Path.mkdir, "is a folder; name a file in it", "is a folder; name a file in it"),
    "link": (link, "is a link; name the file itself", "is a link; name the file itself"),
    "link to itself": (link_to_itself, "is a link; name the file itself", "is a link; name the file itself"),
    "10 GB": (ten_gigabytes, "has 10,737,418,240 bytes, more than 4,000,000", "neither a record nor a log.jsonl"),
    "10 GB line": (ten_gigabytes_of_a_line, "10,737,418,240 bytes, more than", "longer than 1,000,000 bytes"),
    "Latin-1": (latin_1, ":2: a letter is not UTF-8 (it may be Latin-1)", "is not JSON"),
    "UTF-16": (utf_16, "is not UTF-8 text; save it as UTF-8", "neither a record nor a log.jsonl"),
    "database": (other_database, "is not UTF-8 text", "is a database of another program; nothing was taken"),
}
"""How each file is made, what the commands that read a text say of it, and what a merge says."""


@pytest.mark.parametrize("kind", MADE)
@pytest.mark.parametrize("command", COMMANDS)
def test_what_is_no_such_file_is_said_in_one_line(desk, command, kind):
    make, of_text, of_merge = MADE[kind]
    path = desk.folder / "bad.csv"
    make(path)
    said = one_sentence(desk, command, str(path))
    assert (of_merge if command == "merge" else of_text) in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("command", "text", "said"),
    [
        (
            "programme",
            REAL.replace("target = ", "targt = "),
            "bad.jsonl:9: there is no setting 'targt'. Did you mean target?",
        ),
        ("programme", REAL + '\n[[sites]]\ncode = "quill"\nname = "Other Brook"\n', "quill"),
        ("sites", "code,nmae\nteal,Teal Mere\n", "row 1: there is no column 'nmae', did you mean name?"),
        ("sites", "code,name\nteal,Teal Mere\nteal,Old Mere\n", "row 3: "),
        ("groups", "code,nmae\nG1,Herons\n", "row 1: there is no column 'nmae', did you mean name?"),
        ("groups", "code,name\nG1,Herons\nG1,Owls\n", "row 3: group 'G1' stands in row 2 already"),
        ("tags", "tag,sight\n07001,quill\n", "row 1: there is no column 'sight', did you mean site?"),
        ("tags", "tag\n{new}\n{new}\n", "row 3: '{new}' can't be loaded: it reads like {new} in row 2"),
        ("tags", "{new}\n{old}\n", "row 2: '{old}' can't be loaded: {old} is in the pool already"),
        ("merge", '{"stream": 1}\n', "bad.jsonl:1: the line lacks "),
        ("received", "tga\n{old}\n", "row 1: there is no column 'tga', did you mean tag?"),
        ("received", "tag\n{old}\n{old}\n", "row 3: tag {old} stands in row 2 too"),
    ],
)
def test_wrong_columns_and_doubles_are_named_with_their_place(desk, command, text, said):
    tags = {"{new}": block(700, 1, 5)[0], "{old}": TAGS[0]}
    for blank, tag in tags.items():
        text, said = text.replace(blank, tag), said.replace(blank, tag)
    assert said in one_sentence(desk, command, desk.file("bad.jsonl", text))


def test_a_list_of_tags_for_two_waters_is_loaded_whole_or_not_at_all(desk):
    first, second = block(700, 2, 5)
    with closing(sqlite3.connect(desk.record)) as db:
        db.execute(
            "CREATE TRIGGER full BEFORE INSERT ON log WHEN NEW.data LIKE '%quill%' "
            "BEGIN SELECT RAISE(ABORT, 'the disk is full'); END"
        )
    said = desk.refused("tags", "load", desk.file("list.csv", f"tag,site\n{first},amberwell\n{second},quill\n"))
    assert said == "the record can't be used now: the disk is full"
    assert desk.rows("SELECT code FROM tag WHERE code IN (?, ?)", first, second) == []


# The record


def newer(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 99")


def not_a_database(path: Path) -> None:
    path.write_bytes(b"dear desk, here is my log\n" * 200)


def replaced(make: Callable[[Path], None]) -> Callable[[Path], None]:
    def new(path: Path) -> None:
        path.unlink()
        make(path)

    return new


RECORDS = {
    "another program's": (replaced(other_database), "is a database of another program; name another file with --db"),
    "a newer one": (newer, "was written by a newer wadeline (schema 99, this one knows "),
    "no database": (replaced(not_a_database), "can't be used as a record: file is not a database"),
}


@pytest.mark.parametrize("kind", RECORDS)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_record_that_is_not_ours_to_write_is_left_to_the_byte(desk, command, kind):
    make, words = RECORDS[kind]
    make(desk.record)
    before = hashlib.sha256(desk.record.read_bytes()).hexdigest()
    code, out, err = desk.run(*COMMANDS[command], desk.file("good.csv", GOOD[command]))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("wadeline: ")
    assert words in err
    assert hashlib.sha256(desk.record.read_bytes()).hexdigest() == before
    assert sorted(file.name for file in desk.folder.iterdir()) == ["good.csv", "record.db"]
