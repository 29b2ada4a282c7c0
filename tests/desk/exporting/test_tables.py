"""``desk export``: what is in the folder, and what never is."""

import hashlib
import json
import shutil

import pytest
from frictionless import Package, system

from guide.papers.csv_tables import restored
from tests.desk.exporting.folder import TAGS, WANTED, export, pages, rows, streams, words_of
from tests.desk.lab_world import World

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
