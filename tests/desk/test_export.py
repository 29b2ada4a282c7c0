"""``desk export``: what is in the folder, what never is, and that it is whole or not there."""

import csv
import hashlib
import io
import json
import os
import re
import shutil
import signal
import sqlite3
from collections.abc import Iterable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from frictionless import Package, system
from pypdf import PdfReader

import guide.desk.export
from guide.field.tags import block
from guide.papers.csv_tables import restored
from guide.record.log import Entry
from tests.desk.lab_world import FRIDAY, World, make_world

TAGS = block(140, 60, 5)
WANTED = (
    "visit_id site date pair kind tag length_mm family family_sure status flags opened_at sealed_at outer_bagged_at "
    "iced_at frozen_at shipped_at"
).split()


@pytest.fixture
def world(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> World:
    """Two real visits at two sites, one shipped, a practice visit, a phone, words and initials."""
    world = make_world(tmp_path)
    larvae = [{"tag": TAGS[i], "length_mm": 20 + i, "family": ("Gomphidae", "Aeshnidae")[i % 2]} for i in range(4)]
    larvae[1] |= {"flag": "odd_length_mm"}
    first = world.visit("AAAA2222", "amberwell", [*larvae, {"tag": TAGS[4], "void": "damselfly"}])
    world.visit("BBBB2222", "quill", [{"tag": TAGS[6]}, {"tag": TAGS[7], "kind": "water"}])
    world.visit("PPPP2222", "amberwell", [{"tag": "09002", "length_mm": 33}], practice=1)
    world.say(
        first,
        Entry("contamination", "oops.what", {"slip": "1", "what": "GLOVE"}, f"{first}-2"),
        Entry("remedy", "oops.renew", {"slip": "1", "touched": "no", "remedy": "renewed"}, f"{first}-2"),
        Entry("note", "", {}, words="a heron stole the sandwich"),
        Entry("custody", "desk.custody", {"custody": "words"}, words="QZ"),
    )
    (ref,) = world.rows(
        "SELECT origin.uid || '/' || stream || '/' || seq FROM log JOIN origin ON origin.id = origin "
        "WHERE sample_uid = ? AND json_extract(data, '$.length_mm') = 20",
        f"{first}-1",
    )[0]
    fixed = Entry("fix", "desk.fix", {"length_mm": 26}, f"{first}-1", ref, words="typed wrong")
    world.say(first, fixed, Entry("accepted", "desk.accept", {}))
    world.store.db.execute("INSERT INTO phone (number) VALUES ('+353209120001')")
    for words in (
        ("choose", "--site", "amberwell"),
        ("ship", "plan", "--site", "amberwell", "--day", "2026-10-27"),
    ):
        assert world.desk(*words) == 0
    (tmp_path / "tags.txt").write_text("\n".join(TAGS[:4]))
    assert world.desk("ship", "pack", "S1", "--tags", str(tmp_path / "tags.txt")) == 0
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 0
    capsys.readouterr()
    return world


def export(world: World, *words: str) -> Path:
    to = world.path.parent / "out"
    assert world.desk("export", *words, "--to", str(to)) == 0
    return to


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    text = (folder / name).read_bytes().decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


def words_of(folder: Path) -> str:
    """Everything in a folder that can be read: files as text, PDF as the words on its pages, names too."""
    found = []
    for path in sorted(folder.iterdir()):
        found.append(path.name)
        if path.suffix == ".pdf":
            found += pages(path)
        else:
            found.append(path.read_text("utf-8"))
    return "\n".join(found)


def streams(folder: Path) -> set[str]:
    """The chains whose entries are in the log of an export."""
    lines = (folder / "log.jsonl").read_text("utf-8").splitlines()
    return {json.loads(line)["stream"] for line in lines[:-1]}


def pages(path: Path) -> list[str]:
    return [page.extract_text() for page in PdfReader(path).pages]


# What is in it


def test_the_package_is_valid_by_another_program(world: World) -> None:
    folder = export(world, "--all")
    with system.use_context(trusted=True):
        report = Package(str(folder / "datapackage.json")).validate()
    assert report.flatten(["rowNumber", "fieldName", "type", "message"]) == []
    names = [task.name for task in report.tasks]
    assert names[:4] == ["samples", "visits", "events", "shipments"]


def test_samples_have_their_columns_and_rows(world: World) -> None:
    folder = export(world, "--all")
    samples = rows(folder, "samples.csv")
    assert set(WANTED) <= set(samples[0])
    assert len(samples) == 7
    first = samples[0]
    assert (first["visit_id"], first["site"], first["date"], first["pair"]) == (
        "AAAA2222",
        "amberwell",
        "2026-10-23",
        "A",
    )
    assert (first["tag"], first["length_mm"], first["family"], first["family_sure"]) == (
        TAGS[0],
        "26",
        "Gomphidae",
        "true",
    )
    assert (first["status"], first["shipped_at"], first["shipment"]) == ("kept", "2026-10-27", "S1")
    assert first["sealed_at"] == "2026-10-23T09:04:00.000Z"
    assert [sample["flags"] for sample in samples[:2]] == ["", "odd_length_mm"]
    assert (samples[4]["status"], samples[4]["void_reason"]) == ("void", "damselfly")


def test_lines_end_as_rfc_4180_says(world: World) -> None:
    data = (export(world, "--all") / "samples.csv").read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == 8
    assert data.endswith(b"\r\n")
    assert not data.startswith(b"\xef\xbb\xbf")


def test_events_tell_slips_and_fixes_with_what_was_before(world: World) -> None:
    events = {event["event"]: event for event in rows(export(world, "--all"), "events.csv")}
    slip, fix = events["contamination"], events["fix"]
    assert (slip["tag"], slip["what"], slip["touched"], slip["remedy"]) == (TAGS[1], "GLOVE", "no", "renewed")
    assert (fix["tag"], fix["answer"], fix["before"], fix["after"]) == (TAGS[0], "length_mm", "20", "26")
    assert fix["supersedes"]


def test_visits_have_the_mark_that_was_texted(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    visits = rows(export(world, "--all"), "visits.csv")
    world.desk("verify")
    said = capsys.readouterr().out
    assert [visit["visit_id"] for visit in visits] == ["AAAA2222", "BBBB2222"]
    assert (visits[0]["larvae_kept"], visits[0]["larvae_void"], visits[0]["slips"]) == ("4", "1", "1")
    for visit in visits:
        assert f"closed with mark {visit['mark']}" in said


def test_the_log_is_proved_without_the_record(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    log = export(world, "--all") / "log.jsonl"
    shutil.rmtree(world.path, ignore_errors=True)
    assert world.desk("verify", str(log)) == 0
    log.write_text(log.read_text("utf-8").replace('"length_mm":26', '"length_mm":27'), "utf-8")
    assert world.desk("verify", str(log)) == 1
    assert "was changed" in capsys.readouterr().out


def test_bytes_and_hashes_are_those_of_the_files(world: World) -> None:
    folder = export(world, "--all")
    package = json.loads((folder / "datapackage.json").read_text("utf-8"))
    for resource in package["resources"]:
        data = (folder / resource["path"]).read_bytes()
        assert resource["bytes"] == len(data)
        assert resource["hash"] == f"sha256:{hashlib.sha256(data).hexdigest()}"
    terms = {field["name"]: field.get("rdfType") for field in package["resources"][0]["schema"]["fields"]}
    assert terms["family"] == "http://rs.tdwg.org/dwc/terms/family"


def test_one_visit_and_one_site_bring_theirs_alone(world: World) -> None:
    folder = export(world, "--visit", "bbbb2222")
    assert {sample["visit_id"] for sample in rows(folder, "samples.csv")} == {"BBBB2222"}
    assert streams(folder) == {world.visits["BBBB2222"]}
    folder = export(world, "--site", "amberwell")
    assert {visit["visit_id"] for visit in rows(folder, "visits.csv")} == {"AAAA2222"}
    assert {row["shipment"] for row in rows(folder, "shipments.csv")} == {"S1"}
    assert "BBBB2222" not in words_of(folder)


def test_what_the_lab_had_beside_ours_stands_with_the_shipment(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    lab = world.path.with_name("lab.csv")
    lab.write_text("\n".join(["tag", *TAGS[:3], "77777"]))
    assert world.desk("ship", "received", "S1", str(lab), "--day", "2026-10-28") == 1
    found = {row["tag"]: row["lab_found"] for row in rows(export(world, "--all"), "shipments.csv")}
    assert found == {**dict.fromkeys(TAGS[:3], "received"), TAGS[3]: "missing", "77777": "extra"}


# What never is in it


def test_no_number_no_words_and_no_initials_leave(world: World) -> None:
    said = words_of(export(world, "--all"))
    for secret in ("353209120001", "209120001", "heron stole", "sandwich", "QZ", "typed wrong"):
        assert secret not in said


def test_practice_is_in_no_export_of_real_work(world: World) -> None:
    folder = export(world, "--all")
    said = words_of(folder).replace((folder / "log.jsonl").read_text("utf-8"), "")
    for practice in ("PPPP2222", "09002", "PRACTICE"):
        assert practice not in said
    assert streams(folder) == {world.visits["AAAA2222"], world.visits["BBBB2222"], "desk"}


def test_an_export_of_practice_is_practice_alone_and_marked_everywhere(world: World) -> None:
    folder = export(world, "--all", "--practice")
    assert all(path.name.startswith("PRACTICE_") for path in folder.iterdir())
    assert [sample["tag"] for sample in rows(folder, "PRACTICE_samples.csv")] == ["09002"]
    assert rows(folder, "PRACTICE_shipments.csv") == []
    said = words_of(folder)
    for real in ("AAAA2222", "BBBB2222", *TAGS[:8]):
        assert real not in said
    papers = sorted(folder.glob("*.pdf"))
    assert len(papers) == 2
    for page in [page for paper in papers for page in pages(paper)]:
        assert "PRACTICE: no sample here is real" in page
    assert "PRACTICE: no sample here is real" in (folder / "PRACTICE_summary_amberwell.html").read_text("utf-8")
    with system.use_context(trusted=True):
        assert Package(str(folder / "PRACTICE_datapackage.json")).validate().valid


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("--visit", "PPPP2222"), "practice: add --practice"),
        (("--visit", "AAAA2222", "--practice"), "real work: leave --practice out"),
        (("--site", "sallow"), "there is no real visit at sallow"),
        (("--site", "quill", "--practice"), "there is no practice visit at quill"),
        (("--visit", "ZZZZ9999"), "there is no visit 'ZZZZ9999'"),
    ],
)
def test_the_wrong_sort_and_nothing_at_all_are_refused(
    world: World, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], reason: str
) -> None:
    assert world.desk("export", *words, "--to", str(world.path.parent / "out")) == 2
    assert reason in capsys.readouterr().err
    assert not (world.path.parent / "out").exists()


def test_codes_that_look_like_formulas_are_defused_and_come_back(world: World) -> None:
    world.visit("CCCC2222", "amberwell", [{"tag": "=1+1", "kind": "water"}, {"tag": "'x", "kind": "water"}])
    folder = export(world, "--visit", "CCCC2222")
    cells = [sample["tag"] for sample in rows(folder, "samples.csv")]
    assert cells == ["'=1+1", "''x"]
    assert [restored(cell) for cell in cells] == ["=1+1", "'x"]


# Whole or not there


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


# Papers


class Tags(HTMLParser):
    """The tags of a page with their attributes, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.style = ""
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.inside = tag

    def handle_data(self, data: str) -> None:
        if self.inside == "style":
            self.style += data
            self.inside = ""


def test_the_page_of_a_site_loads_nothing_and_its_policy_fits_its_style(world: World) -> None:
    import base64

    text = (export(world, "--all") / "summary_amberwell.html").read_text("utf-8")
    page = Tags()
    page.feed(text)
    names = {tag for tag, _ in page.tags}
    assert not names & {"script", "link", "img", "iframe", "object", "form", "base"}
    assert not {name for _, attrs in page.tags for name in attrs} & {"src", "href", "style", "onload", "onclick"}
    assert "url(" not in text
    digest = base64.b64encode(hashlib.sha256(page.style.encode()).digest()).decode()
    policy = next(attrs["content"] for tag, attrs in page.tags if tag == "meta" and "http-equiv" in attrs)
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert names >= {"svg", "circle", "path"}


def test_names_are_escaped_and_make_safe_file_names(tmp_path: Path) -> None:
    site = {"code": "../<x>", "name": "<script>alert(1)</script>&"}
    world = make_world(tmp_path, sites=[site])
    world.visit("AAAA2222", "../<x>", [{"tag": TAGS[0]}])
    folder = export(world, "--all")
    assert (folder / "summary_x.html").exists()
    text = (folder / "summary_x.html").read_text("utf-8")
    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;&amp;" in text
    assert [path.name for path in tmp_path.iterdir() if not path.name.startswith(("out", "record.db"))] == []


def test_the_page_tells_position_tally_findings_and_timeline(world: World) -> None:
    text = (export(world, "--all") / "summary_amberwell.html").read_text("utf-8")
    plain = re.sub(r"<[^>]+>", " ", text)
    for words in (
        "53.41000 N, 8.24000 W", "Gomphidae (clubtail)", "is flagged: odd length mm", "Fix: ", "pair A",
        "mark at the close", "slip: glove, renewed", "shipped",
    ):  # fmt: skip
        assert words in plain


def test_the_field_sheet_has_each_larva_its_slip_lines_to_sign_and_the_hash(world: World) -> None:
    (page,) = pages(export(world, "--all") / "field_sheet_AAAA2222.pdf")
    (head,) = world.rows("SELECT hash FROM log WHERE stream = ? ORDER BY id DESC LIMIT 1", world.visits["AAAA2222"])[0]
    for words in (
        *TAGS[:5], "26", "Gomphidae (clubtail)", "VOID: damselfly", "odd length mm", "glove", "renewed", "signature",
        head, "Bleach from gear burns", "trained people decide", "Mark texted at the close",
    ):  # fmt: skip
        assert words in page


def test_a_shipments_custody_record_has_what_is_packed_and_hand_overs(world: World, tmp_path: Path) -> None:
    (page,) = pages(export(world, "--all") / "custody_S1.pdf")
    for words in (
        "Shipment S1", *TAGS[:4], "Bittern Lab", "AB 12", "UN 1845, 18 kg net", "the carrier to the lab",
        "taken by: name, signature", "Thick gloves: it burns",
    ):  # fmt: skip
        assert words in page
    assert TAGS[4] not in page
    assert "not in the record" in page
    assert world.desk("fix", "AAAA2222", "frozen", "2026-10-23 18:30", "--reason", "phone died") == 0
    assert world.desk("ship", "sheet", "S1", "--to", str(tmp_path / "s1.pdf")) == 0
    assert "23 Oct 18:30" in pages(tmp_path / "s1.pdf")[0]
    assert f"at {world.rows('SELECT zone FROM site')[0][0]}" in pages(tmp_path / "s1.pdf")[0]
    assert "Bittern Lab, Weir House, 2 Teal Street, Tarrow Bridge" in pages(tmp_path / "s1.pdf")[0]
    assert "Shipment S1" in pages(tmp_path / "s1.pdf")[0]


def test_a_long_visit_runs_over_pages_with_its_head_on_each(tmp_path: Path) -> None:
    world = make_world(tmp_path, tags={"first": 140, "count": 200, "width": 5})
    world.visit("AAAA2222", "amberwell", [{"tag": tag} for tag in block(140, 120, 5)])
    sheet = pages(export(world, "--all") / "field_sheet_AAAA2222.pdf")
    assert len(sheet) >= 3
    for number, page in enumerate(sheet, 1):
        assert "Field sheet" in page
        assert f"page {number} of {len(sheet)}" in page


def test_tables_alone_are_without_papers(world: World) -> None:
    names = {path.name for path in export(world, "--all", "--tables").iterdir()}
    assert names == {"samples.csv", "visits.csv", "events.csv", "shipments.csv", "log.jsonl", "datapackage.json"}
