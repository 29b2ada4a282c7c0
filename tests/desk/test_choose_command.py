"""``desk choose``: the exact choice over what the record holds, kept in the log, with a reason for each that stays."""

import json
from pathlib import Path
from typing import Any

import pytest

from guide.field.tags import block
from guide.record.log import Entry
from tests.desk.lab_world import World, make_world

TAGS = block(140, 60, 5)


@pytest.fixture
def world(tmp_path: Path) -> World:
    """Five larvae that may go, one too short, one alone in its family, one void; a practice visit at the same site."""
    world = make_world(tmp_path)
    larvae = [{"tag": TAGS[i], "length_mm": 20 + i, "family": ("Gomphidae", "Aeshnidae")[i % 2]} for i in range(5)]
    larvae[4]["flag"] = "slip"
    short = {"tag": TAGS[5], "length_mm": 11, "family": "Gomphidae", "flag": "under_minimum"}
    alone = {"tag": TAGS[6], "length_mm": 25, "family": "Macromiidae"}
    world.visit("AAAA2222", "amberwell", [*larvae, short, alone, {"tag": TAGS[7], "void": "damselfly"}])
    world.visit("PPPP2222", "amberwell", [{"tag": "09002"}, {"tag": "09015"}], practice=1)
    return world


def chosen(world: World, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    capsys.readouterr()
    assert world.desk("choose", "--site", "amberwell", "--json", *words) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_each_that_stays_has_its_reason(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    found = chosen(world, capsys, "--most", "4")
    assert [larva["tag"] for larva in found["chosen"]] == TAGS[:4]
    reasons = {larva["tag"]: larva["reason"] for larva in found["left_out"]}
    assert reasons == {TAGS[4]: "full_flagged", TAGS[5]: "too_short", TAGS[6]: "family_too_few"}


def test_the_choice_is_an_entry_and_folds_again(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert chosen(world, capsys)["stored"]
    assert world.rows("SELECT count(*) FROM log WHERE kind = 'chosen' AND stream = 'desk'") == [(1,)]
    assert world.rows("SELECT count(*) FROM choice WHERE left_out IS NULL") == [(5,)]
    world.whole()


def test_the_same_choice_again_adds_nothing_and_another_takes_its_place(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    chosen(world, capsys)
    assert not chosen(world, capsys)["stored"]
    assert chosen(world, capsys, "--most", "2")["stored"]
    assert world.rows("SELECT count(*) FROM log WHERE kind = 'chosen'") == [(2,)]
    assert world.rows("SELECT count(*) FROM choice WHERE left_out IS NULL") == [(2,)]
    world.whole()


def test_what_if_stores_nothing_and_says_what_would_change(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    chosen(world, capsys)
    assert world.desk("choose", "--site", "amberwell", "--what-if", "--minimum-mm", "10", "--family-min", "1") == 0
    said = capsys.readouterr().out
    assert "Nothing was stored. Against the choice stored on" in said
    assert f": in {TAGS[5]}, {TAGS[6]}." in said
    assert world.rows("SELECT count(*) FROM log WHERE kind = 'chosen'") == [(1,)]


def test_the_stored_choice_is_shown_and_held_against_the_record_of_today(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    assert world.desk("choose", "--site", "amberwell", "--stored") == 2
    assert "no choice is stored for Amberwell Pond" in capsys.readouterr().err
    chosen(world, capsys)
    visit = world.visits["AAAA2222"]
    world.say(visit, Entry("void", "", {"reason": "torn"}, f"{visit}-1"))
    assert world.desk("choose", "--site", "amberwell", "--stored") == 0
    said = capsys.readouterr().out
    assert "1 chosen then and no longer kept here." in said
    assert TAGS[0] not in said


def test_practice_open_visits_and_other_sites_are_not_looked_at(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    world.visit("OPEN2222", "amberwell", [{"tag": TAGS[20]}], closed=False)
    world.visit("QQQQ2222", "quill", [{"tag": TAGS[21]}])
    found = chosen(world, capsys)
    tags = {larva["tag"] for larva in (*found["chosen"], *found["left_out"])}
    assert tags == set(TAGS[:7])
    assert "1 in a visit that is not closed, not looked at" in found["notes"]


def test_a_larva_without_a_tag_a_tag_on_two_and_a_digest_stay_out(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    world.visit("BBBB2222", "amberwell", [{"tag": None}, {"tag": TAGS[0], "length_mm": 30}])
    reasons = {larva["tag"]: larva["reason"] for larva in chosen(world, capsys)["left_out"]}
    assert reasons[None] == "no_tag"
    assert reasons[TAGS[0]] == "tag_twice"


def _send(world: World, tags: list[str]) -> None:
    """Plans, packs and sends these of the larvae chosen."""
    listed = world.path.with_name("tags.txt")
    listed.write_text("\n".join(tags))
    for words in (
        ("plan", "--site", "amberwell", "--day", "2026-10-27"), ("pack", "S1", "--tags", str(listed)),
        ("sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27"),
    ):  # fmt: skip
        world.desk("ship", *words)


def test_what_went_to_the_lab_counts_for_the_sites_number(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    chosen(world, capsys, "--most", "4")
    _send(world, TAGS[:4])
    world.visit("BBBB2222", "amberwell", [{"tag": TAGS[20]}, {"tag": TAGS[21]}])
    found = chosen(world, capsys, "--most", "5")
    assert len(found["chosen"]) == 1
    assert "4 in a shipment, counted with its family: 1 more of 5 may go" in found["notes"]


def test_what_went_to_the_lab_counts_for_a_familys_fewest(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    chosen(world, capsys, "--most", "4")
    _send(world, TAGS[:4])
    world.visit("BBBB2222", "amberwell", [{"tag": TAGS[20], "family": "Aeshnidae"}])
    assert TAGS[20] in [larva["tag"] for larva in chosen(world, capsys, "--most", "9")["chosen"]]


def test_a_larva_that_the_lab_listed_beside_ours_is_there_already(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    chosen(world, capsys)
    _send(world, TAGS[:3])
    listed = world.path.with_name("lab.csv")
    listed.write_text("\n".join(["tag", *TAGS[:4]]))
    assert world.desk("ship", "received", "S1", str(listed), "--day", "2026-10-28") == 1
    found = chosen(world, capsys, "--most", "5")
    assert {"at_lab"} == {larva["reason"] for larva in found["left_out"] if larva["tag"] == TAGS[3]}
    assert "4 at the lab already, counted with its family: 1 more of 5 may go" in found["notes"]


def test_a_site_that_is_not_there_is_refused_with_the_nearest(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert world.desk("choose", "--site", "amberwel") == 2
    assert "did you mean amberwell?" in capsys.readouterr().err


def test_a_table_for_people_ends_with_the_next_step(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    world.store.db.execute("UPDATE visit SET accepted_at = NULL")
    assert world.desk("choose", "--site", "Amberwell Pond") == 0
    said = capsys.readouterr().out
    assert "5 larvae, 4 unflagged, 2 families, 110 mm in all" in said
    assert "Not accepted yet: visit AAAA2222." in said
    assert said.endswith("Stored. The next step: desk ship plan --site amberwell\n")
