"""A book's ready form is the book: a record hands it back without its text being read again."""

from pathlib import Path

import pytest

from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.model import FlowBook
from guide.flow.ready import from_ready, is_ready, to_ready
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange
from guide.record.books import is_kept, ready_book
from guide.record.open import open_record
from guide.record.store import Store
from guide.record.verify import verify
from guide.talk.blanks import REGISTRY
from tests.conftest import START, load


def test_a_ready_form_gives_the_same_book(book: FlowBook) -> None:
    again = from_ready(book.hash, book.text, to_ready(book), REGISTRY, KINDS)
    assert again is not None
    assert again.settings == book.settings
    assert again.phrases == book.phrases
    assert again.steps == book.steps
    assert [flow[:-1] for flow in again.flows.values()] == [flow[:-1] for flow in book.flows.values()]


@pytest.mark.parametrize("ready", [None, "", "{}", '{"form":[],"names":{}}'])
def test_a_ready_form_of_another_program_is_not_read(book: FlowBook, ready: str | None) -> None:
    assert not is_ready(ready)
    assert from_ready(book.hash, book.text, ready, REGISTRY, KINDS) is None


@pytest.mark.parametrize(
    ("sort", "gone"), [("conditions", "too_short_now"), ("effects", "seal"), ("blanks", "minimum")]
)
def test_a_ready_form_that_names_what_this_program_lacks_is_not_read(book: FlowBook, sort: str, gone: str) -> None:
    fewer = {name: one for name, one in getattr(REGISTRY, sort).items() if name != gone}
    registry = REGISTRY._replace(**{sort: fewer})
    assert from_ready(book.hash, book.text, to_ready(book), registry, KINDS) is None


def test_a_record_keeps_the_ready_form_and_makes_it_anew_where_it_lacks_one(tmp_path: Path, book: FlowBook) -> None:
    db = open_record(tmp_path / "record.db")
    exchange = Exchange(Store(db), book, load, 1)
    assert ready_book(db, book.text, REGISTRY, KINDS) is None
    exchange.set_up(START)
    assert ready_book(db, book.text, REGISTRY, KINDS) is not None
    db.execute("UPDATE flow_book SET ready = NULL")
    assert not is_kept(db, book)
    exchange.set_up(START)
    assert ready_book(db, book.text, REGISTRY, KINDS) is not None
    db.close()


def test_an_edited_text_is_read_and_not_taken_for_the_one_before(tmp_path: Path, book: FlowBook) -> None:
    db = open_record(tmp_path / "record.db")
    Exchange(Store(db), book, load, 1).set_up(START)
    edited = book_text(shipped_flows()).replace("phone away", "phone far away")
    assert ready_book(db, edited, REGISTRY, KINDS) is None
    assert load_book(edited, REGISTRY, KINDS).hash != book.hash
    db.close()


def test_a_ready_form_that_says_something_else_than_its_text_is_found(tmp_path: Path, book: FlowBook) -> None:
    db = open_record(tmp_path / "record.db")
    Exchange(Store(db), book, load, 1).set_up(START)
    assert verify(db).problems == []
    db.execute("UPDATE flow_book SET ready = replace(ready, 'phone away', 'phone in hand')")
    assert verify(db).problems == [f"the ready form of the flow book {book.hash[:8]} isn't what its text says"]
    db.close()
