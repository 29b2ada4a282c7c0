"""``desk merge``: another machine's log comes in whole or not at all, and what doesn't agree is told."""

import json
import os
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest

from guide.cli import main
from guide.desk.accept import accept_visit
from guide.desk.findings import check_visit
from guide.desk.fix import Wanted, fix_as_said, fix_visit
from guide.desk.merge import Merged, merge_file
from guide.desk.other_log import MergeError
from guide.desk.show_visit import visit_lines
from guide.desk.visits import load_visit, visit_uid
from guide.record.jsonl import LogFileError, held_lines, written
from guide.record.store import Store
from guide.record.verify import verify
from tests.conftest import Field

NOW = datetime(2026, 7, 6, 8, 0, tzinfo=UTC)


@pytest.fixture
def machines(open_field: Callable[..., Field]) -> Callable[[str], Field]:
    """Opens a record of its own machine, with codes of its own."""

    def make(name: str) -> Field:
        field = open_field(f"{name}.db")
        field.exchange.random = Random(name)
        return field

    return make


@pytest.fixture
def laptop(machines: Callable[[str], Field]) -> Field:
    """An offline laptop with a closed visit of twelve larvae, a note and a slip."""
    field = machines("laptop")
    field.until("larva.bag")
    field.converse("note a cold day", "oops", "1", "n", "ok")
    field.until("close.end")
    return field


@pytest.fixture
def desk(machines: Callable[[str], Field]) -> Field:
    """The desk's own record, nothing in it yet."""
    return machines("desk")


def path_of(field: Field) -> Path:
    return Path(field.db.execute("PRAGMA database_list").fetchone()[2])


def code_of(field: Field) -> str:
    return str(field.rows("SELECT code8 FROM visit ORDER BY id LIMIT 1")[0][0])


def merge(into: Field, path: Path) -> Merged:
    merged = merge_file(into.exchange.store, path, NOW)
    into.whole()
    return merged


def export(field: Field, path: Path, with_words: bool = True) -> Path:
    path.write_text("".join(written(held_lines(field.db, "stream != 'desk'"), with_words)), "utf-8")
    return path


def fix(field: Field, code: str, sample: str, act: str, value: str = "", reason: str = "misread") -> str:
    return fix_visit(field.exchange.store, Wanted(code, sample, act, value, reason), NOW)


def findings(field: Field, code: str) -> dict[str, str]:
    """What is found in a visit, by check."""
    visit = load_visit(field.db, visit_uid(field.db, code))
    return {finding.check: finding.what for finding in check_visit(visit)}


def everything(field: Field) -> list[object]:
    tables = [name for (name,) in field.rows("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")]
    return [sorted(map(repr, field.rows(f"SELECT * FROM {table}"))) for table in tables]


def folded(field: Field, code: str) -> list[object]:
    """A visit's samples and answers, without what only this machine numbers."""
    samples = "SELECT tag, length_mm, family, sure, gloves, sample.status, sealed_at, iced_at, frozen_at FROM sample"
    return [
        field.rows("SELECT uid, site, status, answers, closed_at FROM visit WHERE code8 = ?", code),
        field.rows(f"{samples} JOIN visit ON visit.uid = visit WHERE code8 = ? ORDER BY sample.uid", code),
        field.rows("SELECT slip, sample, what, touched, remedy FROM contamination"),
        field.rows("SELECT code, status, sample FROM tag ORDER BY code"),
    ]


@pytest.mark.parametrize("form", ["record", "file"])
def test_a_visit_comes_in_and_folds_to_the_same(laptop, desk, tmp_path, form):
    source = path_of(laptop) if form == "record" else export(laptop, tmp_path / "log.jsonl")
    merged = merge(desk, source)
    code = code_of(laptop)
    (total,) = laptop.rows("SELECT count(*) FROM log WHERE stream != 'desk'")[0]
    assert merged == Merged(taken={code: total}, held=0)
    assert folded(desk, code) == folded(laptop, code)
    assert ("a cold day",) in desk.rows("SELECT text FROM words")


@pytest.mark.parametrize("form", ["record", "file"])
def test_the_same_visit_twice_changes_nothing(laptop, desk, tmp_path, form):
    source = path_of(laptop) if form == "record" else export(laptop, tmp_path / "log.jsonl")
    merge(desk, source)
    before = everything(desk)
    merged = merge(desk, source)
    assert not merged.taken
    assert merged.held > 100
    assert everything(desk) == before


def test_of_a_longer_log_only_the_new_entries_come_in(machines, desk):
    laptop = machines("laptop")
    laptop.until("larva.pace")
    merge(desk, path_of(laptop))
    first = laptop.rows("SELECT count(*) FROM log WHERE stream != 'desk'")[0][0]
    laptop.until("close.end")
    merged = merge(desk, path_of(laptop))
    (total,) = laptop.rows("SELECT count(*) FROM log WHERE stream != 'desk'")[0]
    assert (sum(merged.taken.values()), merged.held) == (total - first, first)
    assert folded(desk, code_of(laptop)) == folded(laptop, code_of(laptop))


def test_a_shorter_log_of_the_same_chain_changes_nothing(laptop, desk, tmp_path):
    long, short = export(laptop, tmp_path / "long.jsonl"), tmp_path / "short.jsonl"
    lines = list(held_lines(laptop.db, "stream != 'desk'"))
    short.write_text("".join(written(lines[:40], True)), "utf-8")
    merge(desk, long)
    before = everything(desk)
    assert merge(desk, short) == Merged(held=40)
    assert everything(desk) == before


def test_words_left_out_of_a_file_are_filled_in_by_the_record(laptop, desk, tmp_path):
    merge(desk, export(laptop, tmp_path / "log.jsonl", with_words=False))
    assert ("a cold day",) not in desk.rows("SELECT text FROM words")
    merge(desk, path_of(laptop))
    assert ("a cold day",) in desk.rows("SELECT text FROM words")


def test_words_that_were_forgotten_here_stay_forgotten(laptop, desk):
    merge(desk, path_of(laptop))
    desk.db.execute("UPDATE words SET text = NULL")
    merge(desk, path_of(laptop))
    assert desk.rows("SELECT count(*) FROM words WHERE text IS NOT NULL") == [(0,)]


def test_a_chain_that_forks_is_refused_with_both_heads(laptop, desk, tmp_path):
    twin = tmp_path / "twin.db"
    sqlite3.connect(path_of(laptop)).execute("VACUUM INTO ?", (str(twin),)).close()
    laptop.converse("note one end")
    merge(desk, path_of(laptop))
    from guide.record.open import open_record

    other = Store(open_record(twin))
    fix_visit(other, Wanted(code_of(laptop), "s1", "length", "30", "another end"), NOW)
    other.db.close()
    before = everything(desk)
    with pytest.raises(
        MergeError, match=r"forks: here it ends with entry \d+, \w{8}, in .*twin.db with entry \d+, \w{8}"
    ):
        merge_file(desk.exchange.store, twin, NOW)
    assert everything(desk) == before


def test_a_visit_that_went_on_in_a_copy_of_this_record_comes_back(machines, tmp_path):
    desk = machines("desk")
    desk.until("larva.pace")
    copy = tmp_path / "copy.db"
    sqlite3.connect(path_of(desk)).execute("VACUUM INTO ?", (str(copy),)).close()
    went_on = machines("copy")
    went_on.now = desk.now
    went_on.last = dict(desk.last)
    went_on.until("close.end")
    merged = merge(desk, copy)
    assert desk.rows("SELECT status FROM visit") == [("closed",)]
    assert sum(merged.taken.values()) > 50


def test_a_changed_entry_is_refused_with_its_place_and_nothing_is_taken(laptop, desk, tmp_path):
    path = export(laptop, tmp_path / "log.jsonl")
    lines = path.read_text("utf-8").splitlines(keepends=True)
    number = next(n for n, line in enumerate(lines) if '"length_mm":27' in line)
    lines[number] = lines[number].replace('"length_mm":27', '"length_mm":28')
    path.write_text("".join(lines), "utf-8")
    before = everything(desk)
    with pytest.raises(LogFileError, match=rf"log.jsonl:{number + 1}: entry .* was changed: its hash doesn't fit"):
        merge_file(desk.exchange.store, path, NOW)
    assert everything(desk) == before


def test_a_changed_record_is_refused_with_its_place(laptop, desk):
    laptop.db.execute("DROP TRIGGER log_no_update")
    laptop.db.execute("UPDATE log SET data = replace(data, '27', '28') WHERE kind = 'answer' AND data LIKE '%length%'")
    before = everything(desk)
    with pytest.raises(MergeError, match=r"is not whole, nothing was taken: entry .* was changed"):
        merge_file(desk.exchange.store, path_of(laptop), NOW)
    assert everything(desk) == before


def test_a_record_whose_log_was_cut_is_refused(laptop, desk):
    laptop.db.execute("DROP TRIGGER log_no_delete")
    laptop.db.execute("DELETE FROM words")
    laptop.db.execute("DELETE FROM log WHERE id = (SELECT max(id) FROM log)")
    with pytest.raises(MergeError, match="cut or added"):
        merge_file(desk.exchange.store, path_of(laptop), NOW)


# Two sides that don't agree


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


def own_fix(field: Field, code: str, *words: str) -> str:
    return fix_as_said(field.exchange.store, code, words, "the leader rang", NOW)


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


def test_a_digest_sent_before_site_and_day_were_put_right_is_no_difference(laptop, desk):
    digest_into(desk, laptop)
    own_fix(laptop, code_of(laptop), "site", "quill")
    own_fix(laptop, code_of(laptop), "day", "2026-07-03")
    assert merge(desk, path_of(laptop)).disagree == []


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


# Digests


def digest_into(desk: Field, laptop: Field) -> None:
    from guide.papers.digest import write
    from guide.papers.visit_digest import visit_digest

    for text in write(visit_digest(laptop.db)):
        desk.db.execute("INSERT INTO digest_text (code8, text) VALUES (?, ?)", (code_of(laptop), text))


def test_a_digest_that_told_the_same_is_no_finding(laptop, desk):
    digest_into(desk, laptop)
    fix(laptop, code_of(laptop), "s3", "length", "33")
    assert merge(desk, path_of(laptop)).disagree == []


def test_a_digest_that_told_something_else_is_a_finding(laptop, machines, desk, monkeypatch):
    from dataclasses import replace

    from guide.papers.digest import write
    from guide.papers.visit_digest import visit_digest

    told = visit_digest(laptop.db)
    larvae = (replace(told.larvae[0], length_mm=29), replace(told.larvae[1], tag="01540"), *told.larvae[2:])
    for text in write(replace(told, larvae=larvae)):
        desk.db.execute("INSERT INTO digest_text (code8, text) VALUES (?, ?)", (told.code8, text))
    merged = merge(desk, path_of(laptop))
    assert merged.disagree == [
        f"{told.code8}: the digest told length 29.0 of 01402, the log 27.0",
        f"{told.code8}: the digest told of a larva 01540, which the log doesn't have",
        f"{told.code8}: the digest told nothing of larva 01415, which the log has",
    ]


def test_a_visit_is_provisional_until_its_log_comes(laptop, desk, capsys):
    digest_into(desk, laptop)
    command = ["desk", "visit", "--practice", "--json", "--db", str(path_of(desk))]
    assert main(command) == 0
    (row,) = json.loads(capsys.readouterr().out)
    assert (row["visit"], row["state"], row["site"], row["kept"]) == (code_of(laptop), "provisional", "amberwell", 12)
    assert main(["desk", "visit", code_of(laptop), "--db", str(path_of(desk))]) == 0
    shown = capsys.readouterr().out
    assert "from the texts of its digest only, until its log is merged" in shown
    assert "01428         27  Aeshnidae" in shown
    merge(desk, path_of(laptop))
    main(command)
    assert [row["state"] for row in json.loads(capsys.readouterr().out)] == ["closed"]


# What goes on elsewhere


def test_nobody_joins_here_a_visit_that_goes_on_elsewhere(machines, desk):
    laptop = machines("laptop")
    laptop.until("larva.pace")
    merge(desk, path_of(laptop))
    ((word,),) = laptop.rows("SELECT word FROM visit")
    desk.text(f"join {word}", "+900")
    assert desk.rows("SELECT count(*) FROM seat") == [(0,)]
    desk.whole()


def test_an_older_log_that_comes_later_makes_no_kit_unclean(machines, desk):
    laptop = machines("laptop")
    laptop.until("close.end")
    desk.wait(24 * 60)
    desk.until("close.end")
    desk.text("gear")
    while desk.step() != "close.end" and desk.last["+100"][-1].options:
        desk.text(desk.last["+100"][-1].options[0], minutes=11)
    before = desk.rows("SELECT last_site, last_visit, disinfected_entry FROM kit")
    assert before[0][2] is not None
    merge(desk, path_of(laptop))
    assert desk.rows("SELECT last_site, last_visit, disinfected_entry FROM kit") == before


# Bad files


def bad_files(laptop: Field, folder: Path) -> dict[str, tuple[Path, str]]:
    """Files that can't be merged, with what is said of each."""
    good = export(laptop, folder / "good.jsonl").read_text("utf-8").splitlines(keepends=True)
    lines = {
        "cut.jsonl": (good[:50], "has no end line after 50 entries: it was cut short"),
        "broken_off.jsonl": ([*good[:50], good[50][:30]], ":51: the line breaks off"),
        "missing.jsonl": ([*good[:20], *good[21:]], ":21: entry .* comes after number 20"),
        "added.jsonl": ([*good, good[3]], "lines behind the end line"),
        "columns.jsonl": ([line.replace('"prev"', '"before"') for line in good], ":1: the line lacks prev"),
        "claim.jsonl": ([*good[:-1], '{"end": 10000000000000000, "mark": "x"}\n'], "speaks of 10000000000000000"),
        "seq.jsonl": ([good[0].replace('"seq": 1', f'"seq": {10**30}')], "no number or time that can be"),
        "deep.jsonl": (['{"a":' + "[" * 90_000 + "\n"], ":1: the line is not JSON"),
        "long.jsonl": (["{" + " " * 2_000_000 + "}\n"], "longer than 1,000,000 bytes"),
        "half.jsonl": ([line for line in good if "visit_opened" not in line], ":1: entry .* comes after number 0"),
    }
    found = {}
    for name, (text, said) in lines.items():
        (folder / name).write_text("".join(text), "utf-8")
        found[name] = (folder / name, said)
    (folder / "letters.jsonl").write_bytes("".join(good).replace("a cold day", "a c\u00f4ld day").encode("latin-1"))
    found["letters.jsonl"] = (folder / "letters.jsonl", "a letter is not UTF-8")
    (folder / "link.db").symlink_to(path_of(laptop))
    found["link.db"] = (folder / "link.db", "is a link")
    (folder / "notes.txt").write_text("dear desk, here is my log")
    found["notes.txt"] = (folder / "notes.txt", "neither a record nor a log.jsonl")
    os.mkfifo(folder / "fifo")
    found["fifo"] = (folder / "fifo", "no ordinary file")
    found["folder"] = (folder, "is a folder")
    found["nothing"] = (folder / "nothing.db", "can't be read: No such file")
    return found | bad_databases(laptop, folder)


def bad_databases(laptop: Field, folder: Path) -> dict[str, tuple[Path, str]]:
    changes = {
        "birds.db": ("PRAGMA application_id = 7", "database of another program"),
        "newer.db": ("PRAGMA user_version = 99", "written by a newer wadeline .* update this one"),
        "columns.db": ("ALTER TABLE words RENAME COLUMN salt TO pepper", "its table words has no column salt"),
    }
    found = {}
    for name, (sql, said) in changes.items():
        path = folder / name
        with sqlite3.connect(path_of(laptop)) as db:
            db.execute("VACUUM INTO ?", (str(path),))
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("DROP TRIGGER log_no_update")
        other.execute(sql)
        other.close()
        found[name] = (path, said)
    with sqlite3.connect(path_of(laptop)) as db:
        db.execute("VACUUM INTO ?", (str(folder / "whole.db"),))
    whole = (folder / "whole.db").read_bytes()
    (folder / "torn.db").write_bytes(whole[:3000] + b"\0" * (len(whole) - 3000))
    found["torn.db"] = (folder / "torn.db", "can't be read as a record: database disk image is malformed")
    return found


def test_every_bad_file_gets_one_sentence_and_changes_nothing(laptop, desk, tmp_path, capsys):
    folder = tmp_path / "bad"
    folder.mkdir()
    before = everything(desk)
    for name, (path, said) in bad_files(laptop, folder).items():
        with pytest.raises((MergeError, LogFileError), match=said):
            merge_file(desk.exchange.store, path, NOW)
        assert everything(desk) == before, name
        assert main(["desk", "merge", str(path), "--db", str(path_of(desk))]) == 2
        assert capsys.readouterr().err.count("\n") == 1, name


def test_this_record_itself_is_refused(desk):
    with pytest.raises(MergeError, match="is this record itself"):
        merge_file(desk.exchange.store, path_of(desk), NOW)


def test_a_fix_of_a_visit_that_is_not_here_is_refused(laptop, desk, machines, tmp_path):
    third = machines("third")
    merge(third, path_of(laptop))
    fix(third, code_of(laptop), "s1", "length", "30")
    path = tmp_path / "fixes.jsonl"
    lines = held_lines(third.db, "log.origin = 1 AND stream != 'desk'")
    path.write_text("".join(written(lines, True)), "utf-8")
    with pytest.raises(MergeError, match="whose beginning is neither there nor here"):
        merge_file(desk.exchange.store, path, NOW)


def test_the_other_file_is_left_as_it_was(laptop, desk, tmp_path):
    copy = tmp_path / "alone" / "copy.db"
    copy.parent.mkdir()
    with sqlite3.connect(path_of(laptop)) as db:
        db.execute("VACUUM INTO ?", (str(copy),))
    before = copy.read_bytes()
    merge(desk, copy)
    assert copy.read_bytes() == before
    assert os.listdir(copy.parent) == ["copy.db"]


def test_the_command_tells_what_came_in(laptop, desk, capsys):
    command = ["desk", "merge", str(path_of(laptop)), "--db", str(path_of(desk))]
    assert main([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert list(told["taken"]) == [code_of(laptop)]
    assert main(command) == 0
    assert capsys.readouterr().out.startswith("nothing new: ")
