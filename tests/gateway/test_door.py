"""Who is let in and how often: a phone's own measure, the one strangers share, and that no flood starves another."""

from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st

from guide.gateway import door as door_module
from guide.gateway.door import Door, DoorRules
from tests.conftest import START

PAIR, FLOOD = "+447700900401", "+447700900402"


def let_in(door, number, count, at=START, known=True):
    """How many of so many texts at once are worked."""
    return sum(door.lets_in(number, known, at) for _ in range(count))


def test_a_phone_is_let_in_up_to_its_measure_and_again_after_a_while():
    door = Door(DoorRules(texts_a_minute=40))
    assert let_in(door, PAIR, 60) == 40
    assert let_in(door, PAIR, 60, START + timedelta(seconds=30)) == 20
    assert let_in(door, PAIR, 60, START + timedelta(minutes=10)) == 40


def test_a_flood_from_one_phone_leaves_the_measure_of_another():
    door = Door()
    let_in(door, FLOOD, 10_000)
    assert door.lets_in(PAIR, True, START)


def test_strangers_share_a_measure_beside_their_own():
    door = Door(DoorRules(texts_a_minute=40, all_a_minute=100))
    assert sum(let_in(door, f"+4477009{n:05}", 40, known=False) for n in range(10)) == 100
    assert door.lets_in(PAIR, True, START)


def test_one_stranger_alone_never_uses_up_what_strangers_share():
    door = Door()
    let_in(door, FLOOD, 10_000, known=False)
    assert door.lets_in("+447700900403", False, START)


def test_a_phone_is_told_once_to_slow_down_and_again_only_after_quiet():
    door = Door(DoorRules(texts_a_minute=40))
    told = [door.says_slow(PAIR) for _ in range(100) if not door.lets_in(PAIR, True, START)]
    assert (told.count(True), len(told)) == (1, 60)
    let_in(door, PAIR, 100, START + timedelta(seconds=3))
    assert not door.says_slow(PAIR)
    let_in(door, PAIR, 100, START + timedelta(minutes=2))
    assert door.says_slow(PAIR)


def test_phones_that_were_quiet_are_forgotten_and_those_that_flood_are_not(monkeypatch):
    monkeypatch.setattr(door_module, "_MOST_KNOWN", 50)
    door = Door()
    for number in range(200):
        door.lets_in(f"+44770{number:07}", True, START)
    late = START + timedelta(seconds=61)
    let_in(door, FLOOD, 100, late)
    assert len(door._phones) < 50
    assert not door.lets_in(FLOOD, True, late)


def test_a_clock_that_goes_back_gives_no_more_and_no_less():
    door = Door(DoorRules(texts_a_minute=40))
    let_in(door, PAIR, 40)
    assert not door.lets_in(PAIR, True, START - timedelta(hours=1))
    assert let_in(door, PAIR, 100, START + timedelta(minutes=1)) == 40


TEXTS = st.lists(st.tuples(st.sampled_from([FLOOD, "+447700900404", PAIR]), st.floats(0, 20)), max_size=200)


@given(TEXTS, st.integers(1, 60))
def test_however_others_flood_a_phone_gets_what_it_would_have_got_alone(texts, most):
    together, alone = Door(DoorRules(texts_a_minute=most)), Door(DoorRules(texts_a_minute=most))
    at = START
    for number, after_s in texts:
        at += timedelta(seconds=after_s if number == PAIR else 0)
        worked = together.lets_in(number, True, at)
        if number == PAIR:
            assert worked == alone.lets_in(PAIR, True, at)


@given(st.lists(st.floats(0, 30), min_size=1, max_size=150), st.integers(1, 60))
def test_never_more_than_the_measure_and_what_time_gave(gaps, most):
    door, at, worked = Door(DoorRules(texts_a_minute=most)), START, 0
    for gap_s in gaps:
        at += timedelta(seconds=gap_s)
        worked += door.lets_in(PAIR, True, at)
    passed_s = (at - START).total_seconds()
    assert worked <= most + passed_s * most / 60 + 1e-6
    assert worked >= min(len(gaps), most)
