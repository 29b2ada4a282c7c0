"""``desk ship plan`` and ``pack``: around a holiday, then tag by tag."""

import io
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from guide.record.log import Entry
from tests.desk.lab_world import World, make_world
from tests.desk.shipping.box import KEPT, PLAN, TAGS, answer, pack

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
