"""Clocks that jump, nights that are an hour longer or shorter, days by zone: timers and dates stay right."""

import queue
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from guide.field.daylight import sun_times
from guide.gateway.door import Door, DoorRules
from guide.gateway.exchange import TextIn
from guide.gateway.pipe import Pipe
from guide.talk.turn import Turn
from tests.conftest import Field
from tests.gateway.test_sender import Line as SendingLine

DUBLIN = ZoneInfo("Europe/Dublin")
AUTUMN = datetime(2026, 10, 25, 1, 0, tzinfo=UTC)
"""Two in the morning of summer time becomes one: the night of 24 to 25 October 2026 is an hour longer."""

SPRING = datetime(2026, 3, 29, 1, 0, tzinfo=UTC)
"""One in the morning becomes two."""


@pytest.mark.parametrize("jump", [timedelta(days=-400), timedelta(days=-1), timedelta(hours=-1), timedelta(days=400)])
def test_a_clock_that_jumps_loses_no_text_and_no_timer_fires_twice(pond: Field, jump: timedelta) -> None:
    """Real time rules a pipe whose lines bring none; the machine's clock is set while people are in the water."""
    out: list[bytes] = []
    clock = [pond.now]
    pipe = Pipe(pond.exchange, out.append, lambda: clock[0])

    def text(words: str) -> None:
        clock[0] += timedelta(seconds=50)
        pipe.take(f'{{"id": "c{len(out)}", "from": "+100", "text": "{words}"}}'.encode())

    pond.until("larva.look")
    sent = pond.rows("SELECT count(*) FROM turn WHERE gateway = 'line'")[0][0]
    clock[0] = pond.now
    text("where")
    clock[0] += jump
    for words in ("where", "note wind", "where"):
        text(words)
    clock[0] -= jump
    text("where")
    assert not any(b'"error"' in line for line in out)
    assert pond.rows("SELECT count(*) FROM turn WHERE gateway = 'line'") == [(sent + 5,)]
    assert pond.rows("SELECT count(*) FROM turn WHERE gateway = 'timer' GROUP BY raw HAVING count(*) > 1") == []
    pond.whole()


def test_a_timer_set_before_the_clock_went_back_still_fires(pond: Field) -> None:
    pond.until("larva.look")
    (due,) = pond.rows("SELECT due_at FROM timer WHERE kind = 'check_in' AND fired_turn IS NULL")[0]
    pond.now -= timedelta(days=2)
    assert pond.exchange.fire_next(pond.now, given_time=False) is None
    pond.now = datetime.fromisoformat(due)
    fired = pond.exchange.fire_next(pond.now, given_time=False)
    assert fired is not None
    assert pond.rows("SELECT count(*) FROM turn WHERE gateway = 'timer' AND raw = 'check_in'") == [(1,)]
    pond.whole()


class Idle(queue.Queue[bytes | None]):
    """Lines that don't come, and then end."""

    def get(self, block: bool = True, timeout: float | None = None) -> bytes | None:
        if self.maxsize == 0:
            return None
        self.maxsize = 0
        raise queue.Empty


def test_a_pipe_in_real_time_holds_timers_to_their_minutes_when_the_clock_was_set_back(pond: Field) -> None:
    pond.until("larva.look")
    pond.now -= timedelta(days=2)
    assert Pipe(pond.exchange, lambda _: None, lambda: pond.now)._wait(Idle(1)) is None
    due = pond.rows("SELECT due_at FROM timer WHERE kind = 'check_in' AND fired_turn IS NULL")
    assert [datetime.fromisoformat(at) for (at,) in due] == [pond.now + timedelta(minutes=30)]


@pytest.mark.parametrize("back", [timedelta(seconds=10), timedelta(hours=1), timedelta(days=400)])
def test_a_clock_that_goes_back_makes_no_text_the_double_of_an_older_one(pond: Field, back: timedelta) -> None:
    """A gateway that gives no ids: the same words within three seconds are one text, whichever way the clock went."""
    pond.exchange.door = Door()
    for at in (pond.now, pond.now - timedelta(seconds=2), pond.now - back, pond.now - back + timedelta(seconds=1)):
        pond.exchange.receive(TextIn("+447700900101", "ok", None, None, "number"), at)
    assert pond.rows("SELECT count(*) FROM turn") == [(2,)]


def test_a_clock_that_goes_back_keeps_no_phone_waiting_at_the_door(pond: Field) -> None:
    pond.exchange.door = Door(DoorRules(texts_a_minute=5))
    pond.now -= timedelta(days=2)
    for number in range(20):
        pond.now += timedelta(minutes=1)
        pond.exchange.receive(TextIn("+447700900101", f"hello {number}", str(number), None, "number"), pond.now)
    told = "SELECT count(*) FROM outgoing"
    assert pond.rows(told) == [(1,)], "a stranger is told once a day how to join"
    pond.now -= timedelta(days=400)
    pond.exchange.receive(TextIn("+447700900101", "hello", "late", None, "number"), pond.now)
    assert pond.rows(told) == [(2,)]
    for _ in range(20):
        pond.now += timedelta(minutes=1)
        assert pond.exchange.door.lets_in("+447700900101", True, pond.now)


def test_a_clock_that_jumps_ahead_gives_up_no_text_that_waits(pond: Field) -> None:
    line = SendingLine(pond)
    line.carrier.down = True
    line.text("hello")
    line.run(0.1)
    line.start += timedelta(days=400)
    line.run(0.5)
    line.carrier.down = False
    line.run(6)
    assert line.statuses() == {"sent": 1}
    line.close()
    pond.whole()


@pytest.mark.parametrize("night", [AUTUMN, SPRING])
def test_minutes_in_the_night_the_clocks_change_are_minutes(pond: Field, night: datetime) -> None:
    """Half an hour without a text is half an hour, though local time jumps within it."""
    pond.now = night - timedelta(minutes=100)
    pond.until("larva.look")
    pond.now = night - timedelta(minutes=11)
    pond.text("where", minutes=1)
    (due,) = pond.rows("SELECT due_at FROM timer WHERE kind = 'check_in' AND fired_turn IS NULL")[0]
    assert datetime.fromisoformat(due) - pond.now == timedelta(minutes=30)
    assert pond.wait(29) == []
    (asked,) = pond.wait(1)
    assert asked.number == "+100"
    pond.whole()


@pytest.mark.parametrize(
    ("at", "local"),
    [
        ("2026-10-24T22:59:00+00:00", "2026-10-24"),
        ("2026-10-24T23:01:00+00:00", "2026-10-25"),
        ("2026-10-25T23:59:00+00:00", "2026-10-25"),
        ("2026-10-26T00:01:00+00:00", "2026-10-26"),
        ("2026-03-28T23:59:00+00:00", "2026-03-28"),
        ("2026-03-29T00:01:00+00:00", "2026-03-29"),
        ("2026-03-29T22:59:00+00:00", "2026-03-29"),
        ("2026-03-29T23:01:00+00:00", "2026-03-30"),
    ],
)
def test_a_visits_day_is_the_day_at_the_site(pond: Field, at: str, local: str) -> None:
    pond.now = datetime.fromisoformat(at) - timedelta(minutes=1)
    pond.text("hi")
    assert pond.rows("SELECT local_date FROM visit") == [(local,)]


@pytest.mark.parametrize(("night", "hour"), [(AUTUMN, -1), (SPRING, 1)])
def test_hours_until_preservation_are_told_in_the_time_people_will_have_by_then(
    pond: Field, night: datetime, hour: int
) -> None:
    """48 hours from noon on Saturday is noon on Monday by the sun, an hour off by the clock."""
    saturday = (night - timedelta(days=1)).replace(hour=12).astimezone(DUBLIN).replace(hour=12, minute=0)
    pond.text("amberwell")
    pond.now = saturday.astimezone(UTC)
    turn = pond.exchange.draft("+100", pond.now)
    assert isinstance(turn, Turn)
    said = turn.fill("{preserve_by}")
    monday = saturday + timedelta(days=2)  # the same hand of the clock
    assert said == f"{monday:%a %d %b} {monday.hour + hour:02}:00"


@pytest.mark.parametrize(("night", "hour"), [(AUTUMN, -60), (SPRING, 60)])
def test_sunset_by_the_clock_moves_an_hour_over_the_night(night: datetime, hour: int) -> None:
    day = night.date()
    before, after = (sun_times(53.41, -8.24, one).sunset for one in (day - timedelta(days=1), day))
    assert before is not None
    assert after is not None
    clocks = [at.astimezone(DUBLIN).hour * 60 + at.astimezone(DUBLIN).minute for at in (before, after)]
    assert abs(clocks[1] - clocks[0] - hour) <= 3
    assert abs((after - before) - timedelta(days=1)) < timedelta(minutes=4)
