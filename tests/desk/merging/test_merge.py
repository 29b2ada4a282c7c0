"""``desk merge``: another machine's log comes in whole or not at all, and what doesn't agree is told."""

import json
import sqlite3

import pytest

from guide.cli import main
from guide.desk.fix import Wanted, fix_visit
from guide.desk.merge import Merged, merge_file
from guide.desk.other_log import MergeError
from guide.record.jsonl import LogFileError, held_lines, written
from guide.record.store import Store
from tests.conftest import Field
from tests.desk.merging.machines import NOW, code_of, everything, export, fix, folded, merge, own_fix, path_of


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


def test_a_digest_sent_before_site_and_day_were_put_right_is_no_difference(laptop, desk):
    digest_into(desk, laptop)
    own_fix(laptop, code_of(laptop), "site", "quill")
    own_fix(laptop, code_of(laptop), "day", "2026-07-03")
    assert merge(desk, path_of(laptop)).disagree == []


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
