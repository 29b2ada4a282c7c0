"""OOPS and DANGER: every answer, its way back, and what the record keeps."""

import pytest

LARVA_STEPS = ("larva.look", "larva.bag", "larva.measure", "larva.name", "larva.tag", "larva.outer")
SEALED = LARVA_STEPS[2:]
SLIPS = "SELECT what, touched, remedy FROM contamination"
SAMPLE = "SELECT status, void_reason FROM sample"


@pytest.mark.parametrize("step", LARVA_STEPS)
@pytest.mark.parametrize("answer", ["1", "2", "3", "4", "5", "6", "7"])
def test_every_slip_from_every_step_comes_back_and_leaves_its_event(pond, step, answer):
    pond.until(step)
    pond.converse("OOPS", answer)
    for _ in range(5):
        if not pond.step().startswith("oops."):
            break
        pond.text(pond.last["+100"][-1].options[0])
    assert pond.step().startswith("larva.")
    ((_, touched, remedy),) = pond.rows(SLIPS)
    assert remedy is not None
    assert touched is not None
    pond.until("close.end")
    pond.whole()


def test_a_glove_that_touched_nothing_after_is_renewed_and_the_same_step_comes_again(pond):
    pond.until("larva.bag")
    pond.converse("oops", "1", "n", "ok")
    assert pond.step() == "larva.bag"
    assert pond.rows(SLIPS) == [("GLOVE", "no", "renewed")]


def test_not_sure_counts_as_touched_and_starts_again_with_a_new_bag(pond):
    pond.until("larva.bag")
    pond.converse("oops", "spoon", "unsure", "ok")
    assert pond.step() == "larva.bag"
    assert pond.rows(SLIPS) == [("SPOON", "unsure", "new_bag")]
    assert pond.rows("SELECT flag FROM sample_flag") == [("rinsed_after_touch",)]


@pytest.mark.parametrize("step", SEALED)
@pytest.mark.parametrize("answer", ["3", "6", "7"])
def test_after_the_seal_a_touched_or_opened_bag_is_void(pond, step, answer):
    pond.until(step)
    pond.converse("oops", answer, "ok")
    assert pond.rows(SAMPLE) == [("void", "slip")]
    assert pond.step() == "larva.look"


@pytest.mark.parametrize("step", SEALED)
def test_a_torn_dry_bag_gets_a_third_bag_and_a_flag(pond, step):
    pond.until(step)
    pond.converse("oops", "5", "dry", "ok")
    assert pond.step() == step
    assert pond.rows("SELECT flag FROM sample_flag") == [("third_bag",)]


def test_a_bag_with_water_in_it_is_void_and_so_is_its_tag(pond):
    pond.until("larva.outer")
    pond.converse("oops", "torn", "wet", "ok")
    assert pond.rows(SAMPLE) == [("void", "slip")]
    assert pond.rows("SELECT status FROM tag WHERE sample IS NOT NULL") == [("void",)]


def test_a_larva_that_fell_in_the_tray_is_no_slip(pond):
    pond.until("larva.bag")
    pond.converse("oops", "dropped", "tray")
    assert pond.step() == "larva.look"
    assert pond.rows(SLIPS) == [("DROPPED", "no", "no_slip")]


def test_a_larva_that_fell_on_the_ground_is_let_go(pond):
    pond.until("larva.bag")
    pond.converse("oops", "dropped", "ground", "ok")
    assert pond.rows(SAMPLE) == [("void", "dropped")]


def test_words_behind_oops_that_say_what_happened_are_the_answer(pond):
    pond.until("larva.bag")
    pond.text("OOPS glove")
    assert pond.step() == "oops.touched"


def test_oops_inside_oops_adds_an_event_and_no_frame(pond):
    pond.until("larva.bag")
    pond.converse("oops", "1", "oops", "2", "n", "ok")
    assert pond.rows(SLIPS) == [("GLOVE", "no", "renewed"), ("SPOON", "no", "renewed")]
    assert pond.step() == "larva.bag"


def test_in_brisk_a_torn_bag_is_found_by_its_tag(pond):
    pond.until("larva.pace")
    pond.converse("brisk", "27 darner 01444", "oops", "torn", "01444", "wet", "ok")
    assert pond.rows("SELECT tag, status FROM sample WHERE status = 'void'") == [("01444", "void")]
    assert pond.step() == "larva.brisk"


def test_a_slip_does_not_change_the_pace(pond):
    pond.until("larva.pace")
    pond.converse("brisk", "oops", "1", "n", "ok")
    assert pond.step() == "larva.brisk"


def test_danger_voids_the_open_bag_and_counts_people(pond):
    pond.until("larva.bag")
    pond.converse("DANGER", "2")
    assert pond.step() == "danger.missing"
    pond.text("3")
    assert pond.rows(SAMPLE) == [("void", "danger")]
    assert pond.step() == "danger.what"


def test_danger_after_the_seal_keeps_the_larva(pond):
    pond.until("larva.measure")
    pond.converse("danger", "3", "hurt", "ok", "stay")
    assert pond.step() == "larva.measure"
    assert pond.rows("SELECT status FROM sample") == [("open",)]


def test_thunder_waits_thirty_minutes_and_each_rumble_starts_them_again(pond):
    pond.until("larva.bag")
    pond.converse("danger", "3", "thunder", "ok")
    pond.wait(20)
    pond.text("rumble")
    assert pond.text("over")[0].startswith("Not yet: 29 minutes")
    assert [out.step for out in pond.wait(27)] == []
    assert [out.step for out in pond.wait(2)] == ["storm.clear"]
    pond.converse("n", "stay")
    assert pond.step() == "larva.look"
    pond.whole()


def test_pause_does_not_stop_the_thunder_clock(pond):
    pond.until("net.spot")
    pond.converse("danger", "3", "thunder", "ok", "pause")
    assert [out.step for out in pond.wait(31)] == ["storm.clear"]


def test_told_to_leave_closes_what_there_is(pond):
    pond.until("larva.measure")
    pond.converse("danger", "3", "told to leave", "ok")
    assert pond.step() == "close.out"
    assert pond.rows(SAMPLE) == [("void", "danger")]


def test_danger_by_mistake_ends_with_a_head_count_not_with_back(pond):
    pond.until("larva.measure")
    assert "people first" in pond.converse("danger", "back")[0]
    assert pond.step() == "danger.out"
    pond.converse("3", "false alarm", "stay")
    assert pond.step() == "larva.measure"


@pytest.mark.parametrize("backs", [1, 2, 3])
def test_back_never_ends_the_shelter_from_thunder(pond, backs):
    pond.until("safety.thunder")
    pond.converse("y", "ok", *["back"] * backs)
    assert pond.step().startswith("storm.")


@pytest.mark.parametrize("words", ["thunder", "I fell in!", "help me", "someone is hurt", "he is bleeding"])
def test_words_for_trouble_open_danger_without_the_word(pond, words):
    pond.until("larva.look")
    pond.text(words)
    assert pond.step() == "danger.out"


def test_words_for_trouble_in_a_remark_are_a_remark(pond):
    pond.until("close.remarks")
    pond.text("thunder far away, nobody hurt")
    assert pond.step() == "close.trash"


@pytest.mark.parametrize("step", ["arrive.kit", "safety.depth", "kit.short", "roles.who", "net.spot", "close.ice"])
def test_danger_and_oops_work_outside_of_larvae_too(pond, step):
    pond.until(step)
    pond.converse("oops", "1", "n", "ok")
    assert pond.step() == step
    pond.converse("danger", "3", "6", "stay")
    assert pond.step() == step


@pytest.mark.parametrize(
    "words",
    ["someone is not moving", "my friend is missing", "stuck in mud", "can't get out", "heart attack", "112",
     "bleach in my eye", "he is not breathing", "a man collapsed", "bee sting"],
)  # fmt: skip
def test_what_people_text_when_something_is_badly_wrong_opens_danger(pond, words):
    pond.until("larva.look")
    pond.text(words)
    assert pond.step() == "danger.out"


def test_trouble_told_where_free_words_are_asked_is_kept_and_danger_is_named(pond):
    pond.until("arrive.look")
    assert "Call 112, then text DANGER." in pond.text("a man collapsed")[0]


def test_a_sentence_that_cant_be_read_is_told_of_danger(pond):
    pond.until("larva.look")
    assert "then text DANGER" in pond.text("he does look so very pale")[0]
    assert "DANGER" not in pond.text("big one")[0]


@pytest.mark.parametrize("word", ["OOPS", "OOPS spoon fell", "SWAP"])
def test_in_danger_heads_come_before_slips_and_places(pond, word):
    pond.until("larva.look")
    pond.converse("danger", "0")
    assert pond.text(word)[0].startswith("People first: answer this one")
    assert pond.step() == "danger.missing"
    pond.converse("3", "thunder")
    assert pond.text(word)[0].startswith("People first")
    assert pond.step() == "storm.shelter"


def test_a_slip_told_in_a_sentence_is_shown_the_way_to_oops(pond):
    pond.until("larva.measure")
    (answer,) = pond.text("the bag touched my hair")
    assert "OOPS and your words" in answer
    assert pond.step() == "larva.measure"


def test_the_words_behind_oops_are_kept_whether_or_not_they_say_what_it_was(pond):
    pond.until("larva.measure")
    pond.text("OOPS the bag touched my hair")
    assert pond.step() == "oops.what"
    assert pond.rows("SELECT text FROM log JOIN words ON entry = log.id WHERE kind = 'note'") == [
        ("the bag touched my hair",)
    ]


def test_a_bare_digit_is_no_look_around(pond):
    pond.until("arrive.look")
    pond.text("4")
    assert pond.step() == "arrive.look"
    pond.text("4")
    assert pond.step() == "arrive.people"


def test_who_names_a_damselfly_is_told_the_short_way_to_let_go_of_it(pond):
    pond.until("larva.name")
    (answer,) = pond.text("damselfly")
    assert "KEY, then Y" in answer
    pond.converse("key", "y", "ok")
    assert pond.step() == "larva.look"
    assert pond.rows("SELECT status FROM sample") == [("void",)]
