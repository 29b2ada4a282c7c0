"""Rounds of a drill: specimens to measure and name, surprises seen or not, feedback at once, entries for all of it."""

import pytest

from guide.drill.score import points_of

LARVA = ("y", "ok")


def verdicts(pair) -> list[tuple[str, str]]:
    return [(line.data["name"], line.data["verdict"]) for line in pair.session.read().lines if "verdict" in line.data]


def tell(pair, **wrong: str) -> list[str]:
    """Measures, names and tags the specimen in hand as it truly is, but for what is told otherwise."""
    specimen = pair.session.specimen(pair.name)
    told = {"mm": str(specimen.length_mm), "family": specimen.family, "tag": specimen.slip, **wrong}
    return pair.texts(told["mm"], told["family"], told["tag"], "ok")


def test_a_round_begins_where_the_drill_says_in_a_practice_visit(open_drill):
    pair = open_drill("first_larva", "hair")
    prompt, specimen = pair.begin()
    assert prompt.startswith("1 of 2. CLEAN: rinse")
    assert specimen.startswith("ON THE SPOON: head at ")
    assert pair.session.store.db.execute("SELECT practice, status FROM visit").fetchall() == [(1, "open")]
    pair.whole()


def test_a_slip_that_is_told_is_seen_and_the_reason_said_at_once(open_drill):
    pair = open_drill("first_larva", "hair")
    pair.begin()
    said = pair.text("y")
    while not said[-1].startswith("PRACTICE: CLEAN tucks hair"):
        pair.text("ok")
        tell(pair)
        said = pair.text("y")
    assert pair.texts("oops", "glove", "n")[-1].startswith("Good: Hair and skin")
    assert verdicts(pair) == [("hair", "good")]


def test_going_on_as_if_nothing_was_is_harmful(open_drill):
    pair = open_drill("thunder_on_the_bank", "thunder")
    pair.begin()
    while not pair.text("y")[-1].startswith("PRACTICE. Real danger? Call 112, text DANGER."):
        pair.text("ok")
        tell(pair)
    assert pair.text("ok")[-1].startswith("Careful: People first: DANGER at once")
    assert verdicts(pair) == [("thunder", "harmful")]


def test_thunder_with_a_bag_open_is_danger_at_once_and_the_clock_is_moved_on_aloud(open_drill):
    pair = open_drill("thunder_on_the_bank", "thunder")
    pair.begin()
    while not pair.text("y")[-1].startswith("PRACTICE. Real danger?"):
        pair.text("ok")
        tell(pair)
    assert any(text.startswith("Good: ") for text in pair.text("DANGER"))
    said = pair.texts("3", "3", "ok")
    assert any("At the water all of it is waited out" in text for text in said)
    assert any("30 minutes are over" in text for text in pair.text("ok", seconds=31))


def test_a_surprise_that_nothing_answers_is_missed(open_drill):
    pair = open_drill("first_larva", "spoon")
    pair.begin()
    while not pair.session.read().pairs["A"].rounds[0].surprises:
        pair.texts(*LARVA)
        tell(pair)
    for _ in range(8):
        pair.text("NOTE nice weather")
    assert verdicts(pair) == [("spoon", "missed")]


def test_a_question_of_its_own_is_asked_on_top_of_the_talk_and_the_talk_goes_on(open_drill):
    pair = open_drill("tags_and_bags", "reopen")
    pair.begin()
    while True:
        pair.texts(*LARVA)
        mm = pair.session.specimen("A").length_mm
        said = pair.text(str(mm))
        if "OPEN for a moment, or SHUT" in said[-1]:
            break
        pair.texts(pair.session.specimen("A").family, pair.session.specimen("A").slip, "ok")
    said = pair.text("shut")
    assert said[0].startswith(f"Got {mm} mm. DIRTY: family?")
    assert said[1].startswith("Good: Opened once")


def test_a_misprinted_slip_is_refused_and_the_next_one_taken(open_drill):
    pair = open_drill("tags_and_bags", "misprint")
    pair.begin()
    for _ in range(3):
        pair.texts(*LARVA)
        pair.text(str(pair.session.specimen("A").length_mm))
        said = pair.text(pair.session.specimen("A").family)
        if "is smudged, it reads" in said[-1]:
            break
        pair.texts(pair.session.specimen("A").slip, "ok")
    data = pair.session.read().pairs["A"].rounds[0].surprises[0].line.data
    assert sorted(data["bad"]) == sorted(pair.session.specimen("A").slip)
    assert data["bad"] != pair.session.specimen("A").slip
    assert verdicts(pair) == []
    pair.text(data["bad"])
    assert verdicts(pair) == []
    pair.texts(data["slip"], "ok")
    assert verdicts(pair) == [("misprint", "good")]
    assert all(point.right for point in points_of(pair.session.read()) if point.kind == "tag")


def test_a_length_a_family_and_a_tag_are_held_against_the_specimen(open_drill):
    pair = open_drill("first_larva")
    pair.begin()
    pair.texts(*LARVA)
    right = pair.session.specimen("A")
    tell(pair, mm=str(right.length_mm + 5), family="cruiser" if right.family != "Macromiidae" else "darner")
    pair.texts(*LARVA)
    tell(pair)
    points = {(p.kind, p.right) for p in points_of(pair.session.read())}
    assert points == {(kind, True) for kind in ("length", "family", "tag")} | {("length", False), ("family", False)}


def test_unsure_is_neither_right_nor_wrong(open_drill):
    pair = open_drill("first_larva")
    pair.begin()
    pair.texts(*LARVA)
    tell(pair, family="unsure")
    assert "family" not in [point.kind for point in points_of(pair.session.read())]


def test_a_fix_before_the_larva_is_on_ice_counts(open_drill):
    pair = open_drill("first_larva")
    pair.begin()
    pair.texts(*LARVA)
    specimen = pair.session.specimen("A")
    pair.texts(str(specimen.length_mm + 6), f"FIX {specimen.length_mm}", specimen.family, specimen.slip, "ok")
    assert all(point.right for point in points_of(pair.session.read()))


def test_an_ok_sooner_than_hands_can_do_it_is_a_step_left_out(open_drill):
    pair = open_drill("first_larva")
    pair.begin()
    pair.text("y")
    pair.text("ok", seconds=1)
    (point,) = points_of(pair.session.read())
    assert (point.kind, point.role, point.right) == ("step", "both", False)


def test_a_round_ends_after_its_larvae_and_the_visit_is_closed_without_a_clock(open_drill):
    pair = open_drill("first_larva", rounds=1)
    pair.begin()
    for _ in range(2):
        pair.texts(*LARVA)
        tell(pair)
    assert pair.kinds()[-2:] == ["round_ended", "drill_ended"]
    db = pair.session.store.db
    assert db.execute("SELECT status FROM visit").fetchall() == [("closed",)]
    assert db.execute("SELECT count(*) FROM timer WHERE fired_turn IS NULL").fetchone() == (0,)
    assert db.execute("SELECT count(*) FROM phone WHERE current_seat IS NOT NULL").fetchone() == (0,)
    pair.whole()


def test_new_out_of_a_drill_brings_the_pair_back_and_stays_practice(open_drill):
    pair = open_drill("home_and_freezer", rounds=2)
    pair.begin()
    pair.texts("3", "ok", "y", "0", "none", "none", "ok")
    pair.text("NEW")
    assert pair.session.read().lines[-1].data.get("why") == "left for a new visit"
    db = pair.session.store.db
    assert set(db.execute("SELECT practice, status FROM visit")) == {(1, "closed")}
    assert pair.begin()[0].startswith("ALL: out of the water")


@pytest.mark.parametrize("name", ["before_the_water", "brisk_hands", "tub_and_bleach", "storm_on_the_lake"])
def test_every_point_names_entries_that_are_in_the_log(open_drill, drills, name):
    from guide.drill.auto import play

    pair = open_drill(name, *(one.surprise.name for one in drills[name].coming), seed=3)
    play(pair.session, 0.3)
    refs = {
        ref
        for (ref,) in pair.session.store.db.execute(
            "SELECT uid || '/' || stream || '/' || seq FROM log JOIN origin ON origin.id = log.origin"
        )
    }
    points = points_of(pair.session.read())
    assert points
    assert {ref for point in points for ref in point.refs} <= refs
    pair.whole()
