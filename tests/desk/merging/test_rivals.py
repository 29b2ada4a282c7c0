"""Two records that don't agree: both sides are told, nothing is overwritten, and a fix over both settles it."""

from guide.desk.accept import accept_visit
from guide.desk.show_visit import visit_lines
from guide.desk.visits import load_visit, visit_uid
from guide.record.jsonl import held_lines, written
from guide.record.verify import verify
from tests.desk.merging.machines import NOW, code_of, everything, export, findings, fix, folded, merge, own_fix, path_of


def test_a_tag_used_twice_is_told_with_both_sides_and_nothing_is_overwritten(laptop, desk):
    desk.until("close.end")
    own, theirs = code_of(desk), code_of(laptop)
    before = desk.rows("SELECT code, status, sample FROM tag ORDER BY code")
    merged = merge(desk, path_of(laptop))
    assert len(merged.disagree) == 12
    assert f"{theirs}: tag 01402 is on s1 of this visit and on visit {own} (sample s1)" in merged.disagree[0]
    assert desk.rows("SELECT code, status, sample FROM tag ORDER BY code") == before
    assert desk.rows("SELECT count(*) FROM sample WHERE status = 'kept'") == [(24,)]
    assert "tag_twice" in findings(desk, own)
    assert "tag 01402 is on sample" in verify(desk.db).doubts[0]


def test_a_tag_used_twice_is_whole_again_when_one_side_gets_its_right_tag(laptop, desk):
    desk.until("close.end")
    own, theirs = code_of(desk), code_of(laptop)
    merge(desk, path_of(laptop))
    free = [code for (code,) in desk.rows("SELECT code FROM tag WHERE status = 'free' ORDER BY code")]
    for number in range(1, 13):
        fix(desk, (own, theirs)[number % 2], f"s{number}", "tag", free[number - 1])
        desk.whole()
    assert "tag_twice" not in findings(desk, own) | findings(desk, theirs)
    assert verify(desk.db).doubts == []


def test_a_void_sample_leaves_its_tag_to_the_other_side(laptop, desk):
    desk.until("close.end")
    merge(desk, path_of(laptop))
    fix(desk, code_of(desk), "s1", "void")
    desk.whole()
    owner = "SELECT code8, tag.status FROM tag JOIN sample ON sample.uid = tag.sample JOIN visit ON visit.uid = visit "
    assert desk.rows(owner + "WHERE code = '01402'") == [(code_of(laptop), "used")]


def test_rival_fixes_are_a_finding_and_neither_wins_in_whatever_order_they_came(laptop, machines):
    code, here, there = code_of(laptop), machines("here"), machines("there")
    for field in (here, there):
        merge(field, path_of(laptop))
    fix(here, code, "s2", "length", "30")
    fix(there, code, "s2", "length", "31")
    fix(there, code, "s2", "length", "32", "once more")
    merge(here, path_of(there))
    merge(there, path_of(here))
    for field in (here, there):
        assert field.rows("SELECT length_mm FROM sample WHERE uid LIKE '%-2'") == [(27.0,)]
        told = findings(field, code)["rival_fixes"]
        assert "was put right to 3" in told
        assert told.endswith("neither counts, 27 from before both stands")


def test_a_fix_over_rivals_settles_them_everywhere(laptop, machines):
    code, here, there = code_of(laptop), machines("here"), machines("there")
    for field, length in ((here, "12"), (there, "31")):
        merge(field, path_of(laptop))
        fix(field, code, "s2", "length", length)
    merge(here, path_of(there))
    assert here.rows("SELECT flag FROM sample_flag") == []
    fix(here, code, "s2", "length", "11", "measured a third time")
    merge(there, path_of(here))
    for field in (here, there):
        assert field.rows("SELECT length_mm FROM sample WHERE uid LIKE '%-2'") == [(11.0,)]
        assert field.rows("SELECT flag FROM sample_flag") == [("under_minimum",)]
        assert "rival_fixes" not in findings(field, code)


def test_a_rival_that_comes_after_the_fix_over_it_changes_nothing(laptop, machines, tmp_path):
    code, here, there, third = code_of(laptop), machines("here"), machines("there"), machines("third")
    for field, length in ((here, "30"), (there, "31")):
        merge(field, path_of(laptop))
        fix(field, code, "s2", "length", length)
    merge(here, path_of(there))
    fix(here, code, "s2", "length", "32", "measured a third time")
    alone = tmp_path / "alone.jsonl"
    alone.write_text("".join(written(held_lines(here.db, "log.origin = 1 AND stream != 'desk'"), True)), "utf-8")
    for path in (path_of(laptop), alone, path_of(there)):
        merge(third, path)
        assert third.rows("SELECT length_mm FROM sample WHERE uid LIKE '%-2'") == [
            (27.0 if "laptop" in path.name else 32.0,)
        ]


def test_rival_sites_of_a_visit_are_a_finding_until_a_fix_over_both_settles_them(laptop, machines):
    code, first, second = code_of(laptop), machines("first"), machines("second")
    for field, site in ((first, "quill"), (second, "sallow")):
        merge(field, path_of(laptop))
        own_fix(field, code, "site", site)
    merged = merge(first, path_of(second))
    merge(second, path_of(first))
    assert folded(first, code) == folded(second, code)
    for field in (first, second):
        told = findings(field, code)["rival_fixes"]
        assert told.startswith("site of the visit was put right to ")
        assert "quill by machine" in told
        assert "sallow by machine" in told
        assert folded(field, code)[0][0][1] == "amberwell"
    assert len(merged.disagree) == 1
    assert own_fix(first, code, "site", "harrow").startswith(f"site of visit {code} is harrow now, it was amberwell")
    merge(second, path_of(first))
    for field in (first, second):
        assert "rival_fixes" not in findings(field, code)
        assert folded(field, code)[0][0][1] == "harrow"


def test_two_machines_that_put_a_visit_right_alike_agree(laptop, machines):
    code, first, second = code_of(laptop), machines("first"), machines("second")
    for field in (first, second):
        merge(field, path_of(laptop))
        own_fix(field, code, "people", "14")
    assert merge(first, path_of(second)).disagree == []
    assert load_visit(first.db, visit_uid(first.db, code)).answers["people"] == 14


def test_rival_words_are_told_and_the_words_before_both_stand(laptop, machines):
    code, first, second = code_of(laptop), machines("first"), machines("second")
    for field, lots in ((first, "gloves 1"), (second, "gloves 2")):
        merge(field, path_of(laptop))
        own_fix(field, code, "seen", lots)
    merge(first, path_of(second))
    told = findings(first, code)["rival_fixes"]
    assert "gloves 1 by machine" in told
    assert "gloves 2 by machine" in told
    shown = "\n".join(visit_lines(first.db, load_visit(first.db, visit_uid(first.db, code)), False))
    assert "  seen             sunny still clear weed silt (put right, told sunny still clear weed silt)" in shown


def test_a_site_put_right_travels_in_a_file_without_its_reason(laptop, desk, tmp_path):
    code = code_of(laptop)
    own_fix(laptop, code, "site", "quill")
    own_fix(laptop, code, "day", "2026-07-03")
    merge(desk, export(laptop, tmp_path / "log.jsonl", with_words=False))
    assert folded(desk, code) == folded(laptop, code)
    visit = load_visit(desk.db, visit_uid(desk.db, code))
    assert (visit.site, visit.local_date) == ("quill", "2026-07-03")
    assert "the leader rang" not in str(everything(desk))


def test_rival_first_tellings_leave_it_untold(machines, desk):
    laptop = machines("laptop")
    laptop.until("larva.pace")
    laptop.converse("brisk", "27 darner 01444")
    opened = laptop.rows("SELECT uid FROM sample WHERE length_mm IS NULL OR family IS NULL")
    assert opened == []
    here, there = machines("here"), machines("there")
    laptop.converse("slower", "slower", "y", "ok")
    code = code_of(laptop)
    for field, length in ((here, "30"), (there, "31")):
        merge(field, path_of(laptop))
        fix(field, code, "s5", "length", length)
    merge(here, path_of(there))
    merge(there, path_of(here))
    for field in (here, there):
        assert field.rows("SELECT length_mm FROM sample WHERE uid LIKE '%-5'") == [(None,)]
        assert findings(field, code)["rival_fixes"].endswith("neither counts, nothing from before both stands")


def test_rival_tags_leave_the_tag_from_before_both_used(laptop, machines):
    code, here, there = code_of(laptop), machines("here"), machines("there")
    free = [tag for (tag,) in laptop.rows("SELECT code FROM tag WHERE status = 'free' ORDER BY code LIMIT 2")]
    for field, tag in zip((here, there), free, strict=True):
        merge(field, path_of(laptop))
        fix(field, code, "s2", "tag", tag)
    merge(here, path_of(there))
    assert here.rows("SELECT tag FROM sample WHERE uid LIKE '%-2'") == [("01415",)]
    assert here.rows("SELECT code FROM tag WHERE status = 'used' AND code IN (?, ?)", *free) == []


def test_a_merge_of_more_takes_acceptance_away(laptop, desk):
    merge(desk, path_of(laptop))
    accept_visit(desk.exchange.store, code_of(laptop), None, NOW)
    desk.whole()
    laptop.converse("freeze", "AB", "NONE", "y", "SHED 2")
    assert desk.rows("SELECT accepted_at IS NOT NULL FROM visit") == [(1,)]
    merge(desk, path_of(laptop))
    assert desk.rows("SELECT accepted_at FROM visit") == [(None,)]


def test_what_was_accepted_elsewhere_comes_in_accepted(laptop, desk):
    accept_visit(laptop.exchange.store, code_of(laptop), None, NOW)
    merge(desk, path_of(laptop))
    assert desk.rows("SELECT accepted_at IS NOT NULL FROM visit") == [(1,)]
