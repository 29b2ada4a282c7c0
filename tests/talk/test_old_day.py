"""A phone left in a visit that nobody closed is told which one it is."""

import pytest

STILL = "This is still pair A at Amberwell Pond, visit of Sat 04 Jul."


@pytest.mark.parametrize("words", ["hello", "NEW", "where"])
def test_a_text_days_later_is_told_which_visit_it_falls_into(pond, words):
    pond.until("larva.look")
    answer = pond.text(words, minutes=60 * 24 * 4)
    assert answer[0].startswith(STILL)
    assert "PACK" in answer[0]
    pond.text("pack")
    assert pond.step() == "close.out"
    assert not any("This is still" in text for text in pond.text("3"))


@pytest.mark.parametrize("minutes", [5, 60 * 19])
def test_a_text_of_the_same_day_or_soon_after_is_not(pond, minutes):
    pond.until("larva.look")
    assert not any("This is still" in text for text in pond.text("hello", minutes=minutes))


def test_a_danger_days_later_comes_first(pond):
    pond.until("larva.look")
    assert pond.text("danger", minutes=60 * 24 * 4)[0].startswith("ALL: out of the water now.")


def test_the_own_word_of_a_seat_tells_which_visit_it_is(pond):
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT join_word FROM seat")
    answer = pond.text(f"join {word}")
    assert answer[0].startswith("You hold this talk already: pair A at Amberwell Pond, visit of Sat 04 Jul.")
