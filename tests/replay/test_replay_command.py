"""``wadeline replay``: what it says of transcripts that are as written, and of those that aren't."""

from pathlib import Path

import pytest

from guide.cli import main

CONVERSATION = """A short one

# Nobody goes in.
start 2026-07-04T09:00Z
09:00 pair: hello
09:01 pair: 1
# A remark between texts stays where it is.
09:02 pair: y
wait 1 min

expect visit open
expect answer site amberwell
expect whole
"""


@pytest.fixture
def written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """A transcript as the guide has it now."""
    file = tmp_path / "short.txt"
    file.write_text(CONVERSATION)
    assert main(["replay", "--update", str(file)]) == 0
    capsys.readouterr()
    return file


def _change(file: Path, old: str, new: str) -> int:
    """Changes one line; returns its number."""
    lines = file.read_text().split("\n")
    place = next(place for place, line in enumerate(lines) if old in line)
    lines[place] = lines[place].replace(old, new)
    file.write_text("\n".join(lines))
    return place + 1


def test_as_written(written: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", str(written)]) == 0
    assert "as written, 3 texts of the guide, 3 expect lines" in capsys.readouterr().out


def test_a_wrong_line_of_the_guide_is_shown_beside_the_right_one(
    written: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = _change(written, "which water", "what pond")
    assert main(["replay", str(written)]) == 1
    error = capsys.readouterr().err
    assert f"{written}:{line}: not as written" in error
    assert "written         Practice" in error
    assert "what pond" in error
    assert "the guide said  Practice" in error
    assert "which water" in error


def test_a_missing_and_a_surplus_line_are_each_named(written: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [line for line in written.read_text().split("\n") if "which water" not in line]
    lines.insert(lines.index("wait 1 min") + 1, "      ALL: all well?")
    written.write_text("\n".join(lines))
    assert main(["replay", str(written)]) == 1
    error = capsys.readouterr().err
    assert (
        f"{written}:{lines.index('09:00 pair: hello') + 1}: not as written\n  written              (nothing)" in error
    )
    assert f"{written}:{lines.index('      ALL: all well?') + 1}: not as written" in error
    assert "the guide said nothing  (nothing)" in error


def test_a_wrong_expect_says_what_the_record_has(written: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = _change(written, "site amberwell", "site quill")
    assert main(["replay", str(written)]) == 1
    error = capsys.readouterr().err
    assert f"{written}:{line}: not as written" in error
    assert "written         answer site quill" in error
    assert "the record has  amberwell" in error


def test_a_line_that_cant_be_read_ends_with_2_and_others_are_still_played(
    written: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad.txt"
    bad.write_text("Bad\nstart 2026-07-04T09:00Z\n09:00 pear: hello\n")
    assert main(["replay", str(bad), str(written)]) == 2
    said = capsys.readouterr()
    assert f"{bad}:3: no phone is called 'pear'" in said.err
    assert "as written" in said.out


def test_a_file_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", str(tmp_path / "none.txt")]) == 2
    assert "none.txt can't be read" in capsys.readouterr().err


def test_update_rewrites_the_guides_lines_and_never_an_expect(
    written: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    right = written.read_text()
    _change(written, "which water", "what pond")
    line = _change(written, "site amberwell", "site quill")
    assert main(["replay", "--update", str(written)]) == 1
    assert f"{written}:{line}: not as written" in capsys.readouterr().err
    assert written.read_text() == right.replace("site amberwell", "site quill")


def test_update_leaves_a_right_file_untouched(written: Path) -> None:
    before = written.stat().st_mtime_ns
    assert main(["replay", "--update", str(written)]) == 0
    assert written.stat().st_mtime_ns == before
    assert [path.name for path in written.parent.iterdir()] == [written.name]


def test_fast_shows_a_film(written: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", "--fast", str(written)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("A short one\n# Nobody goes in.\n09:00 pair: hello\n      guide: Practice")
    assert "# A remark between texts stays where it is.\n09:02 pair: y" in out
    assert "... 1 min later ..." in out
    assert max(map(len, out.split("\n")[:-2])) <= 100


@pytest.mark.parametrize("pace", ["-1", "nan", "61"])
def test_a_pace_out_of_reach_is_refused(written: Path, pace: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", f"--pace={pace}", str(written)]) == 2
    assert "--pace takes 0 to 60 seconds" in capsys.readouterr().err
