"""A visit's own answers are put right at the desk: site, day, group, counts. The original stays in the log."""

import json
import shutil
from datetime import UTC, datetime, timedelta

import pytest

from guide.desk.accept import accept_visit
from guide.desk.findings import check_visit
from guide.desk.fix import fix_as_said
from guide.desk.show_visit import visit_lines
from guide.desk.visits import VisitError, append_at_desk, load_visit
from guide.gateway.exchange import Exchange
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.store import Store
from tests.conftest import START, Field, load
from tests.desk.set_up_world import Desk, texting

NOW = datetime(2026, 7, 6, 8, 0, tzinfo=UTC)
WHY = "the group rang"


@pytest.fixture(scope="module")
def _closed(tmp_path_factory, book):
    """A file with a closed visit of twelve larvae at Amberwell Pond, made once."""
    path = tmp_path_factory.mktemp("closed") / "record.db"
    field = Field(Exchange(Store(open_record(path)), book, load, 7))
    field.exchange.set_up(START)
    field.until("close.end")
    field.db.close()
    return path


@pytest.fixture
def closed(_closed, tmp_path, open_field):
    """A copy of that record."""
    shutil.copy(_closed, tmp_path / "record.db")
    field = open_field()
    field.now = NOW
    return field


def visit_of(field):
    return load_visit(field.db, field.rows("SELECT uid FROM visit ORDER BY id")[0][0])


def fix(field, *words, reason=WHY, now=NOW):
    said = fix_as_said(field.exchange.store, visit_of(field).code, words, reason, now)
    field.whole()
    return said


def found(field, check):
    return [finding for finding in check_visit(visit_of(field)) if finding.check == check]


def shown(field):
    return "\n".join(visit_lines(field.db, visit_of(field), False))


def at_desk(field, *entries):
    with field.exchange.store.transaction():
        append_at_desk(field.exchange.store, visit_of(field).uid, entries, NOW)


def given_to(field, site, codes):
    """The desk gives tags to a site."""
    data = {"programme": visit_of(field).programme, "practice": 1, "site": site, "codes": codes}
    with field.exchange.store.transaction():
        field.exchange.store.append("desk", "desk", 0, NOW, [Entry("tags_assigned", "", data)])


def test_a_wrong_site_is_put_right_and_the_pairs_own_word_stays_in_the_log(closed):
    assert fix(closed, "site", "quill") == f"site of visit {visit_of(closed).code} is quill now, it was amberwell"
    assert visit_of(closed).site == "quill"
    assert [entry.data["site"] for entry in visit_of(closed).told_of_itself("site")] == ["amberwell", "quill"]
    assert "site      quill (put right, told amberwell), 2026-07-04" in shown(closed)
    assert f"site of the visit: amberwell became quill at the desk: {WHY}" in shown(closed)


@pytest.mark.parametrize("said", ["quill", "QUILL", "Quill Brook"])
def test_a_site_is_named_by_its_code_or_its_name(closed, said):
    fix(closed, "site", *said.split())
    assert visit_of(closed).site == "quill"


def test_a_site_that_the_programme_does_not_have_is_refused_with_the_nearest(closed):
    with pytest.raises(VisitError, match=r"the programme has no site 'quil'; did you mean quill\?"):
        fix(closed, "site", "quil")


def test_the_kit_was_last_where_the_visit_really_was(closed):
    fix(closed, "site", "quill")
    assert {site for (site,) in closed.rows("SELECT last_site FROM kit")} == {"quill"}


def test_tags_of_the_right_site_lose_their_flag_and_those_of_the_wrong_one_get_it(closed):
    first, *others = [sample.tag for sample in visit_of(closed).kept]
    given_to(closed, "quill", others)
    given_to(closed, "amberwell", [first])
    told = {"tag": others[0], "flags": ["tag_of_other_site"]}
    at_desk(closed, Entry("answer", "", told, visit_of(closed).samples[1].uid))
    assert visit_of(closed).samples[1].flags == ("tag_of_other_site",)
    fix(closed, "site", "quill")
    flagged = [sample.tag for sample in visit_of(closed).kept if "tag_of_other_site" in sample.flags]
    assert flagged == [first]
    fix(closed, first, "unflag", "tag_of_other_site")
    assert not any(sample.flags for sample in visit_of(closed).kept)


def flags_of(field):
    return visit_of(field).samples[0].flags


def test_a_flag_set_by_hand_outlives_a_site_that_was_put_right(closed):
    fix(closed, "s1", "flag", "tag_of_other_site")
    fix(closed, "site", "quill")
    assert flags_of(closed) == ("tag_of_other_site",)
    fix(closed, "s1", "unflag", "tag_of_other_site")
    assert flags_of(closed) == ()
    assert fix(closed, "s1", "flag", "tag_of_other_site").endswith("is flagged tag_of_other_site")
    assert flags_of(closed) == ("tag_of_other_site",)


def test_a_flag_set_by_hand_outlives_a_length_that_brought_it_too(closed):
    fix(closed, "s1", "flag", "odd_length_mm")
    fix(closed, "s1", "length", "70")
    fix(closed, "s1", "length", "26")
    assert flags_of(closed) == ("odd_length_mm",)


def test_a_flag_taken_off_by_hand_stays_off_and_the_next_fix_says_so(closed):
    assert fix(closed, "s1", "length", "70").endswith("it was 27 mm")
    assert flags_of(closed) == ("odd_length_mm",)
    fix(closed, "s1", "unflag", "odd_length_mm")
    said = fix(closed, "s1", "length", "71")
    assert said.endswith("; the flag odd_length_mm was taken off by hand and stays off: set it if it holds now")
    assert flags_of(closed) == ()


def test_slips_of_another_sites_sheet_suggest_the_command_that_moves_the_visit(closed):
    given_to(closed, "quill", [sample.tag for sample in visit_of(closed).kept[:8]])
    (finding,) = found(closed, "site_doubtful")
    assert finding.serious
    assert finding.what == "8 of 12 slips were given to quill, the visit is told as at amberwell"
    assert finding.fix.startswith(f"wadeline desk fix {visit_of(closed).code} site quill --reason WHY")
    fix(closed, "site", "quill")
    assert not found(closed, "site_doubtful")


def test_few_slips_of_another_site_are_no_doubt_about_the_site(closed):
    given_to(closed, "quill", [sample.tag for sample in visit_of(closed).kept[:6]])
    assert not found(closed, "site_doubtful")


def test_a_wrong_day_is_put_right_and_never_lies_ahead(closed):
    said = fix(closed, "day", "2026-07-03")
    assert "is 2026-07-03 now, it was 2026-07-04; its samples were taken on 2026-07-04 by the clock of the talk" in said
    assert visit_of(closed).local_date == "2026-07-03"
    with pytest.raises(VisitError, match="2026-07-09 is still to come"):
        fix(closed, "day", "2026-07-09")


def test_samples_of_another_day_suggest_the_command_for_the_day(closed):
    fix(closed, "day", "2026-07-01")
    assert not found(closed, "day_doubtful")  # the desk has said so
    closed.db.execute("UPDATE visit SET local_date = '2026-07-01', answers = json_remove(answers, '$.put_right')")
    (finding,) = found(closed, "day_doubtful")
    assert finding.what == "its samples were taken on 2026-07-04, the visit's day is 2026-07-01"
    assert finding.fix == f"wadeline desk fix {visit_of(closed).code} day 2026-07-04 --reason WHY"


def test_a_visit_on_another_day_than_planned_is_told(pond):
    pond.text("plan")
    pond.converse("amberwell", "6 July")
    pond.until("plan.ready")
    pond.text("here")
    pond.until("close.end")
    (finding,) = found(pond, "day_planned")
    assert finding.what == "it was planned for 2026-07-06, and people were there on 2026-07-04"
    fix(pond, "visit_day", "2026-07-04")
    assert not found(pond, "day_planned")


@pytest.mark.parametrize(
    ("name", "said", "value"),
    [
        ("people", "14", 14), ("water_c", "64 F", 17.8), ("water-c", "18,5", 18.5), ("bags_counted", "11", 11),
        ("ice_ok", "n", False), ("minors", "2", 2), ("label_percent", "8.25 %", 8.25),
    ],
)  # fmt: skip
def test_an_answer_is_read_as_the_talk_reads_it(closed, name, said, value):
    fix(closed, name, *said.split())
    assert visit_of(closed).answers[name.replace("-", "_")] == pytest.approx(value, abs=0.05)


@pytest.mark.parametrize(
    ("name", "said", "why"),
    [
        ("people", "many", "'many' can't be read as people"),
        ("water_c", "UNKNOWN", "'UNKNOWN' can't be read as water_c"),
        ("ice_ok", "perhaps", "'perhaps' can't be read as ice_ok"),
        ("visit_day", "4/7/2026", "can't be read as visit_day, surely: write it like 2026-07-06"),
        ("people", "", "people needs what it should be"),
        ("peple", "3", "a visit has no answer 'peple'; did you mean people?"),
        ("practice", "no", "is practice and stays so"),
        ("kit", "K2", "kit is not put right here"),
        ("custody", "AB", "who has the cooler is told with desk custody"),
    ],
)
def test_what_cannot_be_read_or_changed_is_refused_in_words(closed, name, said, why):
    before = closed.rows("SELECT count(*) FROM log")
    with pytest.raises(VisitError) as refused:
        fix(closed, name, said) if said else fix(closed, name)
    assert why in str(refused.value)
    assert closed.rows("SELECT count(*) FROM log") == before


@pytest.mark.parametrize(
    "name", ["thunder", "in_water", "floats", "depth_m", "drift_s", "out_count", "home_count", "permit_in_hand"]
)
def test_what_was_said_about_safety_stands_as_said(closed, name):
    with pytest.raises(VisitError, match=r"it stands as said. Add what is known now: wadeline desk fix \w+ note"):
        fix(closed, name, "1")


def test_the_record_of_safety_keeps_the_temperature_that_was_told(closed):
    told = closed.rows("SELECT answer FROM safety WHERE question = 'water_c'")
    fix(closed, "water_c", "12 C")
    assert closed.rows("SELECT answer FROM safety WHERE question = 'water_c'") == told


def test_a_note_is_kept_with_the_visit_and_shown(closed):
    assert fix(closed, "note", reason="three waded, not one").startswith("noted with visit")
    assert "note by the desk, 07-06 09:00: three waded, not one" in shown(closed)
    fix(closed, "note", "otter", "seen", reason="told by phone")
    assert "09:00: otter seen (told by phone)" in shown(closed)


def test_words_are_put_right_with_their_reason_beside_them(closed):
    fix(closed, "lots", "gloves", "5521")
    assert "  lots             gloves 5521 (put right, told nothing)\n" in shown(closed)
    assert closed.rows("SELECT text FROM words ORDER BY entry DESC LIMIT 2") == [(WHY,), ("gloves 5521",)]


def test_heads_that_no_longer_agree_are_told(closed):
    fix(closed, "people", "14")
    (finding,) = found(closed, "heads_differ")
    assert finding.what == "14 people are told now, 3 were counted out of the water"


def test_a_word_that_is_near_no_answer_is_told_them_all(closed):
    with pytest.raises(VisitError, match=r"there is site, day, group, .*people, .*water_c") as refused:
        fix(closed, "zzz", "3")
    assert "in_water" not in str(refused.value)


def test_the_same_value_again_is_refused(closed):
    with pytest.raises(VisitError, match=r"site of visit .* is amberwell already"):
        fix(closed, "site", "amberwell")


def test_a_number_out_of_line_is_taken_at_the_desk(closed):
    said = fix(closed, "people", "45")  # the talk would ask once, then keep it
    assert said.endswith("; that is out of line (2 to 40 is usual): fix it again if it was a slip")
    assert visit_of(closed).answers["people"] == 45


def test_an_answer_of_an_open_visit_is_the_pairs(pond):
    pond.until("larva.look")
    with pytest.raises(VisitError, match=r"still open, and its answers are the pair's: .* wadeline desk close"):
        fix(pond, "site", "quill")


def test_an_accepted_visit_is_looked_at_again(closed):
    accept_visit(closed.exchange.store, visit_of(closed).code, None, NOW)
    assert visit_of(closed).accepted_at
    assert "accept it again: desk accept" in fix(closed, "people", "14")
    assert visit_of(closed).accepted_at is None


def test_a_count_of_bags_that_was_put_right_is_no_difference(closed):
    at_desk(closed, Entry("bags_differ", "", {"counted": 11, "kept": 12}))
    (finding,) = found(closed, "bags_differ")
    assert f"wadeline desk fix {visit_of(closed).code} bags_counted N --reason WHY" in finding.fix
    fix(closed, "bags_counted", "10")
    assert found(closed, "bags_differ")[0].what == "10 bags were counted, the record keeps 12 larvae"
    fix(closed, "bags_counted", "12")
    assert not found(closed, "bags_differ")


def test_an_answer_that_the_talk_tells_later_counts_after_the_fix(closed):
    fix(closed, "tub_l", "12")
    store = closed.exchange.store
    with store.transaction():
        turn = store.add_turn(gateway="line", received_at="2026-07-06T09:00:00.000Z", raw="20 l")
        store.append(visit_of(closed).uid, "A", turn, NOW, [Entry("answer", "disinfect.tub", {"tub_l": 20.0})])
        store.end_turn(turn, None, visit_of(closed).uid)
    assert visit_of(closed).answers["tub_l"] == 20
    closed.whole()


def test_a_protected_family_of_the_right_site_is_serious(circle: Desk):
    desk = circle
    pond = texting(desk)
    pond.until("close.end")
    code = pond.rows("SELECT code8 FROM visit")[0][0]
    pond.db.close()
    desk.said("sites", desk.file("sites.csv", "code,name,protected\nreed,Reedmere,Aeshnidae\n"))
    desk.said("fix", code, "site", "Reedmere", "--reason", WHY)
    told = [finding for finding in desk.told("visit", code)["findings"] if finding["check"] == "protected"]
    assert len(told) == len(desk.rows("SELECT 1 FROM sample WHERE family = 'Aeshnidae' AND status = 'kept'")) > 0
    assert "a darner, which the permit of Reedmere protects" in told[0]["what"]
    desk.whole()


def test_a_moved_visit_leaves_the_choice_and_comes_with_its_site_into_exports(circle: Desk):
    desk = circle
    pond = texting(desk)
    pond.until("close.end")
    code = pond.rows("SELECT code8 FROM visit")[0][0]
    pond.db.close()
    desk.said("accept", code)
    desk.said("choose", "--site", "amberwell")
    plan = ("ship", "plan", "--all", "--from", "2026-09-21", "--days", "2")
    assert "12 larvae" in desk.said(*plan)
    said = desk.said("fix", code, "site", "quill", "--reason", WHY)
    assert "its larvae were chosen at amberwell: choose again with desk choose --site amberwell, then" in said
    code_, out_, err = desk.run(*plan)
    assert (code_, out_) == (2, "")
    assert "desk choose" in err
    desk.said("choose", "--site", "quill")
    out = desk.folder / "out"
    desk.said("export", "--site", "quill", "--to", str(out))
    assert ",quill," in (out / "samples.csv").read_text()
    assert f"{code}," in (out / "visits.csv").read_text()
    events = (out / "events.csv").read_text()
    assert ",site,amberwell,quill," in events
    assert WHY not in events
    page = (out / "summary_quill.html").read_text()
    assert "Quill Brook" in page
    assert "site of the visit: amberwell became quill at the desk" in page
    assert WHY not in page
    assert json.loads(desk.said("visit", code, "--json"))["site"] == "quill"
    desk.whole()


def test_the_group_is_put_right_to_one_that_there_is(circle: Desk):
    desk = circle
    desk.said("groups", desk.file("groups.csv", "code,name\nG1,The Early Herons\n"))
    pond = texting(desk)
    pond.until("close.end")
    code = pond.rows("SELECT code8 FROM visit")[0][0]
    pond.db.close()
    assert "there is no group 'G9'" in desk.refused("fix", code, "group", "G9", "--reason", WHY)
    assert "group of visit" in desk.said("fix", code, "group", "g1", "--reason", WHY)
    assert desk.told("visit", code)["group"] == "G1"


def test_a_sample_is_still_named_by_its_tag_and_what_lacks_is_said(closed):
    tag = visit_of(closed).kept[0].tag
    assert fix(closed, tag, "length", "30") == f"length of {tag} is 30 mm now, it was 27 mm"
    with pytest.raises(VisitError, match=f"what about {tag}\\? Say one of length, family"):
        fix(closed, tag)
    with pytest.raises(VisitError, match="has no sample '99999'"):
        fix(closed, "99999", "length", "30")
    with pytest.raises(VisitError, match="a fix needs its reason"):
        fix(closed, "people", "3", reason=" ")


def test_each_fix_covers_the_one_before(closed):
    for number, people in enumerate(("4", "5", "6")):
        fix(closed, "people", people, now=NOW + timedelta(minutes=number))
    told = visit_of(closed).told_of_itself("people")
    assert [entry.supersedes for entry in told[1:]] == [entry.ref for entry in told[:-1]]
    assert visit_of(closed).answers["people"] == 6
