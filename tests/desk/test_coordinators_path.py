"""The coordinator's path from an empty folder to a hand-over, looked at as a coordinator looks at each stage."""

import csv
import json
import re
import sqlite3
from contextlib import closing
from typing import Any

import pytest

from guide.record.verify import verify
from tests.desk.coordinators_path import LAST, LOST, STRAY, WARM, Walk, walk
from tests.docs_desk import desk

SITES = ["amberwell", "quill", "sallow"]
KEPT = "SELECT count(*) FROM sample WHERE kind = 'larva' AND status = 'kept'"


@pytest.fixture(scope="module")
def path() -> Walk:
    """The path, walked once with commands in processes of their own."""
    return walk()


def rows(path: Walk, sql: str, *values: Any) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path.folder.path / "record.db")) as db:
        return db.execute(sql, values).fetchall()


def handed_over(path: Walk, name: str) -> list[dict[str, str]]:
    with (path.folder.path / "handover" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_programme_is_a_real_one_with_its_holidays_and_coordinator(path):
    said = path.out("programme circle.toml")
    assert "PRACTICE" not in said
    assert "wanted        8 larvae a site, 13 mm or longer" in said
    assert said.count("Mon Tue Wed Thu Fri, not on holidays of IE") == 2
    assert "coordinators  Wren\n" in said


def test_three_sites_four_groups_and_two_hundred_tags_are_there(path):
    assert [line.split()[0] for line in path.out("sites").splitlines()[1:]] == SITES
    assert re.findall(r"^(G\d) .* ([A-Z]+) +(\w+|-) +\d+ +0$", path.out("groups"), re.M) == [
        ("G1", "HERONCALL", "amberwell"),
        ("G2", "BASINOWL", "quill"),
        ("G3", "FENLANTERN", "sallow"),
        ("G4", "OTTERDUSK", "-"),
    ]
    assert path.out("tags make") == "200 tags made: 03009 to 04993\n"
    pools = [line.split() for line in path.out("tags list").splitlines()[1:]]
    assert pools == [
        ["any", "03009", "04791", "180", "180", "0", "0"],
        ["sallow", "04809", "04993", "20", "20", "0", "0"],
    ]


def test_the_laptops_visit_is_here_after_the_merge_and_again_changes_nothing(path):
    before, after = (path.out("visit", time).splitlines() for time in (0, 1))
    assert [line.split()[2] for line in before[1:]] == SITES[:2]
    assert [line.split()[2] for line in after[1:]] == SITES
    assert after[1:3] == before[1:]
    assert all(line.split()[4:7] == [f"G{place}", "8", "0"] for place, line in enumerate(after[1:], 1))
    assert path.out("merge").startswith(f"visit {path.code['sallow']}: ")
    assert re.fullmatch(r"nothing new: \d+ entries, all here\n", path.out("merge", 1))


def test_each_pair_gave_out_its_own_slips_and_none_was_given_twice(path):
    assert rows(path, f"{KEPT}") == [(24,)]
    assert rows(path, "SELECT count(*), min(code), max(code) FROM tag WHERE status = 'used' AND site = 'sallow'") == [
        (8, "04809", "04872")
    ]
    assert rows(path, "SELECT count(*) FROM tag WHERE status = 'used'") == [(24,)]


def test_a_slip_of_the_ruler_is_found_with_the_command_that_mends_it_and_mended(path):
    code = path.code["amberwell"]
    before, after = (path.out(f"visit {code}", time) for time in (0, 1))
    assert "- 03023 is flagged: odd length mm" in before
    assert f"wadeline desk fix {code} 03023 unflag odd_length_mm --reason WHY" in before
    assert f"- {STRAY} is the only clubtail, 2 are needed" in before
    assert path.out(f"fix {code} 03023") == "length of 03023 is 27 mm now, it was 72 mm\n"
    assert "is flagged" not in after
    assert "- length of 03023: 72 became 27 at the desk: 72 was 27: read again in its bag" in after
    assert re.search(r"03115 is Gomphidae now, it was unsure", path.out(f"fix {path.code['quill']}"))


def test_all_three_visits_are_accepted(path):
    for code in path.code.values():
        assert path.out(f"accept {code}") == f"visit {code} is accepted: 8 samples\n"
    accepted = path.out("visit --state accepted").splitlines()[1:]
    assert [line.split()[0] for line in accepted] == list(path.code.values())


def test_the_choice_says_who_stays_and_a_fix_changes_it(path):
    before, few, kept = (path.out("choose --site amberwell", time) for time in range(3))
    assert re.search(r"03023  72 .* odd_length_mm", before)
    assert all(said.endswith("Nothing was stored.\n") for said in (before, few))
    assert few.count("The set is full of specimens that rank before it.") == 2
    assert kept.splitlines()[2] == "7 go to the lab:"
    assert re.search(rf"^1 stays:\n.*\n{STRAY} .* Its family has too few specimens to be used\.$", kept, re.M)
    assert "8 go to the lab:" in path.out("choose --site quill")
    assert "03115  21  Gomphidae" in path.out("choose --site quill")
    assert rows(path, "SELECT count(*) FROM log WHERE kind = 'chosen'") == [(3,)]


def test_the_plan_goes_around_the_holiday_and_says_so(path):
    said = path.out("ship plan --all --from 2026-10-23")
    assert "Not Mon 26 Oct: a holiday of the carrier (October Bank Holiday).\n" in said
    assert "\nGood: Tue 27 Oct, Wed 28 Oct.\n" in said
    assert "pack and mark 18 kg net" in said
    assert "Dry ice. Thick gloves: it burns." in said
    refused = path.find("ship plan --all --day 2026-10-26")
    assert (refused.out, refused.err.count("\n")) == ("", 1)
    assert refused.err.startswith("wadeline: Not Mon 26 Oct: a holiday of the carrier (October Bank Holiday).")
    kept = path.out("ship plan --all --day 2026-10-27")
    assert kept.startswith("23 larvae of Amberwell Pond, Quill Brook, Sallow Fen\n")
    assert kept.endswith("Kept as shipment S1. Pack it with: desk ship pack S1\n")


def test_the_box_takes_what_was_chosen_and_nothing_else(path):
    first, second = path.out("ship pack"), path.out("ship pack", 1)
    assert first.count("  ok, larva ") == 22
    assert f"\n{STRAY}  NOT CHOSEN: its family has too few specimens to be used\n" in first
    assert "\n03009  ALREADY PACKED: " in first
    assert f"\n22 of 23 packed in S1. Not packed yet: {LAST}\n" in first
    assert "\n23 of 23 packed in S1. Nothing is missing.\n" in second


def test_what_the_lab_misses_is_told_with_all_that_is_known_of_it(path):
    assert path.out("ship sent").startswith("S1 sent on 2026-10-27 with waybill TB 4471 902: 23 samples.\n")
    said = path.out("ship received")
    assert said.startswith("S1, received on 2026-10-28: 22 of 23 samples.\n")
    missing = f"MISSING  {LOST}  larva 33 mm Aeshnidae, quill, visit {path.code['quill']}: packed here, not in"
    assert missing in said
    assert f"DAMAGED  {WARM}  larva 22 mm Libellulidae, amberwell\n" in said
    assert "\nLook into the cooler and its liner again with the lab" in said
    listed = path.out("ship list", 1).splitlines()[1].split()
    assert listed[:9] == ["S1", "received", "2026-10-27", "2026-10-28", "23", "23", "1", "0", "18"]


def test_the_tables_handed_over_hold_every_larva_and_what_became_of_it(path):
    larvae = {row["tag"]: row for row in handed_over(path, "samples.csv")}
    assert len(larvae) == 24
    assert (larvae["03023"]["length_mm"], larvae["03023"]["flags"]) == ("27", "")
    assert (larvae[STRAY]["shipped_at"], larvae[STRAY]["shipment"], larvae[STRAY]["lab_found"]) == ("", "", "")
    assert [larvae[tag]["lab_found"] for tag in (LOST, WARM, LAST)] == ["missing", "damaged", "received"]
    assert {row["shipped_at"] for tag, row in larvae.items() if tag != STRAY} == {"2026-10-27"}
    fixes = [(row["tag"], row["answer"], row["before"], row["after"]) for row in handed_over(path, "events.csv")]
    assert fixes == [("03023", "length_mm", "72", "27"), ("03115", "family", "unsure", "Gomphidae")]
    assert len(handed_over(path, "shipments.csv")) == 23


def test_the_mark_each_pair_was_told_on_its_phone_is_that_of_the_hand_over(path):
    marks = {row["site"]: row["mark"] for row in handed_over(path, "visits.csv")}
    assert marks == path.marks
    for time in (0, 1):
        assert all(f"mark {mark}" in path.out("verify", time) for mark in marks.values())


def test_the_folder_holds_what_its_description_names_and_no_phone_number(path):
    folder = path.folder.path / "handover"
    there = {file.name for file in folder.iterdir()}
    package = json.loads((folder / "datapackage.json").read_text("utf-8"))
    assert {one["path"] for one in package["resources"]} <= there
    assert {f"{kind}_{code}.pdf" for kind in ("field_sheet", "custody") for code in path.code.values()} <= there
    assert {f"summary_{site}.html" for site in SITES} <= there
    assert "custody_S1.pdf" in there
    assert all(b"20912001" not in file.read_bytes() for file in folder.iterdir())


def test_record_and_log_are_proved_at_the_end(path):
    assert "3 visits, 24 samples, 200 tags; " in path.out("verify")
    assert ", no problem\nok: every hash fits, the tables are the log folded" in path.out("verify")
    assert ", no problem\nok: every hash fits, every chain goes on" in path.out("verify handover/log.jsonl")
    with closing(sqlite3.connect(path.folder.path / "record.db")) as db:
        assert verify(db).problems == []


def test_no_command_said_anything_on_standard_error_but_the_refused_day(path):
    assert [one.typed for one in path.folder.said if one.err] == ["wadeline desk ship plan --all --day 2026-10-26"]


def test_what_the_documents_tell_of_it_is_the_same_for_every_run(path):
    """Records name themselves by chance, marks hang on that, and the desk's own clock goes on: none of it is told."""
    told = desk()
    assert told.count("\n$ wadeline desk ") > 15
    assert "Not Mon 26 Oct: a holiday of the carrier (October Bank Holiday).\n" in told
    assert "Dry ice. Thick gloves: it burns." in told
    assert not re.search(r"\d{4}-\d\d-\d\dT", told)
    assert not any(mark in told for mark in path.marks.values())
    assert not any(uid in told for (uid,) in rows(path, "SELECT uid FROM origin"))
