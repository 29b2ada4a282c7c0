"""``desk close``: a visit that nobody texts for any more is closed at the desk, and what was open is said."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from guide.cli import main
from guide.desk.accept import accept_visit
from guide.desk.close import close_visit
from guide.desk.findings import check_visit
from guide.desk.fix import fix_as_said
from guide.desk.merge import merge_file
from guide.desk.show_visit import visit_lines
from guide.desk.visits import VisitError, load_visit, visit_uid
from guide.gateway.outbox import Outbox

WHY = "phone lost, all home by 18:00"


def code_of(field):
    return field.rows("SELECT code8 FROM visit")[0][0]


def visit_of(field, code):
    return load_visit(field.db, visit_uid(field.db, code))


def close(field, code, hours=24.0, anyway=False, reason=WHY):
    field.now += timedelta(hours=hours)
    said = close_visit(field.exchange, code, reason, anyway, field.now)
    field.whole()
    return said


def found(field, code):
    return {finding.check: finding for finding in check_visit(visit_of(field, code))}


@pytest.fixture
def gone(pond):
    """A pair that stopped texting with a larva in an open bag, two kept and one in the water."""
    pond.until("larva.bag")
    for step in ("larva.outer", "larva.bag", "larva.outer", "larva.bag"):
        pond.until(step)
    return pond


def path_of(field):
    return Path(field.db.execute("PRAGMA database_list").fetchone()[2])


def test_an_abandoned_visit_is_closed_with_what_was_open_and_can_be_accepted(gone):
    said = close(gone, code_of(gone))
    assert said[0] == "people: 1 in the water, and never counted out; be sure that everybody came home"
    assert "in hand: larva s3, its bag not reported shut: void" in said
    assert any(line.startswith("clocks: ") for line in said)
    assert f"visit {code_of(gone)} is closed at the desk: 2 samples kept" in said
    visit = visit_of(gone, code_of(gone))
    assert (visit.status, visit.samples[2].status, visit.samples[2].void_reason) == (
        "closed",
        "void",
        "closed_unfinished",
    )
    checks = found(gone, visit.code)
    assert checks["closed_at_desk"].what == f"it was closed at the desk: {WHY}"
    assert checks["not_counted_out"].fix == "none: be sure that everybody came home"
    assert "is accepted: 2 samples" in accept_visit(gone.exchange.store, visit.code, None, gone.now)


def test_no_clock_runs_on_and_the_phone_hears_that_its_visit_is_closed(gone):
    close(gone, code_of(gone))
    assert gone.rows("SELECT count(*) FROM timer WHERE fired_turn IS NULL") == [(0,)]
    (text,) = gone.rows("SELECT text FROM outgoing ORDER BY id DESC LIMIT 1")[0]
    assert text.startswith(f"ALL: the coordinator closed visit {code_of(gone)}. Larvae kept: 2.")
    assert "mark" not in text
    gone.text("27")
    assert "mark none." in gone.text("go")[-1]
    assert gone.step() == "close.end"
    assert visit_of(gone, code_of(gone)).status == "closed"
    gone.text("new")
    assert gone.rows("SELECT count(*) FROM visit") == [(2,)]
    gone.whole()


def test_a_seat_heard_of_within_hours_is_waited_for_unless_all_are_home(gone):
    before = gone.rows("SELECT count(*) FROM log")
    with pytest.raises(VisitError, match=r"seat A of visit \w+ was heard of at .*, within 6 hours: .* --anyway"):
        close(gone, code_of(gone), hours=2)
    assert gone.rows("SELECT count(*) FROM log") == before
    close(gone, code_of(gone), hours=0, anyway=True)


def test_a_report_that_a_phone_is_dead_does_not_count_as_heard_of(gone):
    gone.wait(24 * 60)
    ((text,),) = gone.rows("SELECT max(id) FROM outgoing")
    Outbox(gone.exchange.store).report(text, False, "absent subscriber", gone.now)
    assert gone.rows("SELECT seat, kind FROM log ORDER BY id DESC LIMIT 1") == [("A", "undelivered")]
    assert f"visit {code_of(gone)} is closed at the desk: 2 samples kept" in close(gone, code_of(gone), hours=1)


def test_of_a_merged_visit_the_log_tells_when_a_seat_was_heard_of(open_field, laptop):
    desk, code = open_field("desk.db"), code_of(laptop)
    heard = laptop.now
    laptop.wait(120)
    desk.now = laptop.now
    merge_file(desk.exchange.store, path_of(laptop), desk.now)
    with pytest.raises(
        VisitError, match=rf"seat A .* was heard of at {visit_of(laptop, code).local(heard):%Y-%m-%d %H:%M}"
    ):
        close(desk, code, hours=0)
    close(desk, code, hours=5)


def test_a_danger_that_nobody_told_the_end_of_is_said_and_is_serious(pond):
    pond.until("larva.bag")
    pond.converse("danger", "3")
    code = code_of(pond)
    at = f"{visit_of(pond, code).local(pond.now) - timedelta(minutes=1):%Y-%m-%d %H:%M}"
    said = close(pond, code)
    assert f"danger: seat A called it at {at}, and never told that it is over; be sure that all are safe" in said
    finding = found(pond, code)["danger_open"]
    assert (finding.serious, finding.fix) == (True, "none: be sure that everybody is safe before accepting")
    with pytest.raises(VisitError, match="--anyway"):
        accept_visit(pond.exchange.store, code, None, pond.now)


@pytest.mark.parametrize("end", ["STAY", "PACK"])
def test_a_danger_that_is_over_is_no_finding(pond, end):
    pond.until("larva.bag")
    pond.converse("danger", "3", "6", end)
    assert pond.step() in ("larva.look", "close.start", "close.out", "net.spot")
    said = close(pond, code_of(pond))
    assert not any(line.startswith("danger:") for line in said)
    assert "danger_open" not in found(pond, code_of(pond))


def test_an_alarm_that_went_out_is_said(gone):
    gone.wait(120)
    assert gone.rows("SELECT count(*) FROM log WHERE kind = 'alarm'") == [(1,)]
    said = close(gone, code_of(gone))
    assert any(line.startswith("alarms: 1 alarm went out, the last at 2026-07-04 ") for line in said)


def test_every_phone_of_a_visit_hears_that_it_is_closed(gone):
    ((word,),) = gone.rows("SELECT word FROM visit")
    gone.text(f"join {word}", "+101")
    close(gone, code_of(gone))
    last = dict(gone.rows("SELECT number, text FROM outgoing JOIN phone ON phone.id = phone ORDER BY outgoing.id"))
    assert all(text.startswith("ALL: the coordinator closed visit") for text in last.values())
    assert len(last) == 2
    states = gone.rows("SELECT json_extract(state, '$.frames[0].step') FROM seat")
    assert states == [("end",), ("end",)]


def test_a_visit_whose_book_this_program_cannot_read_is_closed_all_the_same(gone):
    gone.db.execute("UPDATE flow_book SET toml = replace(toml, 'kind = \"yes_no\"', 'kind = \"of_old\"')")
    gone.exchange._talks.clear()
    code = code_of(gone)
    gone.now += timedelta(days=1)
    close_visit(gone.exchange, code, WHY, False, gone.now)
    assert gone.rows("SELECT status FROM visit") == [("closed",)]


def test_an_open_visit_is_shown_with_the_command_that_closes_it(gone):
    shown = "\n".join(visit_lines(gone.db, visit_of(gone, code_of(gone)), False))
    assert f"    wadeline desk close {code_of(gone)} --reason WHY" in shown


def test_a_larva_in_a_shut_bag_waits_to_be_looked_at_and_can_be_kept(pond):
    pond.until("larva.outer")
    code = code_of(pond)
    tag = visit_of(pond, code).samples[0].tag
    with pytest.raises(VisitError, match=r"still open: .* is in the pair's hands"):
        fix_as_said(pond.exchange.store, code, [tag, "keep"], WHY, pond.now)
    assert f"in hand: larva {tag}, its bag shut: stays open, to be looked at (keep or void)" in close(pond, code)
    still = found(pond, code)["still_open"]
    assert still.serious
    assert f"wadeline desk fix {code} {tag} keep --reason WHY" in still.fix
    fix_as_said(pond.exchange.store, code, [tag, "keep"], "bag and slip in the cooler", pond.now)
    assert visit_of(pond, code).samples[0].status == "kept"
    with pytest.raises(VisitError, match="is kept already"):
        fix_as_said(pond.exchange.store, code, [tag, "keep"], WHY, pond.now)
    pond.whole()


def test_a_sample_without_a_tag_cannot_be_kept_at_the_desk(pond):
    pond.until("larva.name")
    code = code_of(pond)
    close(pond, code)
    with pytest.raises(VisitError, match="s1 has no tag, so it can't be kept: make it void"):
        fix_as_said(pond.exchange.store, code, ["s1", "keep"], WHY, pond.now)


@pytest.mark.parametrize("reason", ["", "  "])
def test_a_close_has_its_reason_and_happens_once(gone, reason):
    with pytest.raises(VisitError, match="a close needs its reason"):
        close(gone, code_of(gone), reason=reason)
    close(gone, code_of(gone))
    with pytest.raises(VisitError, match="is closed already"):
        close(gone, code_of(gone))


def test_accept_of_an_open_visit_names_the_command(gone):
    with pytest.raises(VisitError, match=rf"wadeline desk close {code_of(gone)} --reason WHY"):
        accept_visit(gone.exchange.store, code_of(gone), None, gone.now)


@pytest.fixture
def laptop(open_field):
    """A laptop whose visit is still open."""
    field = open_field("laptop.db")
    field.exchange.seed = "laptop"
    field.until("larva.outer")
    field.until("larva.measure")
    return field


def test_a_merged_visit_is_closed_at_the_desk_and_its_pairs_own_close_counts_when_it_comes(open_field, laptop):
    desk, code = open_field("desk.db"), code_of(laptop)
    desk.now = laptop.now
    merge_file(desk.exchange.store, path_of(laptop), laptop.now)
    assert any(line.endswith("stays open, to be looked at (keep or void)") for line in close(desk, code))
    fix_as_said(desk.exchange.store, code, ["site", "quill"], "the leader rang", desk.now)
    accept_visit(desk.exchange.store, code, "waits for the laptop", desk.now)
    laptop.until("close.end")
    merge_file(desk.exchange.store, path_of(laptop), desk.now)
    visit, own = visit_of(desk, code), visit_of(laptop, code)
    assert (visit.status, visit.closed_at, visit.accepted_at) == ("closed", own.closed_at, None)
    assert visit.site == "quill"
    assert {sample.status for sample in visit.samples} == {"kept"}
    assert "closed_at_desk" not in found(desk, code)
    merge_file(laptop.exchange.store, path_of(desk), desk.now)
    assert projected(laptop) == projected(desk)
    desk.whole()
    laptop.whole()


def projected(field):
    return [
        field.rows("SELECT site, status, closed_at, local_date, answers FROM visit"),
        field.rows("SELECT uid, tag, length_mm, family, status, void_reason FROM sample ORDER BY uid"),
        field.rows("SELECT sample, flag FROM sample_flag ORDER BY 1, 2"),
        field.rows("SELECT uid, last_site FROM kit"),
        field.rows("SELECT code, status, sample FROM tag ORDER BY code"),
    ]


def test_a_close_tells_a_script_what_was_done_under_the_name_that_fix_and_accept_use(gone, capsys):
    code = code_of(gone)
    assert main(["desk", "close", code, "--reason", WHY, "--json", "--db", str(path_of(gone))]) == 0
    done = json.loads(capsys.readouterr().out)
    assert list(done) == ["done"]
    assert f"visit {code} is closed at the desk: 2 samples kept" in done["done"].splitlines()
