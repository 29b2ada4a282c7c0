"""Reviewing a visit: what is found, with its entries and the fix that puts it right; fixes and acceptance."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random

import pytest

from guide.cli import main
from guide.desk.accept import NotAcceptedError, accept_visit
from guide.desk.findings import check_visit
from guide.desk.fix import Wanted, fix_visit
from guide.desk.visits import LogEntry, Others, Sample, Slip, Visit, VisitError, load_visit, visit_uid

NOW = datetime(2026, 7, 6, 8, 0, tzinfo=UTC)
WHY = "misread, photo 12"


@pytest.fixture
def closed(pond):
    """A closed visit of twelve darners of 27 mm."""
    pond.until("close.end")
    return pond


def path_of(field):
    return field.db.execute("PRAGMA database_list").fetchone()[2]


def visit_of(field, number=0):
    """A visit of the record by its place, loaded."""
    return load_visit(field.db, field.rows("SELECT uid FROM visit ORDER BY id")[number][0])


def found(visit):
    """What is found in a visit: sentences by check."""
    sentences = {}
    for finding in check_visit(visit):
        sentences.setdefault(finding.check, []).append(finding.what)
    return sentences


def fix(field, sample, act, value="", reason=WHY):
    done = fix_visit(field.exchange.store, Wanted(visit_of(field).code, sample, act, value, reason), NOW)
    field.whole()
    return done


def changed(visit, number=0, **values):
    """A visit one of whose samples is otherwise."""
    samples = list(visit.samples)
    samples[number] = replace(samples[number], **values)
    return replace(visit, samples=tuple(samples))


# Checks


def test_a_visit_without_a_flaw_has_only_what_is_still_to_do(closed):
    assert set(found(visit_of(closed))) == {"kit_unclean", "not_frozen"}
    closed.converse("freeze", "AB", "NONE", "y", "SHED 2", "-18 C", "gear")
    closed.now += timedelta(minutes=1)
    while closed.step() != "close.end" and closed.last["+100"][-1].options:
        closed.text(closed.last["+100"][-1].options[0], minutes=11)
    assert found(visit_of(closed)) == {}
    closed.whole()


def test_every_finding_has_a_way_to_put_it_right_or_says_why_none(closed):
    visit = changed(visit_of(closed), 0, tag=None, length_mm=9.0, family="Gomphidae", flags=("third_bag",))
    for finding in check_visit(replace(visit, others=Others(samples=100))):
        assert finding.fix.startswith(("wadeline desk ", "none", "if the flag", "measure", "look"))


SAMPLES = {
    "no_tag": ({"tag": None}, "larva s1 is kept without a tag"),
    "tag_unknown": ({"tag": "99999"}, "tag 99999 of s1 is not in the pool"),
    "still_open": ({"status": "open"}, "larva s1 was opened and never finished"),
    "no_length": ({"length_mm": None}, "larva 01402 has no length"),
    "no_family": ({"family": None, "sure": None}, "larva 01402 has no family"),
    "singleton": ({"family": "Gomphidae"}, "01402 is the only clubtail, 2 are needed"),
    "under_size": ({"length_mm": 12.5}, "01402 is 12.5 mm, shorter than 13 mm"),
    "flagged": ({"flags": ("third_bag",)}, "01402 is flagged: third bag"),
    "void": ({"status": "void", "void_reason": "slip"}, "01402 is void: slip"),
    "late_ice": ({"iced_at": datetime(2026, 7, 4, 12, tzinfo=UTC)}, "01402 was on ice "),
    "late_freezer": ({"frozen_at": datetime(2026, 7, 5, 3, tzinfo=UTC)}, "larvae were frozen on 2026-07-0"),
}


@pytest.mark.parametrize("check", SAMPLES)
def test_a_sample_that_is_not_as_it_should_be_is_found(closed, check):
    values, said = SAMPLES[check]
    before, after = found(visit_of(closed)), found(changed(visit_of(closed), **values))
    assert check not in before
    assert said in after[check][0]


def test_only_what_puts_a_specimen_in_doubt_is_serious(closed):
    serious = {}
    for check, (values, _) in SAMPLES.items():
        told = check_visit(changed(visit_of(closed), **values))
        serious[check] = next(finding.serious for finding in told if finding.check == check)
    assert {check for check, yes in serious.items() if yes} == {"no_tag", "tag_unknown", "still_open", "no_length"}


def test_a_protected_family_is_serious(closed):
    (told,) = [one for one in check_visit(changed(visit_of(closed), flags=("protected",))) if one.check == "flagged"]
    assert told.serious
    assert "the permit protects this family" in told.fix


def test_a_tag_made_void_or_given_elsewhere_is_found(closed):
    visit = visit_of(closed)
    pool = visit.pool["01402"]
    void = replace(visit, pool={**visit.pool, "01402": replace(pool, status="void", owner=None)})
    assert found(void)["tag_void"] == ["tag 01402 of s1 was made void at the desk"]
    elsewhere = replace(visit, pool={**visit.pool, "01402": replace(pool, site="fen")})
    assert found(elsewhere)["tag_elsewhere"] == ["tag 01402 of s1 was given to site fen, this visit is at amberwell"]


def test_a_slip_rate_out_of_the_usual_says_test_and_threshold(closed):
    visit = visit_of(closed)
    slips = tuple(Slip(f"r/{n}", f"A{n}", visit.samples[n].uid, "GLOVE", "yes", "new_bag") for n in range(5))
    usual = replace(visit, slips=slips, others=Others(slips=3, samples=100, visits=9))
    (told,) = found(usual)["many_slips"]
    assert told == (
        "5 of 12 samples had a slip; in the 9 other closed visits 3 of 100 had "
        "(Fisher's exact test, one-sided, p = 0.00028, below 0.01)"
    )
    taken_back = tuple(replace(slip, remedy="no_slip") for slip in slips)
    assert "many_slips" not in found(replace(usual, slips=taken_back))


def entry(visit, kind, minutes, sample=None, words=None, seat="A", **data):
    """One more entry of a visit, so long after its opening."""
    at = visit.opened_at + timedelta(minutes=minutes)
    return LogEntry(f"m/{visit.uid}/{kind}{minutes}", at, seat, kind, "", sample, data, None, words)


def with_entries(visit, *entries):
    return replace(visit, entries=tuple(sorted((*visit.entries, *entries), key=lambda one: one.at)))


def test_a_second_measure_that_differs_by_more_than_two_millimetres_is_found(closed):
    visit = visit_of(closed)
    uid = visit.samples[0].uid
    far = with_entries(visit, entry(visit, "remeasured", 200, uid, first_mm=27.0, second_mm=30.0))
    near = with_entries(visit, entry(visit, "remeasured", 200, uid, first_mm=27.0, second_mm=29.0))
    assert found(far)["remeasure"] == ["01402 was 27 mm and, measured blind again, 30 mm"]
    assert "remeasure" not in found(near)


def test_a_long_silence_and_an_alarm_are_found_with_their_clocks(closed):
    visit = visit_of(closed)
    late = [replace(one, at=one.at + timedelta(hours=2)) if n > 60 else one for n, one in enumerate(visit.entries)]
    visit = replace(visit, entries=tuple(late), closed_at=visit.closed_at + timedelta(hours=2))
    (told,) = found(visit)["silence"]
    assert told.startswith("no text for 121 minutes, from ")
    alarm = found(with_entries(visit, entry(visit, "alarm", 90, alarm="check_in")))["alarm"]
    assert alarm[0].startswith("an alarm (check-in) went out at ")


def test_a_clock_that_went_back_is_found(closed):
    visit = visit_of(closed)
    late = list(visit.entries)
    late[30] = replace(late[30], at=late[30].at - timedelta(minutes=30))
    assert len(found(replace(visit, entries=tuple(late)))["clock_back"]) == 1


def test_bad_ice_a_waiver_and_differing_bags_are_found(closed):
    visit = visit_of(closed)
    more = (
        entry(visit, "answer", 90, ice_ok=False),
        entry(visit, "waiver", 5, kit="K1", why="disinfection"),
        entry(visit, "bags_differ", 95, counted=11, kept=12),
    )
    told = found(with_entries(visit, *more))
    assert told["ice"][0].endswith("the ice was not good")
    assert told["waiver"] == ["kit K1 was let in without a disinfection in the record"]
    assert told["bags_differ"] == ["11 bags were counted, the record keeps 12 larvae"]


def bottle(visit, kind="water", hour=18):
    at = visit.opened_at.replace(hour=hour)
    return replace(visit.samples[0], uid="b1", name="s99", kind=kind, tag="01540", opened_at=at, length_mm=None)


def test_water_after_netting_is_found_and_water_before_it_is_not(closed):
    visit = visit_of(closed)
    late = found(replace(visit, samples=(*visit.samples, bottle(visit))))["late_bottle"]
    assert late[0].startswith("water 01540 was taken at ")
    early = replace(visit, samples=(*visit.samples, bottle(visit, hour=1)))
    assert "late_bottle" not in found(early)


def test_water_more_than_seven_days_from_the_larvae_is_serious(closed):
    visit = visit_of(closed)
    far = replace(visit, others=replace(visit.others, bottle_days=("2026-06-20", "2026-06-26")))
    (told,) = [one for one in check_visit(far) if one.check == "window_over"]
    assert (told.serious, told.what) == (
        True,
        "the nearest water or sediment of this site are of 2026-06-26, 8 days away, 7 at most",
    )
    near = replace(visit, others=replace(visit.others, bottle_days=("2026-06-27",)))
    assert "window_over" not in found(near)
    assert "window_open" not in found(visit)
    lone = replace(visit, samples=(bottle(visit),))
    assert found(lone)["window_open"][0].startswith("there are no larvae of this site yet: at most 7 days")


def test_what_was_asked_after_the_close_waits_until_it_is_done(closed):
    closed.converse("fix 01428 length 33", "desk what now?")
    told = {one.check: one for one in check_visit(visit_of(closed))}
    assert told["fix_asked"].what == "seat A asked after the close to put right: 01428 length 33"
    assert told["fix_asked"].fix == f"wadeline desk fix {visit_of(closed).code} 01428 length 33 --reason WHY"
    assert told["question"].fix == f"wadeline desk say {visit_of(closed).code}/A WORDS"
    fix(closed, "01428", "length", "33")
    assert "fix_asked" not in found(visit_of(closed))
    assert "question" in found(visit_of(closed))


def test_words_that_ask_for_a_fix_are_no_shell_commands(closed):
    closed.converse("fix 01428 family $(reboot);")
    (asked,) = [one for one in check_visit(visit_of(closed)) if one.check == "fix_asked"]
    assert asked.fix.endswith(" 01428 family '$(reboot);' --reason WHY")


def test_checks_of_an_open_visit_wait_for_its_close(pond):
    pond.until("larva.measure")
    assert check_visit(visit_of(pond)) == []


# Fixes


def test_a_length_is_put_right_and_the_original_stays_in_the_log(closed):
    assert fix(closed, "01402", "length", "3.1 cm") == "length of 01402 is 31 mm now, it was 27 mm"
    told = [one for one in check_visit(visit_of(closed)) if one.check == "changed"]
    assert told[0].what == f"length of 01402: 27 became 31 at the desk: {WHY}"
    new, old = (next(one for one in visit_of(closed).entries if one.ref == ref) for ref in told[0].entries)
    assert (old.data["length_mm"], new.data["length_mm"], new.supersedes) == (27, 31, old.ref)


def test_flags_go_with_the_length_that_brought_them_and_no_other_answer_takes_them(closed):
    fix(closed, "s1", "length", "7")
    assert visit_of(closed).samples[0].flags == ("odd_length_mm", "under_minimum")
    fix(closed, "s1", "family", "skimmer")
    assert visit_of(closed).samples[0].flags == ("odd_length_mm", "under_minimum")
    fix(closed, "s1", "flag", "photo taken")
    fix(closed, "s1", "length", "17")
    assert visit_of(closed).samples[0].flags == ("photo_taken",)
    fix(closed, "s1", "unflag", "photo taken")
    assert visit_of(closed).samples[0].flags == ()


def test_a_family_fixed_in_a_brisk_answer_leaves_its_length_flag(pond):
    pond.until("larva.pace")
    pond.converse("brisk", "11 darner 01444", "y")
    assert visit_of(pond).samples[-1].flags == ("under_minimum",)
    pond.converse("fix 01444 family skimmer")
    assert (visit_of(pond).samples[-1].family, visit_of(pond).samples[-1].flags) == ("Libellulidae", ("under_minimum",))
    pond.whole()


def test_tags_are_changed_freed_and_swapped(closed):
    fix(closed, "s1", "tag", "01523")
    fix(closed, "01415", "swap", "01428")
    tags = [sample.tag for sample in visit_of(closed).samples[:3]]
    assert tags == ["01523", "01428", "01415"]
    assert closed.rows("SELECT status FROM tag WHERE code = '01402'") == [("free",)]
    assert closed.rows("SELECT status FROM tag WHERE code = '01523'") == [("used",)]


def test_a_void_sample_takes_its_tag_along(closed):
    assert fix(closed, "01402", "void") == "01402 is void, and its tag with it"
    assert closed.rows("SELECT status FROM tag WHERE code = '01402'") == [("void",)]
    assert found(visit_of(closed))["void"] == ["01402 is void: desk"]


def test_a_note_is_kept_with_its_words(closed):
    fix(closed, "s2", "note", reason="a chip in the tail, see photo 3")
    assert visit_of(closed).entries[-1].words == "a chip in the tail, see photo 3"


REFUSED = {
    "of nobody": (("99999", "length", "30"), "has no sample '99999'"),
    "a wrong length": (("s1", "length", "long"), "'long' is no length"),
    "a length in doubt": (("s1", "length", "2.7"), "'2.7' is no length"),
    "a length that can't be": (("s1", "length", "270"), "'270' is no length"),
    "a wrong family": (("s1", "family", "beetle"), "'beetle' is no family"),
    "a foreign tag": (("s1", "tag", "99999"), "is not in the pool"),
    "a used tag": (("s1", "tag", "01415"), "if two tags were mixed up, use swap"),
    "nothing new": (("s1", "length", "27"), "is 27 mm already"),
    "no flag there": (("s1", "unflag", "thawed"), "has no flag thawed; it has none"),
    "a flag of signs": (("s1", "flag", "=1+1"), "can't be a flag"),
    "no value": (("s1", "tag", ""), "needs what it should be, such as tag 01428"),
    "itself": (("s1", "swap", "01402"), "needs two samples"),
    "no reason": (("s1", "length", "30", "  "), "needs its reason"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_fix_that_cant_be_is_refused_with_its_own_sentence_and_writes_nothing(closed, case):
    asked, said = REFUSED[case]
    before = closed.rows("SELECT count(*) FROM log, turn")
    with pytest.raises(VisitError, match=said):
        fix(closed, *asked)
    assert closed.rows("SELECT count(*) FROM log, turn") == before


def test_a_void_tag_is_refused(closed):
    fix(closed, "s1", "void")
    with pytest.raises(VisitError, match="tag 01402 is void and can't be used again"):
        fix(closed, "s2", "tag", "01402")


# Acceptance


def accept(field, anyway=None):
    return accept_visit(field.exchange.store, visit_of(field).code, anyway, NOW)


def test_a_good_visit_is_accepted_once(closed):
    assert accept(closed).endswith("is accepted: 12 samples")
    assert visit_of(closed).accepted_at == NOW
    entries = closed.rows("SELECT count(*) FROM log")
    assert "was accepted 2026-07-06 08:00 UTC" in accept(closed)
    assert closed.rows("SELECT count(*) FROM log") == entries
    closed.whole()


def test_a_visit_with_a_serious_finding_is_accepted_only_with_a_reason(closed):
    closed.converse("fix 01428 length 33")
    with pytest.raises(NotAcceptedError, match="seat A asked after the close to put right: 01428 length 33"):
        accept(closed)
    assert visit_of(closed).accepted_at is None
    assert accept(closed, "asked back, it is 27").endswith("with 1 serious finding standing")
    assert visit_of(closed).entries[-1].words == "asked back, it is 27"


@pytest.mark.parametrize("act", [("length", "30"), ("void", ""), ("flag", "late ice"), ("note", "")])
def test_a_later_fix_takes_acceptance_away(closed, act):
    accept(closed)
    fix(closed, "s1", *act)
    assert visit_of(closed).accepted_at is None


def test_an_open_visit_can_not_be_accepted(pond):
    pond.until("larva.measure")
    with pytest.raises(VisitError, match="is still open"):
        accept(pond)


# Commands


def run(capsys, *words):
    code = main(["desk", *words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_visits_are_listed_real_ones_or_practice_ones(closed, capsys):
    assert run(capsys, "visit", "--db", path_of(closed))[1] == "no real visits in this record\n"
    _, out, _ = run(capsys, "visit", "--practice", "--json", "--db", path_of(closed))
    (row,) = json.loads(out)
    assert (row["state"], row["site"], row["kept"], row["serious"]) == ("closed", "amberwell", 12, 0)
    assert "no practice visits" in run(capsys, "visit", "--practice", "--state", "open", "--db", path_of(closed))[1]


def test_a_visit_is_shown_with_samples_findings_and_its_talk(closed, capsys):
    closed.converse("desk \x1b[31mred\x07?")
    code = visit_of(closed).code
    _, out, _ = run(capsys, "visit", code.lower(), "--talk", "--db", path_of(closed))
    assert f"Visit {code}  closed  PRACTICE: it counts nowhere" in out
    assert "s3   larva  01428" in out
    assert "fix     none here: the pair texts GEAR" in out
    assert out.index("A seat  hi") < out.index("A guide ") < out.index("A seat  desk [31mred ?")
    assert "\x1b" not in out
    assert "\x07" not in out
    told = json.loads(run(capsys, "visit", code, "--json", "--db", path_of(closed))[1])
    assert (len(told["samples"]), told["seats"], "talk" in told) == (12, {"A": "pair"}, False)


def test_fix_and_accept_are_commands(closed, capsys):
    code, db = visit_of(closed).code, path_of(closed)
    _, out, _ = run(capsys, "fix", code, "#01402", "length", "31", "mm", "--reason", WHY, "--db", db)
    assert out == "length of 01402 is 31 mm now, it was 27 mm\n"
    done = json.loads(run(capsys, "accept", code, "--json", "--db", db)[1])["done"]
    assert done == f"visit {code} is accepted: 12 samples"
    code, _, err = run(capsys, "accept", "NOSUCH23", "--db", db)
    assert (code, err.startswith("wadeline: there is no visit 'NOSUCH23' in this record; its last are ")) == (2, True)


def test_verify_proves_that_a_kept_sample_has_a_tag_that_points_back(closed):
    from guide.record.verify import verify

    closed.db.execute("UPDATE tag SET status = 'free', sample = NULL WHERE code = '01402'")
    problems = verify(closed.db).problems
    assert any("is kept with tag 01402, but the pool holds that tag as free" in problem for problem in problems)


def test_a_file_of_the_log_is_verified_without_a_record(closed, tmp_path, capsys):
    from guide.record.jsonl import held_lines, written

    path = tmp_path / "log.jsonl"
    path.write_text("".join(written(held_lines(closed.db), True)), "utf-8")
    code, out, _ = run(capsys, "verify", str(path))
    (mark,) = closed.rows("SELECT substr(hash, 1, 8) FROM log WHERE kind = 'visit_closed'")[0]
    assert (code, f"closed with mark {mark}" in out, out.splitlines()[-1][:3]) == (0, True, "ok:")
    lines = path.read_text("utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-2]), "utf-8")
    code, out, _ = run(capsys, "verify", str(path), "--json")
    assert (code, "was cut short" in json.loads(out)["problems"][0]) == (1, True)


def test_any_changed_byte_of_a_file_shows(closed, tmp_path):
    from guide.record.jsonl import LogFileError, held_lines, read_log_file, written

    good = "".join(written(held_lines(closed.db), True)).encode()
    path, random = tmp_path / "log.jsonl", Random(3)
    path.write_bytes(good)
    entries = list(read_log_file(path))
    shown = 0
    for _ in range(60):
        at = random.randrange(len(good))
        path.write_bytes(good[:at] + bytes([good[at] ^ 1]) + good[at + 1 :])
        try:
            assert list(read_log_file(path)) == entries, at  # a space between two fields tells nothing
        except LogFileError:
            shown += 1
    assert shown > 50


def test_a_sample_is_named_by_its_number_where_two_share_a_tag(closed):
    from guide.desk.fix import sample_called

    visit = changed(visit_of(closed), 1, tag="01402")
    with pytest.raises(VisitError, match="tag 01402 is on s1 and s2 of visit"):
        sample_called(visit, "01402")
    assert isinstance(sample_called(visit, "S2"), Sample)
    twice = found(visit)["tag_twice"]
    assert twice[0] == "tag 01402 is on s1 of this visit and on s2 of this visit; the pool holds it for s1"


def test_a_visit_is_found_by_its_code_in_any_case(closed):
    assert visit_uid(closed.db, f" {visit_of(closed).code.lower()} ") == visit_of(closed).uid
    assert isinstance(visit_of(closed), Visit)
