"""The kit: its gate at arrival, and its disinfection with the sum and the contact timer."""

import pytest

from guide.flow.load import load_book
from guide.flow.replies.kinds import KINDS
from guide.talk.blanks import REGISTRY
from tests.talk.test_bottles_talk import TEXT


@pytest.fixture
def closed(pond):
    """A visit at Amberwell Pond with kit K1, closed with no larvae."""
    pond.until("net.spot")
    pond.text("pack")
    pond.until("close.end")
    return pond


def arrive(pond, site: str, kit: str) -> list[str]:
    return pond.converse("NEW", site, kit)


def test_a_kit_that_was_in_another_water_and_not_disinfected_is_stopped(closed):
    (answer,) = arrive(closed, "quill", "k1")
    assert answer.startswith("BOTH: kit K1 was last in Amberwell Pond, no disinfection since.")
    closed.text("K2")
    assert closed.step() in ("arrive.look", "arrive.people")
    assert closed.rows("SELECT uid FROM kit") == [("K1",)]


def test_a_fresh_kit_has_a_label_and_is_looked_up_too(closed):
    arrive(closed, "quill", "spare")
    assert closed.step() == "arrive.spare"
    assert "no disinfection since" in closed.text("k1")[0]


def test_a_permit_that_asks_for_a_strength_gets_one(open_field):
    text = TEXT.replace("contact_min = 10", "contact_min = 10\nbleach_strength_percent = 0.5", 1)
    pond = open_field(flow_book=load_book(text, REGISTRY, KINDS))
    pond.until("net.spot")
    pond.text("pack")
    pond.until("close.end")
    pond.converse("GEAR", "y", "ok", "20 L", "6", "n")
    assert "18.4 L water first, then 1553 mL bleach" in pond.last["+100"][-1].text


@pytest.mark.parametrize("words", ["hmm", "maybe so", "the blue one"])
def test_a_kit_is_named_by_its_label_and_nothing_else_opens_the_gate(pond, words):
    pond.until("arrive.kit")
    assert "like K1" in pond.text(words)[0]
    assert pond.step() == "arrive.kit"


@pytest.mark.parametrize("words", ["no", "dunno", "idk", "not sure"])
def test_not_sure_of_a_kit_is_no(pond, words):
    pond.until("arrive.kit")
    pond.text(words)
    assert pond.step() == "arrive.unclean"


def test_the_same_water_again_needs_no_disinfection(closed):
    arrive(closed, "amberwell", "K1")
    assert closed.step() in ("arrive.look", "arrive.people")


def test_the_coordinators_word_lets_a_kit_in_and_is_logged(closed):
    arrive(closed, "quill", "K1")
    assert "not the word" in closed.text("please")[0]
    closed.text("bittern")
    assert closed.step() in ("arrive.look", "arrive.people")
    assert closed.rows("SELECT count(*) FROM log WHERE kind = 'waiver'") == [(1,)]


def test_home_closes_a_visit_that_never_went_in_the_water(closed):
    arrive(closed, "quill", "NO")
    closed.text("home")
    assert closed.step() == "close.home_unclean"
    assert closed.rows("SELECT status FROM visit") == [("closed",), ("closed",)]
    assert closed.rows("SELECT last_site FROM kit") == [("amberwell",)]


def test_disinfection_opens_the_gate_at_the_next_water(closed):
    closed.converse("GEAR", "y", "ok", "20 L", "6", "n")
    assert "18.0 L water first, then 2000 mL bleach" in closed.last["+100"][-1].text
    closed.converse("ok", "ok")
    assert closed.step() == "disinfect.contact"
    assert "Not yet: 8 minutes" in closed.converse("over", "over")[0]
    assert [out.step for out in closed.wait(9)] == ["disinfect.rinse"]
    closed.converse("ok", "ok")
    assert closed.step() == "close.end"
    arrive(closed, "quill", "K1")
    assert closed.step() in ("arrive.look", "arrive.people")
    closed.whole()


@pytest.mark.parametrize("label", ["NONE", "3", "12"])
def test_a_bottle_without_a_label_or_outside_five_to_nine_percent_is_refused(closed, label):
    closed.converse("gear", "y", "ok", "20 L", label)
    assert closed.step() == "disinfect.unusable"


def test_an_old_scented_or_splashless_bottle_is_refused(closed):
    closed.converse("gear", "y", "ok", "2 buckets", "6", "y")
    assert closed.step() == "disinfect.unusable"
    closed.converse("later")
    assert closed.rows("SELECT disinfected_entry FROM kit") == [(None,)]


def test_bleach_is_never_mixed_on_the_bank(closed):
    closed.converse("gear", "n")
    assert "not here" in closed.last["+100"][-1].text
