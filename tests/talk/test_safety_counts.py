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
