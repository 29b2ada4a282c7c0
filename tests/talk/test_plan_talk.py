"""The day before: a plan that becomes the visit."""

import pytest


def plan(pond, day: str) -> None:
    pond.converse("plan", "amberwell", day, "y")


def test_a_plan_becomes_the_visit_when_the_group_is_there(pond):
    plan(pond, "2026-07-06")
    pond.until("plan.ready")
    pond.wait(60 * 48)
    pond.text("here")
    assert pond.step() == "arrive.kit"
    assert pond.rows("SELECT site, local_date FROM visit") == [("amberwell", "2026-07-06")]
    pond.until("larva.look")
    pond.whole()


@pytest.mark.parametrize(
    ("day", "step"),
    [
        ("2026-07-06", "plan.lab"),  # Monday: handed over, there on Tuesday
        ("2026-07-09", "plan.lab"),  # Thursday: there on Friday
        ("2026-07-10", "plan.larvae_only"),  # Friday: there on Monday, 77 hours later
        ("2026-07-11", "plan.larvae_only"),  # Saturday: nobody picks up
    ],
)
def test_water_that_would_come_too_late_is_said_the_day_before(pond, day, step):
    plan(pond, day)
    assert pond.step() == step


def test_larvae_only_takes_no_water_on_the_day(pond):
    plan(pond, "2026-07-11")
    pond.text("y")
    assert pond.rows("SELECT json_extract(answers, '$.bottles_skipped') FROM visit") == [(1,)]


def test_without_a_permit_there_is_no_visit(pond):
    pond.converse("plan", "amberwell", "2026-07-06", "n")
    assert "no permit, no visit" in pond.last["+100"][-1].text


def test_after_a_visit_the_next_one_is_planned(pond):
    pond.until("close.end")
    pond.text("plan")
    assert pond.step() == "plan.site"


def test_plan_works_at_the_first_question_too_and_no_later(pond):
    pond.converse("hello", "plan")
    assert pond.step() == "plan.site"
    pond.converse("amberwell", "tomorrow")
    assert pond.step() == "plan.permit"
    pond.converse("hello", "amberwell", "back", "plan", number="+300")
    assert pond.step("+300") == "arrive.site"
    pond.whole()
