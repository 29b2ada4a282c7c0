"""One larva in the coach pace: what is kept, and when."""

import pytest

SAMPLE = "SELECT tag, length_mm, family, sure, gloves, pace, status FROM sample ORDER BY rowid"


def test_a_larva_is_bagged_measured_named_and_tagged(pond):
    pond.until("larva.look")
    pond.converse("y", "ok", "27", "darner", "01428", "ok")
    assert pond.rows(SAMPLE) == [("01428", 27.0, "Aeshnidae", 1, "yes", "coach", "kept")]
    assert pond.step() == "larva.look"


def test_each_time_is_the_time_of_the_text_that_told_it(pond):
    pond.until("larva.look")
    pond.converse("y")
    opened = pond.now
    pond.converse("ok", "27", "darner", "01428", "ok")
    ((opened_at, sealed_at, outer_at, iced_at),) = pond.rows(
        "SELECT opened_at, sealed_at, outer_bagged_at, iced_at FROM sample"
    )
    assert opened_at == opened.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    assert opened_at < sealed_at < outer_at == iced_at


def test_a_short_larva_goes_back_and_opens_no_sample(pond):
    pond.until("larva.look")
    pond.converse("n", "n")
    assert pond.rows(SAMPLE) == []
    assert pond.step() == "larva.look"


def test_a_short_length_is_kept_and_flagged_while_larvae_are_wanted(pond):
    pond.until("larva.measure")
    pond.converse("11", "darner", "01428", "ok")
    assert pond.rows("SELECT length_mm, status, flag FROM sample JOIN sample_flag ON sample = uid") == [
        (11.0, "kept", "under_minimum")
    ]


def test_an_odd_length_is_questioned_once_then_kept_and_flagged(pond):
    pond.until("larva.measure")
    pond.text("70")
    assert pond.step() == "larva.measure"
    pond.text("70")
    assert pond.step() == "larva.name"
    assert pond.rows("SELECT length_mm, flag FROM sample JOIN sample_flag ON sample = uid") == [(70.0, "odd_length_mm")]


def test_another_number_after_an_odd_one_is_the_answer(pond):
    pond.until("larva.measure")
    pond.converse("270", "27")
    assert pond.rows("SELECT length_mm FROM sample") == [(27.0,)]
    assert pond.rows("SELECT * FROM sample_flag") == []


def test_centimetres_without_a_unit_are_asked_and_taken_on_a_yes(pond):
    pond.until("larva.measure")
    pond.converse("2.7", "y")
    assert pond.rows("SELECT length_mm FROM sample") == [(27.0,)]


@pytest.mark.parametrize(
    ("tag", "sentence"),
    [
        ("01429", "digit"),
        ("99992", "not one of our tags"),
        ("01402", "on another sample already"),
        ("01415", "is void"),
    ],
)
def test_a_wrong_an_unknown_a_used_and_a_void_tag_have_a_sentence_each(pond, tag, sentence):
    pond.until("larva.tag")
    pond.converse("01402", "ok", "y", "ok", "27", "darner", "01415", "FIX void", "y", "ok", "27", "darner")
    assert pond.step() == "larva.tag"
    assert sentence in pond.text(tag)[0]
    assert pond.step() == "larva.tag"


def test_an_unclear_reply_changes_nothing_and_shows_an_example(pond):
    pond.until("larva.measure")
    before = pond.rows("SELECT count(*) FROM log")
    (answer,) = pond.text("blorp")
    assert "blorp" in answer
    assert "27" in answer
    assert pond.rows("SELECT count(*) FROM log") == before
    assert pond.step() == "larva.measure"


def test_after_three_unclear_replies_the_words_may_go_to_the_desk(pond):
    pond.until("larva.measure")
    pond.converse("blorp", "blip")
    assert "DESK" in pond.text("blub blub")[0]
    pond.text("DESK")
    assert pond.rows("SELECT kind, text FROM log JOIN words ON entry = log.id") == [
        ("answer", "sunny still clear weed silt"),
        ("desk_question", "blub blub"),
    ]


def test_a_text_that_comes_again_on_the_next_step_is_known(pond):
    pond.until("larva.measure")
    pond.text("27")
    assert pond.text("27")[0].startswith("Got 27 mm already.")
    assert pond.step() == "larva.name"


def test_a_reaction_counts_only_if_it_quotes_the_prompt(pond):
    prompt = pond.until("larva.bag")[0]
    pond.text("Liked “Are you well?”")
    assert pond.step() == "larva.bag"
    pond.text(f"Liked “{prompt}”")
    assert pond.step() == "larva.measure"


def test_on_a_lossy_channel_a_repeated_ok_is_read_back_once(open_field):
    pond = open_field(lossy=True)
    pond.until("larva.bag")
    pond.exchange.lossy = True
    pond.until("larva.outer")
    pond.text("ok")
    pond.text("y")
    assert pond.step() == "larva.bag"
    pond.text("ok")
    assert pond.step() == "larva.measure"


def test_the_last_larva_leads_to_closing(pond):
    pond.until("close.out")
    assert pond.rows("SELECT count(*) FROM sample WHERE status = 'kept'") == [(12,)]
    assert "All larvae found!" in pond.last["+100"][-1].text


def test_the_key_names_a_larva_and_stores_how_sure_it_is(pond):
    pond.until("larva.name")
    pond.converse("key", "n", "flat", "thin", "n")
    assert pond.step() == "larva.tag"
    assert pond.rows("SELECT family, sure FROM sample") == [("Aeshnidae", 0)]


def test_a_damselfly_in_a_sealed_bag_is_void(pond):
    pond.until("larva.name")
    pond.converse("key", "y", "ok")
    assert pond.rows("SELECT status, void_reason FROM sample") == [("void", "damselfly")]
    assert pond.step() == "larva.look"


def test_a_whole_visit_verifies(pond):
    pond.until("close.end")
    pond.whole()
