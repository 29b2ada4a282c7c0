"""Reminders on the way to the lab: holding time of water, and the next good day to ship; in practice none."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from guide.flow.model import FlowBook
from tests.conftest import Field, load

COORDINATOR = "+900"
CLOSE = "close.home"


@pytest.fixture
def real(open_field: Callable[..., Field], book: FlowBook) -> Field:
    """A programme whose visits are real, with a coordinator; the lab is shut on the first Tuesday after."""
    text = book.text
    for old, new in (
        ("practice = true ", "practice = false "),
        ("water_bottles = 0 ", "water_bottles = 1 "),
        ("lab_closed = []", 'lab_closed = ["2026-07-07"]'),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    field = open_field(flow_book=load(text).book)
    with field.exchange.store.transaction():
        phone = field.exchange.store.phone(COORDINATOR)
    field.db.execute("INSERT INTO coordinator (programme, name, phone) VALUES ('tarrow', 'Duty', ?)", (phone.id,))
    return field


def _timers(field: Field) -> dict[str, datetime]:
    return dict(field.exchange.store.running_timers("+100"))


def test_the_first_bottle_begins_the_wait_for_its_holding_time(real: Field) -> None:
    real.until("net.spot")
    due = _timers(real)["holding"]
    taken = datetime.fromisoformat(
        real.rows("SELECT opened_at FROM sample WHERE kind LIKE 'water%' ORDER BY rowid")[0][0]
    )
    assert timedelta(hours=35) < due - taken < timedelta(hours=37)


def test_seat_and_coordinators_hear_that_the_hours_run_out(real: Field) -> None:
    real.until("net.spot")
    real.wait(48 * 60)
    assert any("12 hours are left" in out.text for out in real.last["+100"])
    assert any("12 hours are left" in out.text for out in real.last[COORDINATOR])
    real.whole()


def test_after_the_close_the_morning_of_the_next_good_day_is_said(real: Field) -> None:
    real.until("larva.look")
    real.until("close.end")
    due = _timers(real)["ship_day"]
    assert real.now.date().isoformat() == "2026-07-04", "a Saturday; a cooler of Monday would find the lab shut"
    assert due.astimezone(UTC) == datetime(2026, 7, 7, 7, 0, tzinfo=UTC)
    real.wait(5 * 24 * 60)
    assert any("a good day to hand the cooler over" in out.text for out in real.last[COORDINATOR])
    real.whole()


def test_practice_reminds_nobody(pond: Field) -> None:
    pond.until("close.end")
    assert not {"holding", "ship_day"} & _timers(pond).keys()


def _after_an_outage(field: Field, kind: str, late: timedelta) -> list[str]:
    """What the phones get of a timer that fires so long after its time, all others of the seat being off."""
    due = _timers(field)[kind]
    field.db.execute("DELETE FROM timer WHERE kind != ?", (kind,))
    return [out.text for out in field.exchange.fire_next(due + late, given_time=False) or []]


@pytest.mark.parametrize(("hours", "words"), [(3, "fewer than 12 hours are left"), (60, "preserved it is over")])
def test_after_an_outage_the_hours_of_water_are_told_as_they_are_now(real: Field, hours: int, words: str) -> None:
    real.until("net.spot")
    texts = _after_an_outage(real, "holding", timedelta(hours=hours))
    assert len(texts) == 2
    assert all(words in text for text in texts)
    assert not any("about 12 hours" in text for text in texts)


def test_after_an_outage_a_good_day_is_one_that_is_good_now_or_waits_for_the_next(real: Field) -> None:
    real.until("larva.look")
    real.until("close.end")
    assert _after_an_outage(real, "ship_day", timedelta(days=4)) == [], "a Saturday"
    assert _timers(real)["ship_day"] == datetime(2026, 7, 13, 7, 0, tzinfo=UTC)
    texts = _after_an_outage(real, "ship_day", timedelta(days=1))
    assert all("a good day to hand the cooler over" in text for text in texts)
    assert any("due at 08:00 on 13 Jul" in text for text in texts)


def test_after_an_outage_no_sunset_of_another_day_is_told(pond: Field) -> None:
    pond.until("larva.look")
    assert _after_an_outage(pond, "dark", timedelta(hours=9)) == []
