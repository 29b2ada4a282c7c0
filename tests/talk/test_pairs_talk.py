"""Several pairs and a leader in one visit: one target, one tag pool, one tally."""

import pytest


def visit_word(pond) -> str:
    ((word,),) = pond.rows("SELECT word FROM visit")
    return word


@pytest.fixture
def two_pairs(pond):
    """Pair A at its first larva, pair B too."""
    pond.until("larva.look")
    pond.text(f"join {visit_word(pond)}", "+200")
    pond.until("larva.look", "+200")
    return pond


def test_with_many_people_the_word_for_more_pairs_is_said(pond):
    pond.until("arrive.people")
    assert any(visit_word(pond).upper() in text for text in pond.text("6"))


def test_a_second_pair_waits_until_the_safety_questions_are_answered(pond):
    pond.until("safety.thunder")
    pond.text(f"join {visit_word(pond)}", "+200")
    assert pond.step("+200") == "pairs.wait"
    pond.text("ok", "+200")
    assert pond.step("+200") == "pairs.wait"
    pond.until("kit.short")
    assert "safety questions are answered" in pond.last["+200"][-1].text
    pond.text("ok", "+200")
    assert pond.step("+200") == "roles.who"


def test_pairs_share_one_count(two_pairs):
    two_pairs.converse("y", "ok", "27", "darner", "01428", "ok")
    (answer,) = two_pairs.converse("y", "ok", "31", "skimmer", "01431", "ok", number="+200")
    assert answer.startswith("3 of 12.")
    assert two_pairs.rows("SELECT tag, seat FROM sample ORDER BY tag") == [("01428", "A"), ("01431", "B")]


def test_two_pairs_that_text_the_same_tag_one_gets_it_the_other_is_told(two_pairs):
    two_pairs.converse("y", "ok", "27", "darner")
    two_pairs.converse("y", "ok", "31", "skimmer", number="+200")
    two_pairs.text("01428", minutes=0)
    assert "on another sample already" in two_pairs.text("01428", "+200", minutes=0)[0]
    assert two_pairs.step("+200") == "larva.tag"


def test_at_the_last_larva_every_pair_is_told(two_pairs):
    words = "; ".join(f"27 darner {tag}" for (tag,) in two_pairs.rows("SELECT code FROM tag LIMIT 12"))
    two_pairs.text(words)
    assert "that was the last one" in two_pairs.last["+200"][-1].text
    two_pairs.text("y", "+200")
    assert two_pairs.step("+200") == "pairs.pack"


def test_the_last_pair_closes_for_all(two_pairs):
    two_pairs.text("27 darner 01428; 29 darner 01431", "+200")
    two_pairs.converse("pack", "2", "ok", number="+200")
    assert two_pairs.step("+200") == "pairs.done"
    assert "pair B has packed, 2 larvae" in two_pairs.last["+100"][-1].text
    two_pairs.text("pack")
    assert two_pairs.step() == "close.out"
    two_pairs.until("close.end")
    assert two_pairs.rows("SELECT status FROM visit") == [("closed",)]
    two_pairs.whole()


def test_a_pair_that_packed_may_go_on(two_pairs):
    two_pairs.converse("pack", "0", "ok", "more", number="+200")
    assert two_pairs.step("+200") == "net.spot"


def test_a_leader_asks_the_safety_questions_and_closes(pond):
    pond.until("arrive.minors")
    pond.text(f"JOIN {visit_word(pond)} LEADER", "+300")
    assert pond.step("+300") == "lead.menu"
    pond.text("0")
    assert pond.step() == "pairs.wait"
    pond.text("safety", "+300")
    pond.until("lead.menu", "+300")
    pond.text("ok")
    assert pond.step() == "roles.who"
    pond.until("larva.look")
    pond.converse("27 darner 01428; 28 darner 01431", "pack", "2", "ok")
    assert pond.step() == "pairs.done"
    pond.text("close", "+300")
    pond.until("close.end", "+300")
    assert pond.rows("SELECT status FROM visit") == [("closed",)]
    pond.whole()


def test_a_leader_is_asked_before_closing_over_a_pair_at_work(pond):
    pond.until("larva.look")
    pond.text(f"JOIN {visit_word(pond)} LEADER", "+300")
    pond.text("close", "+300")
    assert pond.step("+300") == "lead.still"
    pond.until("close.end", "+300")
    assert "closed from another phone" in pond.text("y")[0]
    assert pond.step() == "close.end"


def test_danger_in_one_pair_is_told_to_the_others(two_pairs):
    two_pairs.text("danger")
    assert "danger called by pair A" in two_pairs.last["+200"][-1].text


def test_a_seat_is_handed_over_with_its_own_word(two_pairs):
    ((word,),) = two_pairs.rows("SELECT join_word FROM seat WHERE letter = 'B'")
    answer = two_pairs.text(f"join {word}", "+400")
    assert answer[0].startswith("You hold pair B at Amberwell Pond now.")


def test_roles_are_swapped_between_larvae_only(two_pairs):
    assert "change places" in two_pairs.text("swap")[0]
    two_pairs.text("y")
    assert "Not over an open bag" in two_pairs.text("swap")[0]


def test_a_wrong_word_leaves_a_phone_where_it_is_and_tells_a_new_one_how_to_begin(pond):
    pond.until("larva.bag")
    assert "you stay where you are" in pond.text("JOIN nowhere99")[0]
    assert pond.step() == "larva.bag"
    assert "starts a visit of your own" in pond.text("JOIN nowhere99", "+300")[0]
