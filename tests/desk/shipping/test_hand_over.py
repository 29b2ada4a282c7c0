"""``desk ship sent``, ``unsent`` and ``received``: the carrier's day and the lab's list; shipments listed."""

from pathlib import Path

import pytest

from guide.record.log import Entry
from guide.record.verify import verify
from tests.desk.lab_world import World
from tests.desk.shipping.box import KEPT, PLAN, TAGS, answer, pack

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
