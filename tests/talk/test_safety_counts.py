"""Counts that people's lives hang on: who may go in, who is out, and numbers that can't be."""

import pytest


def at_the_water(pond, people, minors):
    pond.until("arrive.people")
    pond.converse(str(people), str(minors))
    pond.until("safety.in_water")


@pytest.mark.parametrize(
    ("people", "minors", "most"), [(2, 1, 0), (3, 1, 0), (4, 1, 1), (5, 1, 2), (4, 2, 0), (7, 2, 2), (4, 0, 3)]
)
def test_each_child_keeps_an_adult_on_the_bank_and_one_more_adult_watches(pond, people, minors, most):
    at_the_water(pond, people, minors)
    (answer,) = pond.text(str(most + 1))
    assert f"At most {most} can go in" in answer
    assert pond.step() == "safety.too_many"
    pond.text(str(most))
    assert pond.step() == ("safety.floats" if most else "safety.bank")


@pytest.mark.parametrize(("start", "step"), [("pack", "close.out"), ("danger", "danger.out")])
def test_more_heads_than_came_are_asked_about_once(pond, start, step):
    pond.until("larva.look")
    pond.text(start)
    (answer,) = pond.text("7")
    assert answer.startswith("7? You were 3.")
    assert pond.step() == step
    pond.text("7")
    assert pond.step() == ("close.tally" if start == "pack" else "danger.what")


def test_more_heads_than_came_may_be_one_miscounted(pond):
    pond.until("larva.look")
    pond.converse("pack", "7", "2")
    assert pond.step() == "close.missing"
    (answer,) = pond.text("8")
    assert answer.startswith("8? You were 3.")


def test_more_at_home_than_came_are_asked_about(pond):
    pond.until("close.end")
    pond.wait(600)
    assert pond.step() == "close.home"
    assert pond.text("30")[0].startswith("30? You were 3.")


def test_more_floats_than_people_to_go_in_are_asked_about_once(pond):
    at_the_water(pond, 4, 0)
    pond.text("2")
    (answer,) = pond.text("12")
    assert answer.startswith("12? Only 2 to go in.")
    assert pond.step() == "safety.floats"
    pond.text("2")
    assert pond.step() == "safety.depth"


@pytest.mark.parametrize("said", ["101", "00101", "a hundred", "50 and 51"])
def test_no_visit_has_a_hundred_people(pond, said):
    pond.until("arrive.people")
    pond.text(said)
    pond.text("ok")
    assert pond.step() == "arrive.people"
    assert pond.rows("SELECT count(*) FROM log WHERE kind = 'answer' AND data LIKE '%people%'") == [(0,)]
