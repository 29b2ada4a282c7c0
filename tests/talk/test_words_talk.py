"""The words that work at any step, pace, several samples in one text, FIX, phones that change."""

import pytest

from guide.talk.sms import segments

SAMPLES = "SELECT tag, length_mm, family FROM sample WHERE status = 'kept' ORDER BY tag"


def test_why_explains_and_says_how_to_answer(pond):
    pond.until("larva.measure")
    (answer,) = pond.text("?")
    assert "Length tells the age" in answer
    assert pond.step() == "larva.measure"


def test_back_asks_again_and_the_new_answer_takes_the_place_of_the_old(pond):
    pond.until("larva.tag")
    pond.converse("back", "back", "26", "skimmer")
    assert pond.rows("SELECT length_mm, family FROM sample") == [(26.0, "Libellulidae")]
    assert pond.rows("SELECT count(*) FROM log WHERE sample_uid IS NOT NULL AND supersedes IS NOT NULL") == [(2,)]
    pond.whole()


def test_back_drops_the_flag_of_the_answer_it_replaces(pond):
    pond.until("larva.measure")
    pond.converse("11", "back", "26")
    assert pond.rows("SELECT * FROM sample_flag") == []
    pond.whole()


def test_back_never_reaches_past_the_seal_and_names_fix(pond):
    pond.until("larva.measure")
    assert "FIX" in pond.text("back")[0]
    assert pond.step() == "larva.measure"


def test_back_never_reaches_past_the_safety_gate(pond):
    pond.until("kit.short")
    assert "FIX" in pond.text("back")[0]
    assert pond.step() == "kit.short"


def test_pause_holds_everything_until_go(pond):
    pond.until("larva.bag")
    pond.converse("pause", "ok")
    assert pond.step() == "larva.bag"
    pond.text("go")
    pond.text("ok")
    assert pond.step() == "larva.measure"


def test_where_tells_site_and_count_and_asks_again(pond):
    pond.until("larva.bag")
    where, prompt = pond.text("where")
    assert where == "Amberwell Pond, pair A, pace coach. 0 of 12 larvae: none yet."
    assert prompt.startswith("BOTH: read all")


def test_note_keeps_the_words_apart_from_the_log(pond):
    pond.until("larva.bag")
    pond.text("NOTE cut my glove, new one on")
    ((data, text),) = pond.rows("SELECT data, text FROM log JOIN words ON entry = log.id WHERE kind = 'note'")
    assert text == "cut my glove, new one on"
    assert "glove" not in data


@pytest.mark.parametrize("word", ["STOP", "stop", "Quit", "END", "cancel", "Unsubscribe"])
def test_stop_is_confirmed_once_and_then_there_is_silence(pond, word):
    pond.until("larva.bag")
    assert len(pond.text(word)) == 1
    assert pond.text("ok") == []
    assert pond.text(word) == []
    assert pond.wait(120) == []
    answers = pond.text("START")
    assert answers[0] == "You get texts again."
    assert answers[1].startswith("BOTH: read all")


def test_who_stops_with_people_in_the_water_hears_that_nobody_asks_any_more(pond):
    assert pond.until("arrive.look")
    assert pond.text("END") == ["You get no more texts from this guide. START brings them back. In danger call 112."]
    pond.text("START")
    pond.until("larva.look")
    assert "nor ask if you are well" in pond.text("END")[0]


def test_a_lost_phone_is_told_how_another_goes_on(pond):
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT join_word FROM seat")
    assert f"JOIN {word.upper()}" in pond.text("I lost my phone")[0]


def test_yes_is_never_start(pond):
    pond.until("larva.bag")
    pond.text("stop")
    assert pond.text("yes") == []


def test_help_keeps_the_carriers_meaning(pond):
    pond.until("larva.bag")
    assert "STOP ends texts" in pond.text("HELP")[0]
    assert pond.step() == "larva.bag"


def test_join_moves_the_seat_to_another_phone(pond):
    pond.until("larva.measure")
    ((word,),) = pond.rows("SELECT join_word FROM seat")
    answers = pond.text(f"join {word.upper()}.", "+200")
    assert answers[0].startswith("You hold pair A at Amberwell Pond now.")
    assert pond.step("+200") == "larva.measure"
    assert "moved to another phone" in pond.last["+100"][-1].text
    pond.text("27", "+200")
    assert pond.rows("SELECT length_mm FROM sample") == [(27.0,)]


def test_an_unknown_join_word_is_said_and_opens_nothing(pond):
    pond.text("join nowhere1", "+200")
    assert pond.rows("SELECT count(*) FROM visit") == [(0,)]


def test_shorter_talk_is_offered_after_three_clean_larvae(pond):
    prompt = pond.until("larva.pace")[0]
    assert prompt.startswith("3 clean larvae")
    pond.text("steady")
    assert pond.step() == "larva.steady"


def test_faster_waits_for_three_clean_larvae(pond):
    pond.until("larva.bag")
    assert "3 clean larvae first, 0 so far" in pond.text("faster")[0]


def test_a_change_of_pace_acts_from_the_next_larva(pond):
    pond.until("larva.pace")
    pond.text("coach")
    pond.until("larva.measure")
    pond.text("faster")
    assert pond.step() == "larva.measure"
    pond.converse("27", "darner", "01477", "ok")
    assert pond.step() == "larva.steady"


def test_what_was_not_asked_is_stored_as_not_asked(pond):
    pond.until("larva.pace")
    pond.converse("brisk", "01444 27 darner")
    row = pond.rows("SELECT gloves, pace, opened_at, sealed_at, iced_at FROM sample WHERE tag = '01444'")
    assert row == [("not asked", "brisk", None, None, None)]


def test_several_samples_in_one_text_keep_the_good_ones_and_ask_the_others_singly(pond):
    pond.until("larva.pace")
    pond.text("brisk")
    before = len(pond.rows(SAMPLES))
    (answer,) = pond.text("01453 27 darner; 01413 31 skimmer; 31 clubtail 01466")
    assert answer.startswith("Kept 2")
    assert "01413" in answer
    assert pond.step() == "larva.mend"
    (answer,) = pond.text("31 skimmer 01477")
    assert answer.startswith("Got 01477: 31 mm skimmer.")
    assert len(pond.rows(SAMPLES)) == before + 3
    pond.whole()


def test_several_samples_are_understood_in_the_coach_pace_too(pond):
    pond.until("larva.look")
    pond.text("27 darner 01428\n31 skimmer 01431")
    assert pond.rows(SAMPLES) == [("01428", 27.0, "Aeshnidae"), ("01431", 31.0, "Libellulidae")]


def test_a_sample_told_in_two_texts_is_joined(pond):
    pond.until("larva.pace")
    pond.text("brisk")
    assert "and the tag?" in pond.text("28 skimmer")[0]
    (answer,) = pond.text("01444")
    assert answer.startswith("Got 01444: 28 mm skimmer.")


def test_the_same_sample_again_is_known(pond):
    pond.until("larva.look")
    pond.text("27 darner 01428")
    assert "Have 01428 already" in pond.text("27 darner 01428; 27 darner 01428")[0]
    assert len(pond.rows(SAMPLES)) == 1


@pytest.mark.parametrize(
    ("fix", "sample"),
    [
        ("FIX 26", ("01428", 26.0, "Aeshnidae")),
        ("fix skimmer", ("01428", 27.0, "Libellulidae")),
        ("FIX 01431", ("01431", 27.0, "Aeshnidae")),
        ("FIX 01428 length 26", ("01428", 26.0, "Aeshnidae")),
        ("Fix 01428: family skimmer", ("01428", 27.0, "Libellulidae")),
        ("FIX 01428 tag 01444", ("01444", 27.0, "Aeshnidae")),
    ],
)
def test_fix_puts_a_wrong_answer_right_and_says_it_back(pond, fix, sample):
    pond.until("larva.tag")
    pond.converse("01428", "ok")
    assert pond.text(fix)[0].startswith("Fixed:")
    assert pond.rows(SAMPLES) == [sample]
    assert pond.rows("SELECT code FROM tag WHERE status = 'used'") == [(sample[0],)]
    pond.whole()


def test_fix_void_takes_a_larva_out_and_its_tag_with_it(pond):
    pond.until("larva.tag")
    pond.converse("01428", "ok", "FIX 01428 void torn bag")
    assert pond.rows(SAMPLES) == []
    assert pond.rows("SELECT status FROM tag WHERE code = '01428'") == [("void",)]


def test_fix_swap_changes_two_tags_with_each_other(pond):
    pond.until("larva.look")
    pond.converse("27 darner 01428", "31 skimmer 01431", "FIX 01428 swap 01431")
    assert pond.rows(SAMPLES) == [("01428", 31.0, "Libellulidae"), ("01431", 27.0, "Aeshnidae")]
    pond.whole()


def test_after_close_fix_goes_to_the_desk(pond):
    pond.until("close.end")
    assert "coordinator" in pond.text("FIX 01402 length 26")[0]
    assert pond.rows("SELECT count(*) FROM sample WHERE length_mm = 26") == [(0,)]


def test_silence_with_people_in_the_water_is_asked_about(pond):
    pond.until("larva.bag")
    (check_in,) = pond.wait(31)
    assert "no rescue service" in check_in.text
    pond.text("go")
    assert pond.rows("SELECT kind FROM timer WHERE fired_turn IS NULL AND kind LIKE 'check%'") == [("check_in",)]


def test_on_the_bank_nobody_is_asked_about(pond):
    pond.until("safety.in_water")
    pond.converse("0", "ok")
    pond.until("larva.bag")
    assert pond.wait(60) == []


def test_all_home_is_asked_later_and_an_unanswered_one_is_an_alarm(pond):
    pond.until("close.end")
    asked, alarm = pond.wait(135)
    assert asked.step == "close.home"
    assert "112" in alarm.text
    assert pond.rows("SELECT count(*) FROM log WHERE kind = 'alarm'") == [(1,)]
    assert "Everybody home" in pond.text("3")[0]


def test_a_first_text_that_names_the_site_is_its_answer(pond):
    pond.text("quill brook")
    assert pond.step() == "arrive.kit"
    assert pond.rows("SELECT site FROM visit") == [("quill",)]


def test_a_returning_phone_comes_sooner_to_its_first_larva(pond):
    pond.until("close.end")
    before = len(pond.rows("SELECT id FROM turn"))
    pond.text("amberwell")
    for _ in range(20):
        if pond.step() == "larva.pace":
            break
        pond.text(pond.last["+100"][-1].options[0])
    assert len(pond.rows("SELECT id FROM turn")) - before <= 10


def test_a_question_mark_shows_an_example_and_the_answers_beside_it(pond):
    pond.until("arrive.look")
    assert pond.text("?")[0].endswith("Answer: like sunny still clear weed silt.")
    pond.until("larva.look")
    assert pond.text("?")[0].endswith("Answer: Y or N, or MOVE, PACK.")


def test_what_was_seen_is_said_back_and_a_bare_ok_is_asked(pond):
    pond.until("arrive.look")
    assert pond.text("ok") == ["'ok': is that all? Text it again to keep it, or answer in your own words. ? tells how."]
    assert pond.step() == "arrive.look"
    assert pond.text("misty, calm, brown")[0].startswith("Noted: misty, calm, brown. BOTH: how many people")


def test_a_bare_ok_told_twice_is_kept(pond):
    pond.until("arrive.look")
    pond.converse("ok", "ok")
    assert pond.rows("SELECT text FROM words") == [("ok",)]
    assert pond.step() == "arrive.people"


def test_long_words_are_said_back_in_part(pond):
    pond.until("arrive.look")
    assert pond.text("mist over still water " * 30)[0].startswith("Noted: mist over still water")
    assert " and more. BOTH: how many" in pond.last["+100"][-1].text


@pytest.mark.parametrize(("family", "other"), [("skimmer", "DARNER"), ("darner", "SKIMMER"), ("unsure", "SKIMMER")])
def test_the_example_of_a_fix_is_never_what_was_just_told(pond, family, other):
    pond.until("larva.measure")
    assert "FIX 30" in pond.text("31")[0]
    assert pond.text(family)[0].endswith(f"FIX {other}")


def test_a_fix_to_what_it_is_already_says_so_and_writes_nothing(pond):
    pond.until("larva.measure")
    pond.converse("31", "darner")
    assert pond.text("FIX darner")[0].startswith("this larva is darner already.")
    assert pond.rows("SELECT count(*) FROM log WHERE kind = 'fix'") == [(0,)]


def test_a_larva_too_short_is_put_back_alive(pond):
    pond.until("larva.look")
    assert pond.text("n")[0].startswith("CLEAN: put it back alive. 1 of 12.")


def test_at_rest_the_words_that_go_on_are_named(pond):
    pond.until("close.end")
    assert pond.text("hm")[0].startswith("Nothing is asked now. Text one of NEW, PLAN, GEAR, FREEZE.")
    assert "one of NEW, PLAN, GEAR, FREEZE" in pond.text("?")[0]


def test_who_practises_without_slips_is_told_a_free_tag(pond):
    pond.until("larva.tag")
    assert pond.text("?")[0].endswith("Practice without slips? 01402 is free.")
    assert segments(pond.last["+100"][-1].text) <= 2
