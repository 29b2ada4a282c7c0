"""Slips of one visit against the usual, by an exact test on counts."""

from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.slip_rate import slip_rate, upper_tail


def test_fishers_tea_has_one_chance_in_seventy():
    """The lady who names all four cups out of eight (Fisher 1935, chapter II)."""
    assert upper_tail(4, 4, 4, 8) == Fraction(1, 70)
    assert upper_tail(3, 4, 4, 8) == Fraction(17, 70)


@given(st.integers(1, 8), st.integers(0, 8), st.integers(0, 8), st.data())
def test_the_tail_is_the_share_of_all_draws_with_as_many(samples, more, slips, data):
    everything = samples + more
    slips = min(slips, everything)
    seen = data.draw(st.integers(0, min(samples, slips)))
    draws = list(combinations(range(everything), samples))
    as_many = sum(sum(one < slips for one in draw) >= seen for draw in draws)
    assert upper_tail(seen, samples, slips, everything) == Fraction(as_many, len(draws))


def test_many_slips_where_few_are_usual_are_unusual():
    rate = slip_rate(5, 12, 3, 100)
    assert rate.p is not None
    assert 0.0001 < rate.p < 0.001
    assert rate.unusual


def test_as_many_as_usual_are_not():
    assert not slip_rate(1, 12, 8, 100).unusual
    assert slip_rate(0, 12, 8, 100).p == 1


def test_nothing_is_usual_before_twenty_samples_of_others():
    assert slip_rate(12, 12, 0, 19).p is None
    assert not slip_rate(12, 12, 0, 19).unusual
    assert slip_rate(12, 12, 0, 20).unusual


@pytest.mark.parametrize("counts", [(2, 1, 0, 20), (-1, 1, 0, 20), (0, 1, 21, 20)])
def test_counts_that_cant_be_are_refused(counts):
    with pytest.raises(ValueError, match="can't be counts"):
        slip_rate(*counts)
