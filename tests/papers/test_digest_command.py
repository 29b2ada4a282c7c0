"""``wadeline digest``: a visit that was really talked, as texts, and read again."""

import io
from pathlib import Path

import pytest

from guide.cli import main
from guide.papers.digest import read, write
from guide.papers.digest_fields import FLAGS
from guide.papers.visit_digest import visit_digest


@pytest.fixture
def played(pond):
    """Four larvae: one plain, one with a third bag, one half a length too short, one void; an empty spot first."""
    pond.until("net.spot")
    pond.text("none")
    pond.until("larva.look")
    pond.converse("y", "ok", "27.5", "darner", "01428", "ok")
    pond.converse("y", "ok", "70", "70", "unsure", "01431", "ok")
    pond.converse("y", "ok", "11", "skimmer", "01402", "ok")
    pond.converse("y", "ok", "31", "clubtail", "01415", "FIX void")
    return pond


@pytest.fixture
def db(played, tmp_path: Path) -> Path:
    return tmp_path / "record.db"


def test_a_played_visit_round_trips(played):
    digest = visit_digest(played.db)
    texts = write(digest)
    assert len(texts) == 1
    found = read(texts)
    assert found.problems == ()
    shown = {larva.tag: larva for larva in found.visits[0].digest.larvae}
    assert (shown["01428"].length_mm, shown["01428"].family, shown["01428"].sure) == (27.5, "Aeshnidae", True)
    assert (shown["01431"].family, shown["01431"].flags) == ("unsure", {"odd_length_mm"})
    assert shown["01402"].flags == {"under_minimum"}
    assert shown["01415"].status == "void"
    assert sorted(found.visits[0].digest.larvae, key=lambda larva: larva.tag) == sorted(
        digest.larvae, key=lambda larva: larva.tag
    )
    assert found.visits[0].digest.practice
    assert found.visits[0].digest.empty_spots == 1


def test_flags_the_talk_writes_have_a_short_form(played):
    """Others survive too, but cost as many characters as they have letters."""
    written = {flag for (flag,) in played.rows("SELECT flag FROM sample_flag")}
    assert written
    assert written <= set(FLAGS)


def test_digest_prints_texts_and_what_to_do_with_them(db, capsys):
    assert main(["digest", "--db", str(db)]) == 0
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 1
    assert "practice, 3 larvae kept, 1 void. 1 text; type or send it" in err


def test_reading_shows_a_table_and_that_it_is_provisional(db, capsys, tmp_path):
    main(["digest", "--db", str(db)])
    file = tmp_path / "texts"
    file.write_text(capsys.readouterr().out)
    assert main(["digest", "--read", str(file), "--db", str(tmp_path / "none.db")]) == 0
    out = capsys.readouterr().out
    head, counts, _, *table = out.splitlines()
    assert "Amberwell Pond, 2026-07-04, not closed yet. PRACTICE: it counts nowhere." in head
    assert counts.startswith("3 larvae kept, 1 void. Empty spots: 1.")
    assert table[:5] == [
        "tag      mm  family                  sure    status  flags",
        "01402    11  Libellulidae (skimmer)  sure    kept    under_minimum",
        "01415    31  Gomphidae (clubtail)    sure    void",
        "01428  27.5  Aeshnidae (darner)      sure    kept",
        "01431    70  unsure                  unsure  kept    odd_length_mm",
    ]
    assert "Provisional: only until the log of this visit itself is merged." in out
    assert not (tmp_path / "none.db").exists()


def test_where_the_log_is_the_digest_no_longer_counts(db, capsys, tmp_path):
    main(["digest", "--db", str(db)])
    file = tmp_path / "texts"
    file.write_text(capsys.readouterr().out)
    assert main(["digest", "--read", str(file), "--db", str(db)]) == 0
    out = capsys.readouterr().out
    assert "the log counts, this digest no longer does" in out
    assert "Provisional" not in out


def test_damage_is_said_and_the_exit_code_is_one(db, capsys, monkeypatch, tmp_path):
    main(["digest", "--db", str(db)])
    text = capsys.readouterr().out.strip()
    monkeypatch.setattr("sys.stdin", io.StringIO(text[:-1] + "\n"))
    assert main(["digest", "--read", "--db", str(tmp_path / "none.db")]) == 1
    assert "Text 1 (" in capsys.readouterr().out


def test_a_text_in_several_lines_of_a_narrow_screen_is_one_text(db, capsys, monkeypatch, tmp_path):
    main(["digest", "--db", str(db)])
    groups = capsys.readouterr().out.split()
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{' '.join(groups[:4])}\n  {' '.join(groups[4:])}\n"))
    assert main(["digest", "--read", "--db", str(tmp_path / "none.db")]) == 0


@pytest.mark.parametrize("more", [["--visit", "ABCDEFGH"], ["--read", "no such file"]])
def test_what_can_t_be_found_is_said(db, capsys, more):
    assert main(["digest", "--db", str(db), *more]) == 2
    assert "wadeline: " in capsys.readouterr().err


def test_a_visit_is_named_by_its_code_in_any_case(db, played, capsys):
    ((code,),) = played.rows("SELECT code8 FROM visit")
    assert main(["digest", "--db", str(db), "--visit", code.lower()]) == 0
    assert capsys.readouterr().out.startswith(code)


def test_another_list_of_sites_is_seen(db, capsys, tmp_path):
    main(["digest", "--db", str(db)])
    file = tmp_path / "texts"
    file.write_text(capsys.readouterr().out)
    from guide.flow.load import shipped_flows

    settings = (shipped_flows() / "programme.toml").read_text()
    other = tmp_path / "other.toml"
    other.write_text(settings.replace('"amberwell"\nname', '"elsewhere"\nname'))
    assert main(["digest", "--read", str(file), "--db", str(tmp_path / "none.db"), "--programme", str(other)]) == 0
    assert "site 1 of a list of sites that isn't this one" in capsys.readouterr().out


def test_on_a_screen_no_group_is_broken_between_lines(db, capsys, monkeypatch):
    main(["digest", "--db", str(db)])
    text = capsys.readouterr().out.strip()
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "40")
    main(["digest", "--db", str(db)])
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 1
    assert all(len(line) <= 40 for line in lines)
    assert all(line.startswith("  ") for line in lines[1:])
    assert " ".join(line.strip() for line in lines) == text
