"""Tags: a check digit that catches every wrong digit and every swap of neighbours, blocks of them, a lab's own list."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.tags import block, check_digit, is_valid, refuse_reason
from guide.flow.replies.kinds import KINDS
from tests.flow.reading import asked

DIGITS = st.text("0123456789", min_size=1, max_size=9)


@pytest.mark.parametrize(("digits", "check"), [("0142", "8"), ("0143", "1"), ("0144", "4"), ("572", "4"), ("0", "0")])
def test_a_check_digit_worked_by_hand(digits, check):
    assert check_digit(digits) == check
    assert is_valid(digits + check)


@pytest.mark.parametrize("code", ["01413", "01482", "1428 ", "", "0", "O1428", "٠١٤٢٨", "0142²", "-1428", "abc"])
def test_what_is_no_tag(code):
    assert not is_valid(code)


@given(DIGITS)
def test_every_wrong_digit_is_caught(digits):
    code = digits + check_digit(digits)
    for place, right in enumerate(code):
        for wrong in set("0123456789") - {right}:
            assert not is_valid(code[:place] + wrong + code[place + 1 :])


@given(DIGITS)
def test_every_swap_of_neighbours_is_caught(digits):
    code = digits + check_digit(digits)
    for place in range(len(code) - 1):
        swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
        assert swapped == code or not is_valid(swapped)


def test_a_block_counts_up_with_a_check_digit_each():
    assert block(142, 3, 5) == ["01428", "01431", "01444"]
    assert block(0, 2, 2) == ["00", "13"]
    assert block(5, 0, 5) == []


@pytest.mark.parametrize(("first", "count", "width"), [(0, 10_000, 5), (9_999, 1, 5), (0, 10, 2), (142, 250, 6)])
def test_a_block_that_fits_is_of_one_width_and_all_valid(first, count, width):
    codes = block(first, count, width)
    assert len(set(codes)) == count
    assert {len(code) for code in codes} == {width}
    assert all(map(is_valid, codes))


@pytest.mark.parametrize(
    ("first", "count", "width", "reason"),
    [
        (9_999, 2, 5, "tags 9999 to 10000 don't fit 5 digits with the check digit; 6 would do"),
        (0, 11, 2, "tags 0 to 10 don't fit 2 digits"),
        (-1, 2, 5, "nothing negative"),
        (0, -2, 5, "nothing negative"),
        (0, 1, 1, "two digits at least"),
    ],
)
def test_a_block_that_does_not_fit_says_why(first, count, width, reason):
    with pytest.raises(ValueError, match=reason):
        block(first, count, width)


# A lab's own list


@pytest.mark.parametrize("code", ["27", "27mm", "27 mm", "2.7", "8", "999", "2.7 cm", "'27'", "27-28"])
def test_a_code_that_reads_as_a_length_is_refused(code):
    assert "reads as a length" in refuse_reason(code)


@pytest.mark.parametrize("code", ["darner", "DARNER", "Aesh", "drner", "club", "unsure", "KEY", "skimmer."])
def test_a_code_that_reads_as_a_family_is_refused(code):
    assert "reads as a family" in refuse_reason(code)


def test_an_empty_code_is_refused():
    assert refuse_reason(" \x00") == "An empty code can't be a tag."


@pytest.mark.parametrize("code", ["01428", "00027", "TB-0142", "A17", "1428", "Q7X"])
def test_other_codes_may_be_tags(code):
    assert refuse_reason(code) is None


@given(st.text(max_size=12))
def test_a_code_that_is_let_through_is_never_taken_for_a_length_or_a_family(code):
    if refuse_reason(code) is None:
        assert not KINDS["length"].read(code, asked()).sure
        assert KINDS["family"].read(code, asked()).value is None
