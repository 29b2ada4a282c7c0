"""Any interleaving of up to four phones in one visit keeps what must hold."""

import itertools
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

PHONES = ("+100", "+200", "+300", "+400")
RECORDS = itertools.count()
CARRY_ON = "carry on"
WORDS = (
    "ok", "y", "n", "27", "11", "70", "darner", "skimmer", "key", "unsure", "OOPS", "1", "3", "5", "6", "7", "DANGER",
    "BACK", "PAUSE", "GO", "WHERE", "FIX 26", "FIX skimmer", "FIX void", "FIX 01428 void torn", "FIX 01428 swap 01431",
    "FASTER", "SLOWER", "SWAP", "MOVE", "PACK", "MORE", "STOP", "START", "27 darner 01428", "01431", "01428",
    "27 darner 01444; 31 skimmer 01453; 9 darner 01466", "water", "NEW", "GEAR", "blub", "",
)  # fmt: skip
ACTIONS = st.tuples(
    st.integers(0, 3),
    st.one_of(st.just(CARRY_ON), st.just(CARRY_ON), st.sampled_from(WORDS)),
    st.sampled_from((0, 1, 40)),
)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(ACTIONS, min_size=5, max_size=80))
def test_any_interleaving_keeps_what_must_hold(open_field, actions):
    pond = open_field(f"{next(RECORDS)}.db")
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT word FROM visit")
    for phone in PHONES[1:]:
        pond.text(f"join {word}", phone, minutes=0)
        pond.until("larva.look", phone)
    for phone, words, minutes in actions:
        number = PHONES[phone]
        options = pond.last[number][-1].options
        pond.text((options[0] if options else "GO") if words == CARRY_ON else words, number, minutes)
    assert_holds(pond)


def assert_holds(pond) -> None:
    """What must hold after any texts."""
    live = pond.rows("SELECT tag, uid FROM sample WHERE status != 'void' AND tag IS NOT NULL ORDER BY tag")
    assert len({tag for tag, _ in live}) == len(live)
    assert pond.rows("SELECT code, sample FROM tag WHERE status = 'used' ORDER BY code") == live
    assert pond.rows("SELECT uid FROM sample WHERE outer_bagged_at < sealed_at") == []
    assert pond.rows("SELECT uid FROM sample WHERE outer_bagged_at IS NOT NULL AND sealed_at IS NULL") == []
    assert pond.rows("SELECT uid FROM sample WHERE gloves = 'yes' AND sealed_at IS NULL") == []
    assert pond.rows("SELECT uid FROM sample WHERE pace != 'coach' AND gloves = 'yes' AND kind = 'larva'") == []
    assert pond.rows("SELECT uid FROM sample WHERE status = 'kept' AND (tag IS NULL OR gloves IS NULL)") == []
    for visit, target in pond.rows("SELECT uid, target FROM visit"):
        kept = "SELECT count(*) FROM sample WHERE visit = ? AND status = 'kept' AND kind = 'larva' "
        over = kept + "AND uid IN (SELECT sample FROM sample_flag WHERE flag = 'over_target')"
        assert pond.rows(kept, visit)[0][0] - pond.rows(over, visit)[0][0] <= target + len(PHONES) - 1
    pond.whole()
    assert_tallies_agree(pond)


def assert_tallies_agree(pond) -> None:
    """Every phone of the first visit is told the same count."""
    ((first,),) = pond.rows("SELECT min(id) FROM visit")
    holders = pond.rows(
        "SELECT number FROM phone JOIN seat ON seat.id = phone.current_seat JOIN visit ON visit.uid = seat.visit "
        "WHERE visit.id = ? AND stopped_at IS NULL",
        first,
    )
    told = set()
    for (number,) in holders:
        said = pond.text("WHERE", number, minutes=0)
        told |= {found[0] for text in said if (found := re.search(r"\d+ of \d+ larvae", text))}
    assert len(told) <= 1


@pytest.mark.parametrize("phones", [2, 3, 4])
def test_pairs_in_turn_come_to_one_full_tally(pond, phones):
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT word FROM visit")
    for phone in PHONES[1:phones]:
        pond.text(f"join {word}", phone, minutes=0)
        pond.until("larva.look", phone)
    for turn in range(900):
        number = PHONES[turn % phones]
        options = pond.last[number][-1].options
        if options:
            pond.text(options[0], number, minutes=0)
        if pond.rows("SELECT status FROM visit") == [("closed",)]:
            break
    assert pond.rows("SELECT status FROM visit") == [("closed",)]
    assert 12 <= len(pond.rows("SELECT 1 FROM sample WHERE status = 'kept'")) <= 12 + phones - 1
    assert_holds(pond)
