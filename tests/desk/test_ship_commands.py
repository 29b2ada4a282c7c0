"""``desk ship``: planned around a holiday, packed tag by tag, sent, and held against the lab's list."""

import io
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from guide.field.tags import block
from guide.record.log import Entry
from guide.record.verify import verify
from tests.desk.lab_world import World, make_world

TAGS = block(140, 60, 5)
PLAN = ("ship", "plan", "--site", "amberwell", "--only", "larva", "--from", "2026-10-23")
KEPT = (*PLAN, "--day", "2026-10-27")


@pytest.fixture
def world(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> World:
    """Four chosen larvae of a Friday before a bank holiday, one that was not chosen, one void, two bottles."""
    world = make_world(tmp_path)
    larvae: list[dict[str, Any]] = [{"tag": tag, "length_mm": 20 + i} for i, tag in enumerate(TAGS[:4])]
    larvae += [{"tag": TAGS[4], "length_mm": 11}, {"tag": TAGS[5], "void": "torn"}]
    larvae += [{"tag": TAGS[6], "kind": "water"}, {"tag": TAGS[7], "kind": "water_blank"}]
    world.visit("AAAA2222", "amberwell", larvae)
    world.visit("PPPP2222", "amberwell", [{"tag": "09002"}], practice=1)
    world.desk("choose", "--site", "amberwell")
    capsys.readouterr()
    return world


@pytest.fixture
def packed(world: World, capsys: pytest.CaptureFixture[str]) -> World:
    """The same, planned and packed."""
    world.desk(*KEPT)
    pack(world, capsys, *TAGS[:4])
    return world


def answer(world: World, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    capsys.readouterr()
    assert world.desk(*words, "--json") in (0, 1)
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def pack(world: World, capsys: pytest.CaptureFixture[str], *lines: str) -> dict[str, str]:
    """What each line was answered."""
    file = world.path.with_name("tags.txt")
    file.write_text("\n".join(lines))
    found = answer(world, capsys, "ship", "pack", "S1", "--tags", str(file))
    return {line["tag"]: line["verdict"] for line in found["lines"]}


# Plan


def test_good_days_go_around_the_holiday_and_each_other_day_has_its_sentence(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    days = {day["day"]: day for day in answer(world, capsys, *PLAN, "--days", "7")["days"]}
    assert [day for day, found in days.items() if found["good"]] == ["2026-10-27", "2026-10-28"]
    assert days["2026-10-26"]["says"] == "Not Mon 26 Oct: a holiday of the carrier (October Bank Holiday)."


def test_water_that_comes_too_late_is_said_and_larvae_alone_are_offered(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    assert world.desk("ship", "plan", "--site", "amberwell", "--from", "2026-10-23", "--days", "7") == 1
    said = capsys.readouterr().out
    assert "The lab must have the water in hand by Sun 25 Oct" in said
    assert "The larvae alone: Tue 27 Oct, Wed 28 Oct (--only larva)." in said


def test_water_that_is_in_time_only_if_nothing_is_late_needs_the_labs_word(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    world = make_world(tmp_path)
    monday = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
    world.visit("WWWW2222", "quill", [{"tag": TAGS[0], "kind": "water"}], at=monday)
    plan = ("ship", "plan", "--all", "--from", "2026-11-02", "--days", "3")
    assert world.desk(*plan) == 1
    assert "In time only if nothing is late: Mon 2 Nov." in capsys.readouterr().out
    assert world.desk(*plan, "--day", "2026-11-02") == 2
    assert "add --agreed" in capsys.readouterr().err
    assert world.desk(*plan, "--day", "2026-11-02", "--agreed") == 0
    assert "Wet ice cooler: 1 water" in capsys.readouterr().out
    assert world.rows("SELECT dry_ice_kg FROM shipment") == [(0,)]


def test_the_dry_ice_shows_its_working_and_the_cautions_stand_with_it(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    assert world.desk(*PLAN) == 0
    said = capsys.readouterr().out
    for words in (
        "rule of thumb  4.5 kg a day x 48 h = 9.0 kg", "pack and mark 18 kg net", "UN 1845", "Its vent stays open",
        "Never in a closed car or room", "never with acids", "trained packers decide", "Bittern Lab has said yes",
    ):  # fmt: skip
        assert words in said
    assert "Nothing was stored." in said
    assert world.rows("SELECT count(*) FROM shipment") == [(0,)]


def test_a_kept_plan_holds_its_samples(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert world.desk(*KEPT) == 0
    assert "Kept as shipment S1." in capsys.readouterr().out
    assert world.desk(*PLAN) == 2
    assert "nothing waits to be shipped" in capsys.readouterr().err
    world.whole()


def test_larvae_without_a_choice_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    world = make_world(tmp_path)
    world.visit("AAAA2222", "quill", [{"tag": TAGS[0]}])
    assert world.desk("ship", "plan", "--all") == 2
    assert "1 larva of Quill Brook waits for a choice: desk choose --site quill." in capsys.readouterr().err


def test_a_dropped_plan_sets_its_samples_free(packed: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert packed.desk("ship", "drop", "S1") == 0
    assert f"Take these out of the box: {TAGS[0]}" in capsys.readouterr().out
    assert packed.desk(*KEPT) == 0
    assert "Kept as shipment S2." in capsys.readouterr().out
    packed.whole()


@pytest.mark.parametrize("cooler", ["300x200", "300x200x200", "0x200x200x40", "big"])
def test_a_cooler_that_cannot_be_is_refused(world: World, capsys: pytest.CaptureFixture[str], cooler: str) -> None:
    assert world.desk(*PLAN, "--cooler", cooler) == 2
    assert f"--cooler '{cooler}'" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ("--from", "9999-12-31"), ("--from", "0001-01-01"), ("--from", "tomorrow"), ("--air", "nan"), ("--air", "inf"),
        ("--inside", "-1"), ("--inside", "nan"), ("--days", "0"), ("--days", "-3"), ("--days", "100000"),
    ],
)  # fmt: skip
def test_numbers_and_days_that_cannot_be_are_refused(
    world: World, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    try:
        code = world.desk("ship", "plan", "--site", "amberwell", "--only", "larva", *words)
    except SystemExit as end:  # argparse's own way out
        code = int(end.code or 0)
    assert code == 2
    assert words[0] in capsys.readouterr().err


def test_larvae_that_may_not_wait_longer_are_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    world = make_world(tmp_path, larvae_days=5)
    world.visit("AAAA2222", "amberwell", [{"tag": tag} for tag in TAGS[:2]])
    world.desk("choose", "--site", "amberwell")
    assert world.desk("ship", "plan", "--all", "--from", "2026-10-27", "--days", "2") == 1
    said = capsys.readouterr().out
    assert "The lab must have the larvae in hand by Wed 28 Oct 09:04 of its own time." in said
    assert "Not Tue 27 Oct: it would arrive on Wed 28 Oct, when the holding time of larvae has run out" in said


# Pack


def test_each_tag_is_judged(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    world.desk(*KEPT)
    lines = [f"#{TAGS[0]}", f"tag {TAGS[1]}", TAGS[4], TAGS[5], TAGS[6], TAGS[30], "09002", "09015", "99999"]
    assert pack(world, capsys, *lines) == {
        TAGS[0]: "ok", TAGS[1]: "ok", TAGS[4]: "not_chosen", TAGS[5]: "void", TAGS[6]: "not_chosen",
        TAGS[30]: "unused", "09002": "practice", "09015": "practice", "99999": "unknown",
    }  # fmt: skip
    assert pack(world, capsys, TAGS[0], "09 002") == {TAGS[0]: "already", "09 002": "unknown"}
    world.whole()


def test_what_was_scanned_before_a_crash_is_packed(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    world.desk(*KEPT)
    pack(world, capsys, TAGS[0], TAGS[1])
    assert world.rows("SELECT count(*) FROM shipment_sample WHERE packed_at IS NOT NULL") == [(2,)]
    assert pack(world, capsys, f"out {TAGS[1]}", f"out {TAGS[2]}") == {TAGS[1]: "out", TAGS[2]: "not_in"}
    assert world.rows("SELECT count(*) FROM shipment_sample WHERE packed_at IS NOT NULL") == [(1,)]
    world.whole()


def test_a_scanner_on_standard_input_is_answered_line_by_line_and_reconciled(
    world: World, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    world.desk(*KEPT)
    capsys.readouterr()
    keys = f"{TAGS[0]}\n{TAGS[1]}\r\nleft\n\xff\nend\n{TAGS[2]}\n".encode("latin-1")
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(keys)))
    assert world.desk("ship", "pack", "S1") == 1
    said = capsys.readouterr().out
    assert f"{TAGS[1]}  ok, larva 21 mm Gomphidae, amberwell" in said
    assert f"Not packed yet: {TAGS[2]}, {TAGS[3]}" in said
    assert "UNKNOWN" in said
    assert "2 of 4 packed in S1." in said


def test_a_larva_made_void_after_the_plan_is_not_for_the_box(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    world.desk(*KEPT)
    visit = world.visits["AAAA2222"]
    world.say(visit, Entry("void", "", {"reason": "torn"}, f"{visit}-1"))
    world.say(visit, Entry("accepted", "desk.accept", {}))
    assert pack(world, capsys, *TAGS[:4])[TAGS[0]] == "void"
    world.say(visit, Entry("void", "", {"reason": "torn"}, f"{visit}-2"))
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 2
    assert f"void since they were packed: {TAGS[1]}" in capsys.readouterr().err


def test_larvae_of_a_visit_that_must_be_accepted_again_are_neither_packed_nor_planned(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    world.desk(*KEPT)
    visit = world.visits["AAAA2222"]
    world.say(visit, Entry("fix", "desk.fix", {"length_mm": 26}, f"{visit}-1", words="read again"))
    assert pack(world, capsys, TAGS[0], TAGS[1]) == {TAGS[0]: "not_accepted", TAGS[1]: "not_accepted"}
    assert world.desk("ship", "drop", "S1") == 0
    assert world.desk(*PLAN) == 2
    said = capsys.readouterr().err
    assert "Left out: 7 samples of visit AAAA2222 at Amberwell Pond, which is not accepted" in said


def test_larvae_of_a_visit_moved_to_another_site_are_no_longer_chosen(
    packed: World, capsys: pytest.CaptureFixture[str]
) -> None:
    assert packed.desk("fix", "AAAA2222", "site", "quill", "--reason", "wrong pond") == 0
    assert packed.desk("accept", "AAAA2222", "--anyway", "looked at") == 0
    assert pack(packed, capsys, TAGS[0]) == {TAGS[0]: "not_chosen"}
    assert packed.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 2
    assert f"not chosen any more: {TAGS[0]}" in capsys.readouterr().err


def test_a_larva_that_nobody_told_to_be_frozen_is_asked_about_at_its_scan(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    world.desk(*KEPT)
    file = world.path.with_name("tags.txt")
    file.write_text("\n".join(TAGS[:4]))
    world.desk("ship", "pack", "S1", "--tags", str(file))
    said = capsys.readouterr().out
    assert said.count("NOT FROZEN in the record: is it hard") == 4
    assert f"NOT FROZEN in the record: {', '.join(TAGS[:4])}" in said


def test_the_freezers_thermometer_put_right_is_told_once(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    world.say(world.visits["AAAA2222"], Entry("answer", "freeze.thermometer", {"freezer_c": -6.7}))
    assert world.desk("fix", "AAAA2222", "freezer_c", "-20", "--reason", "read in F") == 0
    world.desk("custody", "--visit", "AAAA2222")
    said = capsys.readouterr().out
    assert "-6.7 C" not in said
    assert "-20 C, put right at the desk" in said


def test_the_desk_tells_when_larvae_of_a_closed_visit_were_frozen(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    fix = ("fix", "AAAA2222", "frozen")
    assert world.desk(*fix, "SHED 3", "--reason", "phone died") == 2
    assert "must be a time at the site, such as" in capsys.readouterr().err
    world.desk("visit", "AAAA2222")
    assert "desk fix AAAA2222 frozen" in capsys.readouterr().out
    assert world.desk(*fix, "2026-10-23 18:30", "--reason", "phone died") == 0
    assert world.rows(
        "SELECT DISTINCT frozen_at FROM sample WHERE kind = 'larva' AND tag != '09002' AND status = 'kept'"
    ) == [("2026-10-23T17:30:00.000Z",)]
    world.desk("visit", "AAAA2222")
    assert "not in a freezer" not in capsys.readouterr().out
    world.desk(*KEPT)
    assert pack(world, capsys, *TAGS[:4]) == dict.fromkeys(TAGS[:4], "ok")
    assert (
        answer(world, capsys, "ship", "pack", "S1", "--tags", str(world.path.with_name("tags.txt")))["not_frozen"] == []
    )
    world.whole()


# Sent


def test_nothing_of_a_visit_that_is_not_accepted_is_sent(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    world.desk(*KEPT)
    pack(world, capsys, *TAGS[:4])
    visit = world.visits["AAAA2222"]
    world.say(visit, Entry("fix", "desk.fix", {"length_mm": 26}, f"{visit}-1", words="read again"))
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 2
    assert "not accepted yet: visit AAAA2222" in capsys.readouterr().err
    world.say(visit, Entry("accepted", "desk.accept", {}))
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 0


def test_what_is_sent_has_its_day_and_what_stays_is_free(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    world.desk(*KEPT)
    pack(world, capsys, *TAGS[:3])
    found = answer(world, capsys, "ship", "sent", "S1", "--waybill", " ab-12 34", "--day", "2026-10-27")
    assert (found["waybill"], found["sent"], found["stays"]) == ("AB-12 34", TAGS[:3], [TAGS[3]])
    shipped = "SELECT tag, shipped_at FROM sample WHERE shipped_at IS NOT NULL ORDER BY tag"
    assert world.rows(shipped) == [(tag, "2026-10-27") for tag in TAGS[:3]]
    plan = answer(world, capsys, *PLAN)
    assert [sample["tag"] for sample in plan["samples"]] == [TAGS[3]]
    world.whole()


def test_nothing_packed_a_bad_waybill_and_a_second_sending_are_refused(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    world.desk(*KEPT)
    for waybill, words in (("AB 12", "nothing is packed"), ("x", "3 to 40"), ("AB\x1b[31m;12", "3 to 40")):
        assert world.desk("ship", "sent", "S1", "--waybill", waybill, "--day", "2026-10-27") == 2
        assert words in capsys.readouterr().err
    pack(world, capsys, *TAGS[:4])
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 0
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 2
    assert "shipment S1 is sent" in capsys.readouterr().err
    assert world.desk("ship", "sent", "S7", "--waybill", "AB 12", "--day", "2026-10-27") == 2
    assert "there is no shipment 'S7'; there is S1" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("day", "words"),
    [
        ("2199-10-27", "2199-10-27 is still to come"),
        ("2026-10-26", "2026-10-26 is before the day of the plan, 2026-10-27"),
        ("2026-10-31", "Not Sat 31 Oct: the carrier doesn't pick up"),
    ],
)
def test_a_day_of_hand_over_that_is_not_good_is_refused_with_its_reason(
    packed: World, capsys: pytest.CaptureFixture[str], day: str, words: str
) -> None:
    assert packed.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", day) == 2
    assert words in capsys.readouterr().err
    assert packed.rows("SELECT status FROM shipment") == [("planned",)]


def test_another_day_that_was_agreed_has_its_own_arrival(packed: World, capsys: pytest.CaptureFixture[str]) -> None:
    day = ("--day", "2026-10-31", "--agreed")
    assert packed.desk("ship", "sent", "S1", "--waybill", "AB 12", *day) == 0
    assert "and that it should arrive on 2026-11-01" in capsys.readouterr().out
    assert packed.rows("SELECT arrival FROM shipment") == [("2026-11-01",)]
    packed.whole()


def test_a_wrong_hand_over_is_taken_back_with_what_it_left_out(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    world.desk(*KEPT)
    pack(world, capsys, *TAGS[:3])
    unsent = ("ship", "unsent", "S1", "--reason", "left one out")
    assert world.desk(*unsent) == 2
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-28") == 0
    capsys.readouterr()
    assert world.desk(*unsent) == 0
    assert f"In it again, not packed: {TAGS[3]}" in capsys.readouterr().out
    shipment = "SELECT status, waybill, sent_on, arrival FROM shipment"
    assert world.rows(shipment) == [("planned", None, None, "2026-10-28")]
    assert world.rows("SELECT count(*) FROM sample WHERE shipped_at IS NOT NULL") == [(0,)]
    assert world.rows("SELECT count(*), count(packed_at) FROM shipment_sample") == [(4, 3)]
    assert world.rows("SELECT count(*) FROM log WHERE kind = 'shipped'") == [(1,)]
    world.whole()


def test_a_plan_whose_dry_ice_does_not_fit_can_not_be_agreed_to(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    assert world.desk(*KEPT, "--cooler", "150x150x150x40", "--agreed") == 2
    assert "the dry ice does not fit" in capsys.readouterr().err


# Received


@pytest.fixture
def sent(packed: World) -> World:
    """The same, sent."""
    packed.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27")
    return packed


def lab_list(world: World, text: str, encoding: str = "utf-8") -> str:
    file = world.path.with_name("lab.csv")
    file.write_bytes(text.encode(encoding))
    return str(file)


def test_differences_are_told_both_ways(sent: World, capsys: pytest.CaptureFixture[str]) -> None:
    rows = f"tag,condition,remark\n{int(TAGS[0])},ok,\n{TAGS[1]},leaking,bag torn\n{TAGS[2]},,a grey one\n77777,ok,\n"
    found = answer(sent, capsys, "ship", "received", "S1", lab_list(sent, rows), "--day", "2026-10-28")
    assert found["received"] == [TAGS[0]]
    assert found["damaged"] == [{"tag": TAGS[1], "remark": "bag torn"}]
    assert found["remarks"] == [{"tag": TAGS[2], "remark": "a grey one"}]
    assert (found["missing"], found["extra"]) == ([TAGS[3]], ["77777"])
    assert sent.rows("SELECT text FROM words ORDER BY entry") == [("bag torn",), ("a grey one",)]
    outcomes = "SELECT outcome, count(*) FROM shipment_sample GROUP BY outcome ORDER BY outcome"
    assert sent.rows(outcomes) == [("damaged", 1), ("missing", 1), ("received", 1), ("remark", 1)]
    sent.whole()


def test_a_later_list_of_the_lab_puts_right_what_was_missing(sent: World, capsys: pytest.CaptureFixture[str]) -> None:
    answer(sent, capsys, "ship", "received", "S1", lab_list(sent, "\n".join(["tag", *TAGS[:3]])), "--day", "2026-10-28")
    whole = lab_list(sent, "\n".join(["tag", *TAGS[:4]]))
    assert sent.desk("ship", "received", "S1", whole, "--day", "2026-10-29") == 0
    assert "Every tag on the sheet is in the cooler, and the reverse." in capsys.readouterr().out
    sent.whole()


@pytest.mark.parametrize(
    ("text", "encoding", "words"),
    [
        ("sample,state\n1,ok\n", "utf-8", "column"),
        ("tag\nM\xfcller\n", "latin-1", "Latin-1"),
        (f"tag\n{TAGS[0]}\n{TAGS[0]}\n", "utf-8", f"tag {TAGS[0]} stands in row 2 too"),
        (f"tag\n{TAGS[0]}\n{int(TAGS[0])}\n", "utf-8", "stands in the list twice"),
        ("tag,remark\n,no tag\n", "utf-8", "row 2: the tag is missing"),
        (f"tag\n{'9' * 90}\n", "utf-8", "longer than a tag"),
        ("tag\n", "utf-8", "no row below the head"),
        ("", "utf-8", "column"),
        ('tag\n"01402\n', "utf-8", "line"),
        (f"tag,condition\n{TAGS[0]},thawd\n", "utf-8", "row 2: condition 'thawd': did you mean thawed?"),
    ],
    ids=[
        "columns",
        "Latin-1",
        "twice",
        "twice without zeros",
        "no tag",
        "long",
        "no row",
        "empty",
        "open quote",
        "slip",
    ],
)
def test_a_list_that_cannot_be_used_is_refused_and_changes_nothing(
    sent: World, capsys: pytest.CaptureFixture[str], text: str, encoding: str, words: str
) -> None:
    before = sent.rows("SELECT count(*) FROM log")
    assert sent.desk("ship", "received", "S1", lab_list(sent, text, encoding), "--day", "2026-10-28") == 2
    assert words in capsys.readouterr().err
    assert sent.rows("SELECT count(*) FROM log") == before


def test_no_file_a_folder_and_a_file_of_ten_gigabytes_are_refused(
    sent: World, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    huge, loop = tmp_path / "huge.csv", tmp_path / "loop.csv"
    with huge.open("wb") as file:
        file.truncate(10 * 1024**3)
    loop.symlink_to(loop)
    for path in (tmp_path / "none.csv", tmp_path, huge, loop, Path("/dev/zero")):
        assert sent.desk("ship", "received", "S1", str(path), "--day", "2026-10-28") == 2
        said = capsys.readouterr().err
        assert said.startswith("wadeline: ")
        assert said.count("\n") == 1


def test_a_list_before_the_sending_is_refused(packed: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert packed.desk("ship", "received", "S1", lab_list(packed, f"tag\n{TAGS[0]}\n")) == 2
    assert "shipment S1 is planned: the lab can't have it yet" in capsys.readouterr().err


def test_a_fix_of_a_sample_names_the_shipment_that_holds_it(packed: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert packed.desk("fix", "AAAA2222", TAGS[0], "void", "--reason", "torn") == 0
    assert "shipment S1 (planned) holds it: take it out with OUT in desk ship pack S1" in capsys.readouterr().out
    assert answer(packed, capsys, "ship", "list", "S1")["samples"] == 3


def test_a_fix_of_a_sample_that_was_sent_says_to_tell_the_lab(sent: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert sent.desk("fix", "AAAA2222", TAGS[0], "swap", TAGS[1], "--reason", "mixed up") == 0
    assert "shipment S1 (sent) holds it: tell the lab" in capsys.readouterr().out


def test_a_list_of_a_day_to_come_is_refused(sent: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert sent.desk("ship", "received", "S1", lab_list(sent, f"tag\n{TAGS[0]}\n"), "--day", "2199-10-28") == 2
    assert "2199-10-28 is still to come" in capsys.readouterr().err


# Listed


def test_shipments_are_listed_and_shown(sent: World, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert sent.desk("ship") == 0
    assert "S1        sent    2026-10-27  2026-10-28        4       4" in capsys.readouterr().out
    shown = answer(sent, capsys, "ship", "list", "s1")
    assert [item["tag"] for item in shown["items"]] == TAGS[:4]


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("choice", "UPDATE choice SET left_out = NULL WHERE left_out IS NOT NULL"),
        ("shipment", "UPDATE shipment SET waybill = 'AB 13'"),
        ("shipment_sample", "DELETE FROM shipment_sample WHERE sample LIKE '%-1'"),
        ("sample", "UPDATE sample SET shipped_at = '2026-10-28' WHERE shipped_at IS NOT NULL"),
    ],
)
def test_a_change_behind_the_logs_back_shows(sent: World, table: str, change: str) -> None:
    sent.whole()
    sent.store.db.execute(change)
    assert any(f"table {table} doesn't agree with the log" in problem for problem in verify(sent.store.db).problems)
