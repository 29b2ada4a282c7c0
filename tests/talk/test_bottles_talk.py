"""Water, sediment, the freezer, permits and measuring again."""

import re

import pytest

from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.replies.kinds import KINDS
from guide.talk.blanks import REGISTRY

TEXT = book_text(shipped_flows())
KINDS_TAKEN = "SELECT kind, status FROM sample ORDER BY rowid"


@pytest.fixture
def at(open_field):
    """Opens a record for a programme with other settings than the demo's, and carries on to a step."""

    def go(step: str, settings: str = "", site: str = ""):
        text = TEXT
        for line in settings.splitlines():
            text = re.sub(rf"(?m)^{line.split()[0]} = .*$", line, text, count=1)
        text = text.replace('code = "amberwell"\n', f'code = "amberwell"\n{site}\n', 1)
        pond = open_field(flow_book=load_book(text, REGISTRY, KINDS))
        pond.until(step)
        return pond

    return go


def test_a_programme_with_water_takes_sample_blank_and_duplicate_before_netting(at):
    pond = at("net.spot", "water_bottles = 1")
    assert pond.rows(KINDS_TAKEN) == [("water", "kept"), ("water_blank", "kept"), ("water_duplicate", "kept")]
    assert pond.rows("SELECT gloves, length_mm FROM sample") == [("yes", None)] * 3
    pond.whole()


def test_eleven_bottles_need_two_blanks_and_two_duplicates(at):
    pond = at("net.spot", "water_bottles = 11")
    kinds = [kind for kind, _ in pond.rows(KINDS_TAKEN)]
    assert (kinds.count("water"), kinds.count("water_blank"), kinds.count("water_duplicate")) == (11, 2, 2)


@pytest.mark.parametrize(
    ("bottle", "step", "words"),
    [
        ("acid", "water.acid", "Rinse 3 times"),
        ("preserved", "water.preserved", "don't rinse"),
        ("empty", "water.empty", "rinse bottle and cap 3 times"),
    ],
)
def test_each_kind_of_bottle_is_filled_its_own_way(at, bottle, step, words):
    pond = at(step, f'water_bottles = 1\nbottle = "{bottle}"')
    assert words in pond.last["+100"][-1].text


def test_sediment_is_taken_before_netting_too(at):
    pond = at("net.spot", "sediment_jars = 2")
    assert pond.rows(KINDS_TAKEN) == [("sediment", "kept")] * 2


def test_the_holding_time_of_water_is_said(at):
    pond = at("water.ice", "water_bottles = 1")
    assert "preserved by Mon 06 Jul" in pond.last["+100"][-1].text


def test_water_after_netting_is_asked_once_and_flagged(pond):
    pond.until("net.spot")
    pond.converse("none", "water")
    assert pond.step() == "water.order"
    pond.converse("y", "ok", "ok", "ok", "ok", "01402", "ok")
    assert ("water", "after_netting") in pond.rows("SELECT kind, flag FROM sample JOIN sample_flag ON sample = uid")


def test_water_after_netting_is_asked_about_once(pond):
    pond.until("net.spot")
    pond.converse("none", "water", "y", "ok", "ok", "ok", "ok", "01402", "ok")
    pond.until("net.spot")
    pond.text("water")
    assert pond.step() == "water.hands"


@pytest.mark.parametrize(("days", "said"), [(3, "3 days apart from the larvae"), (9, "9 days ago, more than 7")])
def test_days_between_the_sites_water_and_its_larvae_are_counted_and_said(pond, days, said):
    pond.until("net.spot")
    pond.text("water")
    pond.until("net.spot")
    pond.text("pack")
    pond.until("close.end")
    pond.wait(days * 24 * 60)
    pond.until("close.end")
    pond.text("NEW")
    pond.until("larva.look")
    pond.converse("27 darner 01444", "pack")
    assert said in " ".join(pond.text("3"))


def test_where_the_programme_says_no_water_after_netting_is_refused(at):
    pond = at("net.spot", "late_water = false")
    pond.converse("none", "water")
    assert pond.step() == "water.refused"
    pond.text("ok")
    assert pond.step() == "net.spot"
    assert pond.rows(KINDS_TAKEN) == []


def test_a_touched_bottle_is_void_and_a_new_one_begun(at):
    pond = at("water.acid", "water_bottles = 1")
    pond.converse("oops", "1", "unsure", "ok")
    assert pond.step() == "water.hands"
    assert pond.rows(KINDS_TAKEN) == [("water", "void")]
    pond.until("net.spot")
    assert ("water", "kept") in pond.rows(KINDS_TAKEN)
    pond.whole()


def test_danger_over_an_open_bottle_voids_it(at):
    pond = at("water.acid", "water_bottles = 1")
    pond.converse("danger", "3", "6", "stay")
    assert pond.step() == "water.hands"
    assert pond.rows(KINDS_TAKEN) == [("water", "void")]


def test_water_counts_as_no_larva(at):
    pond = at("larva.look", "water_bottles = 1")
    assert pond.last["+100"][-1].text.startswith("1 of 12.")


def test_every_tenth_larva_is_measured_again_by_the_other_person(pond):
    pond.until("close.again")
    assert "CLEAN, not DIRTY" in pond.last["+100"][-1].text
    pond.text("28")
    assert pond.rows("SELECT json_extract(data, '$.first_mm'), json_extract(data, '$.second_mm') FROM log "
                     "WHERE kind = 'remeasured'") == [(27, 28)]  # fmt: skip
    assert pond.step() == "close.ice"


def test_a_permits_take_limit_is_the_target(at):
    pond = at("close.out", site="take_limit = 4")
    assert len(pond.rows("SELECT 1 FROM sample WHERE status = 'kept'")) == 4


def test_a_protected_family_is_flagged_and_said(at):
    pond = at("larva.name", site='protected = ["Aeshnidae"]')
    assert "protected here" in pond.text("darner")[0]
    assert pond.rows("SELECT flag FROM sample_flag") == [("protected",)]


def test_larvae_are_frozen_the_same_day_and_water_never(at):
    pond = at("close.end", "water_bottles = 1")
    pond.converse("freeze", "AB", "S123", "y", "shed 2", "-18")
    assert pond.step() == "freeze.end"
    frozen = pond.rows("SELECT DISTINCT kind, frozen_at IS NOT NULL FROM sample ORDER BY kind")
    assert frozen == [("larva", 1), ("water", 0), ("water_blank", 0), ("water_duplicate", 0)]
    pond.whole()


def test_on_a_long_way_the_ice_is_asked_about_every_two_hours(pond):
    pond.until("close.end")
    pond.converse("freeze", "AB", "none", "y", "later")
    pond.wait(125)
    assert pond.step() == "close.home"
    pond.text("3")
    assert [out.step for out in pond.wait(15)] == ["freeze.ice"]


def test_a_thaw_is_timed_flagged_and_asked_about(pond):
    pond.until("close.end")
    pond.converse("freeze", "AB", "none", "y", "shed 2", "-18", "thawed", "14:30")
    assert pond.rows("SELECT DISTINCT flag FROM sample_flag") == [("thawed",)]


def test_bycatch_is_counted_and_goes_back(pond):
    pond.until("net.spot")
    assert "Fish back at once" in pond.text("fish")[0]
    assert pond.step() == "net.spot"
    assert pond.rows("SELECT data FROM log WHERE kind = 'bycatch'") == [('{"what":"fish"}',)]


@pytest.mark.parametrize(("days", "warned"), [(0, 1), (6, 1), (2, 0)])
def test_water_that_cannot_be_at_the_lab_in_time_is_warned_of_once_a_visit(open_field, days, warned):
    """The first day is a Saturday."""
    text = re.sub(r"(?m)^water_bottles = .*$", "water_bottles = 1", TEXT, count=1)
    pond = open_field(flow_book=load_book(text, REGISTRY, KINDS))
    pond.wait(60 * 24 * days)
    pond.until("net.spot")
    assert sum("can't be at the lab within" in out.text for out in pond.last["+100"]) == warned


def test_the_count_of_bags_at_close_is_of_larvae_and_tells_the_last_tags(pond):
    (answer,) = pond.until("close.bags")
    assert "outer bags of larvae in the cooler, no bottles" in answer
    (answer,) = pond.text("17")
    assert "The last I have: " in answer
