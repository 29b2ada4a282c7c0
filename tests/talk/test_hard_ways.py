"""Odd ways through the talk that once led wrong: each stays mended."""

import pytest


@pytest.mark.parametrize(
    ("step", "words"),
    [("arrive.people", "1"), ("arrive.people", "45"), ("safety.depth", "3 m"), ("safety.temperature", "44 C")],
)
def test_an_odd_number_about_the_visit_is_kept_when_it_is_said_again(pond, step, words):
    pond.until(step)
    pond.text(words)
    assert pond.step() == step
    pond.text(words)
    assert pond.step() != step
    pond.whole()


def test_back_from_a_skipped_sample_finds_no_empty_question(pond):
    pond.until("larva.look")
    pond.converse("01402 27 darner; 01415 28", "skip", "back", "skip")
    assert pond.step() == "larva.look"
    pond.whole()


def test_back_out_of_a_bottle_never_makes_a_larva_water(pond):
    pond.until("net.spot")
    pond.converse("water", "ok", "back", "back", "ok", "y", "ok", "27", "darner", "01402", "ok")
    assert pond.rows("SELECT kind, status FROM sample ORDER BY rowid") == [("water", "void"), ("larva", "kept")]


def test_a_bottle_asked_for_and_taken_back_is_not_asked_for_twice(pond):
    pond.until("net.spot")
    pond.converse("water", "back", "water")
    assert pond.rows("SELECT json_extract(answers, '$.extra_water') FROM visit") == [(1,)]


def test_a_larva_made_void_by_another_pair_stays_void(pond):
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT word FROM visit")
    pond.text(f"join {word}", "+200")
    pond.converse("y", "ok", "27", "darner", "01402")
    pond.text("FIX 01402 void torn", "+200")
    assert "made void from another phone" in pond.text("ok")[0]
    assert pond.rows("SELECT status FROM sample") == [("void",)]
    assert pond.step() == "larva.look"
    pond.whole()


def test_its_own_tag_again_is_no_other_larvas(pond):
    pond.until("larva.tag")
    pond.converse("01402", "back", "01402", "ok")
    assert pond.rows("SELECT tag, status FROM sample") == [("01402", "kept")]
    pond.whole()


def test_in_steady_a_tag_told_at_once_is_not_asked_again(pond):
    pond.until("larva.pace")
    pond.converse("steady", "27 darner 01444")
    assert pond.step() == "larva.steady"
    assert pond.rows("SELECT status FROM sample WHERE tag = '01444'") == [("kept",)]


def test_a_visit_closed_over_a_pair_leaves_no_open_sample_and_no_alarm(pond):
    pond.until("larva.measure")
    ((word,),) = pond.rows("SELECT word FROM visit")
    pond.text(f"join {word} leader", "+300")
    pond.text("close", "+300")
    pond.until("close.end", "+300")
    pond.text("27")
    assert pond.rows("SELECT status, void_reason FROM sample") == [("void", "closed")]
    assert not any("not answered" in out.text for out in pond.wait(90))


def test_a_slip_answered_anew_is_one_slip(pond):
    pond.until("larva.bag")
    pond.converse("oops", "1", "y", "back", "n", "ok")
    assert pond.rows("SELECT what, touched, remedy FROM contamination") == [("GLOVE", "no", "renewed")]


def test_an_oops_taken_back_is_told_so(pond):
    pond.until("larva.bag")
    pond.converse("oops", "1", "back", "back")
    assert pond.step() == "larva.bag"
    assert pond.rows("SELECT remedy FROM contamination") == [("withdrawn",)]


def test_not_sure_what_happened_is_stored_as_not_sure(pond):
    pond.until("larva.bag")
    pond.converse("oops", "7", "ok")
    assert pond.rows("SELECT touched FROM contamination") == [("unsure",)]


def test_a_bag_without_a_tag_never_voids_the_one_named_before(pond):
    pond.until("larva.look")
    pond.converse("27 darner 01402", "oops", "6", "01402", "back", "new", "ok")
    assert pond.rows("SELECT tag, status FROM sample WHERE tag = '01402'") == [("01402", "kept")]


def test_stop_on_one_phone_still_alarms_the_others(pond):
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT word FROM visit")
    pond.text(f"join {word} leader", "+300")
    pond.text("stop")
    pond.wait(45)
    assert any("has not answered" in out.text for out in pond.last["+300"])


def test_a_rumble_while_paused_starts_the_clock_again(pond):
    pond.until("larva.look")
    pond.converse("danger", "3", "thunder", "ok", "pause")
    pond.wait(20)
    pond.text("rumble")
    assert pond.wait(25) == []


def test_a_damselfly_keyed_in_brisk_leaves_its_void(pond):
    pond.until("larva.pace")
    pond.converse("brisk", "key", "y", "ok")
    assert pond.rows("SELECT void_reason FROM sample WHERE status = 'void'") == [("damselfly",)]


def test_fix_without_a_tag_is_about_the_larva_kept_last(pond):
    pond.until("larva.outer")
    pond.converse("01431 31 skimmer; 01444 32 skimmer", "ok", "FIX 26")
    assert pond.rows("SELECT tag FROM sample WHERE length_mm = 26") == [("01402",)]


def test_a_drying_timer_frees_no_kit_that_went_to_another_water(open_field):
    from tests.talk.test_bottles_talk import KINDS, REGISTRY, TEXT, load_book

    text = TEXT.replace('disinfectant = "bleach"', 'disinfectant = "dry"', 1)
    pond = open_field(flow_book=load_book(text, REGISTRY, KINDS))
    pond.until("net.spot")
    pond.text("pack")
    pond.until("close.end")
    pond.converse("gear", "y", "ok", "ok", "NEW", "quill", "k1", "bittern")
    pond.until("net.spot")
    pond.wait(60 * 24 * 6)
    assert pond.rows("SELECT last_site, disinfected_entry FROM kit WHERE uid = 'K1'") == [("quill", None)]


def test_nobody_but_children_goes_no_further(pond):
    pond.until("arrive.minors")
    pond.text("3")
    assert pond.step() == "arrive.no_adult"


def test_danger_after_the_close_never_closes_twice(pond):
    pond.until("close.end")
    pond.converse("danger", "3", "6", "pack")
    assert pond.step() == "close.end"
    assert pond.rows("SELECT count(*) FROM log WHERE kind = 'visit_closed'") == [(1,)]
