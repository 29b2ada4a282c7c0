"""Pairs with phones of their own: they join by a word, text through another process, and never leave practice."""

import re

import pytest

from guide.drill.session import Session, end_stale
from guide.flow.load import load_book
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.store import Store
from guide.talk.blanks import REGISTRY
from tests.conftest import load
from tests.drill.pair import START, Pair


@pytest.fixture(scope="module")
def real_book(book):
    """The shipped flows under a programme that is no practice."""
    return load_book(re.sub(r"^practice = true", "practice = false", book.text, flags=re.M), REGISTRY, KINDS)


@pytest.fixture
def phones(open_drill, real_book):
    """Two pairs at a session, each with a phone that texts to another process of a real programme."""

    session = open_drill("first_larva", "spoon", flow_book=real_book, pairs=2, in_turn=False).session
    (path,) = [row[2] for row in session.store.db.execute("PRAGMA database_list") if row[1] == "main"]
    gateway = Exchange(Store(open_record(path)), real_book, load, 1)
    gateway.set_up(START)
    yield [Pair(session, name, f"+10{place}", gateway) for place, name in enumerate("AB", 1)]
    gateway.store.db.close()


def join(pair: Pair) -> list[str]:
    return pair.text(f"JOIN {pair.session.word(pair.name)}")


def test_a_phone_that_joins_is_told_that_it_is_practice_and_which_pair_it_is(phones):
    pair = phones[1]
    said = join(pair)
    assert "PRACTICE, nothing counts: you are pair B of the drill." in said[2]
    assert said[3].startswith("ON THE SPOON: ")


def test_pairs_text_side_by_side_each_with_its_own_specimen_and_slip(phones):
    slips = set()
    for pair in phones:
        join(pair)
    for pair in phones:
        pair.session.read()
        slips.add(pair.session.specimen(pair.name).slip)
        assert pair.text("y")[0].startswith("BOTH: read all, phone away.")
    assert len(slips) == 2
    phones[0].whole()


def test_a_round_goes_over_into_the_next_on_the_same_phone_with_the_same_word(phones):
    pair = phones[0]
    join(pair)
    word = pair.session.word("A")
    said = []
    for _ in range(6):
        pair.session.read()
        specimen = pair.session.specimen("A")
        said = pair.texts("y", "ok", str(specimen.length_mm), specimen.family, specimen.slip, "ok")
        if any("a new round" in text for text in said):
            break
    assert [text[:9] for text in said[-2:]] == ["PRACTICE:", "1 of 2. C"]
    assert [out.text[:9] for out in pair.session.look(pair.now)][:1] == ["ON THE SP"]
    assert pair.session.word("A") == word
    assert len(pair.session.view.pairs["A"].rounds) == 2


def test_new_out_of_a_drill_stays_practice_under_a_real_programme(phones):
    pair = phones[0]
    join(pair)
    exchange = pair.exchange
    seat = pair.session.seat(pair.session.view.pairs["A"].rounds[0])
    with exchange.store.transaction():
        exchange.change(seat.id, "drill", "to the end", lambda turn: turn.state.top.go("close.end"), pair.now)
        exchange.store.append(seat.visit, "A", 0, pair.now, [Entry("visit_closed", "", {"kept": 0})])
    pair.text("NEW")
    assert {row[0] for row in exchange.store.db.execute("SELECT practice FROM visit")} == {1}


def test_after_the_end_a_text_begins_real_work_and_the_phone_was_told_so(phones):
    pair = phones[0]
    join(pair)
    said = [out.text for out in pair.session.end(pair.now) if out.number == pair.number]
    assert said == ["PRACTICE is over, thank you. From your next text on it is no practice any more."]
    assert pair.text("hello")[0].startswith("Tarrow Basin Lakes Circle. BOTH: which water is it?")
    assert pair.session.store.db.execute("SELECT count(*) FROM visit WHERE practice = 0").fetchone() == (1,)


def test_danger_in_a_drill_reaches_coordinators_marked_as_practice(phones):
    pair = phones[0]
    store = pair.exchange.store
    with store.transaction():
        phone = store.phone("+199").id
        programme = pair.session.book.settings.code
        store.db.execute("INSERT INTO coordinator (programme, name, phone) VALUES (?, 'MB', ?)", (programme, phone))
    join(pair)
    pair.text("DANGER")
    (told,) = store.db.execute("SELECT text FROM outgoing WHERE phone = ?", (phone,)).fetchone()
    assert told.startswith("(Practice)")


def test_a_drill_that_nobody_ended_is_ended_half_a_day_later(phones, drills, real_book):
    from datetime import timedelta

    pair = phones[0]
    join(pair)
    end_stale(pair.session.store, real_book, drills, pair.now + timedelta(hours=11))
    assert not pair.session.read().ended
    end_stale(pair.session.store, real_book, drills, pair.now + timedelta(hours=13))
    assert pair.session.read().ended
    assert pair.text("hello")[0].startswith("Tarrow Basin Lakes Circle.")


def test_a_second_look_from_another_process_writes_nothing_twice(phones, drills):
    pair = phones[0]
    join(pair)
    other = Session(pair.session.exchange, pair.session.drill, pair.session.stream)
    before = pair.kinds()
    other.look(pair.now)
    pair.session.look(pair.now)
    assert pair.kinds() == before


def test_a_paused_drill_changes_nothing_and_goes_on_with_the_question(phones):
    pair = phones[0]
    join(pair)
    pair.session.pause(True, pair.now)
    assert pair.text("y") == ["Still paused, nothing was changed. GO goes on."]
    said = [out.text for out in pair.session.pause(False, pair.now) if out.number == pair.number]
    assert said[0].startswith("PRACTICE goes on.")
    assert pair.text("y")[0].startswith("BOTH: read all")


def test_a_surprise_the_trainer_asks_for_comes_at_the_next_step_that_fits(phones):
    pair = phones[0]
    join(pair)
    pair.texts("y")
    pair.session.ask_for("A", "spoon", pair.now)
    assert pair.session.look(pair.now) == []
    specimen = pair.session.specimen("A")
    said = pair.texts("ok", str(specimen.length_mm), specimen.family, specimen.slip, "ok")
    assert any(text.startswith("PRACTICE: The spoon drops") for text in said)


def test_a_hint_reaches_its_pair_and_no_other(phones):
    for pair in phones:
        join(pair)
    outs = phones[0].session.hint("B", "look at the ruler", phones[1].now)
    assert [(out.number, out.text) for out in outs] == [("+102", "TRAINER: look at the ruler")]
