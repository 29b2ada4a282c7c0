"""The command line: what goes wrong is one line that says what to do, never a traceback."""

import argparse
import os
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from guide.cli import build_parser, main
from guide.examples import EXAMPLES
from guide.flow.load import shipped_flows


def run(*args: str, given: bytes = b"") -> "subprocess.CompletedProcess[bytes]":
    command = [sys.executable, "-m", "guide.cli", *args]
    return subprocess.run(command, input=given, capture_output=True, check=False, timeout=60)


def broken_flows(folder: Path) -> Path:
    for path in shipped_flows().glob("*.toml"):
        (folder / path.name).write_text(path.read_text().replace('kind = "length"', 'kind = "lenght"'))
    return folder


def test_errors_of_people_are_one_line_and_exit_code_two(tmp_path):
    (tmp_path / "notes.txt").write_text("no database " * 50)
    flows = tmp_path / "flows"
    flows.mkdir()
    for args in (
        ("pipe", "--db", str(tmp_path)),
        ("pipe", "--db", str(tmp_path / "notes.txt")),
        ("chat", "--db", "/dev/null/record.db"),
        ("chat", "--db", str(tmp_path / "a.db"), "--flows", str(tmp_path / "nowhere")),
        ("chat", "--db", str(tmp_path / "a.db"), "--programme", str(tmp_path / "nowhere.toml")),
        ("pipe", "--db", str(tmp_path / "a.db"), "--flows", str(broken_flows(flows))),
        ("desk", "verify", "--db", str(tmp_path / "nowhere.db")),
        ("flow", "try", "lenght", "27"),
        ("flow", "show", "larvae"),
    ):
        done = run(*args)
        assert done.returncode == 2, args
        assert done.stderr.startswith(b"wadeline: "), done.stderr
        assert done.stderr.count(b"\n") == 1, done.stderr


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_record_is_said(tmp_path):
    assert run("pipe", "--db", str(tmp_path / "record.db")).returncode == 0
    (tmp_path / "record.db").chmod(0o400)
    tmp_path.chmod(0o500)
    done = run("pipe", "--db", str(tmp_path / "record.db"), given=b'{"from": "+1", "text": "hi"}\n')
    assert done.returncode == 2
    tmp_path.chmod(0o700)


def test_help_and_version_are_quick_to_say_what_there_is():
    assert b"pipe" in run("--help").stdout
    assert run("--version").stdout.startswith(b"wadeline ")


def test_the_record_is_where_the_environment_says(tmp_path, monkeypatch):
    monkeypatch.setenv("WADELINE_DB", str(tmp_path / "mine.db"))
    run("chat", "--plain", given=b"1\n")
    assert (tmp_path / "mine.db").exists()


def commands(parser: argparse.ArgumentParser, name: str = "") -> "Iterator[tuple[str, argparse.ArgumentParser]]":
    """Every command with its parser, those of several words too."""
    yield name, parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, sub in action.choices.items():
                yield from commands(sub, f"{name} {word}".strip())


EVERY = dict(commands(build_parser()))


def wrong(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What is said to a wrong command line: one line, no block of usage, exit code 2."""
    assert main(list(words)) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("wadeline: ")
    assert said.err.count("\n") == 1
    assert "usage" not in said.err
    return said.err


@pytest.mark.parametrize("name", EVERY)
def test_every_command_has_an_example_that_its_parser_takes(name):
    words = shlex.split(EXAMPLES[name])
    assert not name or words[: len(name.split())] == name.split()
    args, more = build_parser(words).parse_known_args(words)
    assert callable(args.run)
    assert more == []


@pytest.mark.parametrize("name", EVERY)
def test_every_help_ends_with_an_example(capsys, name):
    with pytest.raises(SystemExit):
        main([*name.split(), "--help"])
    assert capsys.readouterr().out.endswith(f"For example: wadeline {EXAMPLES[name]}\n")


@pytest.mark.parametrize("name", EVERY)
def test_an_option_that_a_command_lacks_is_named_with_an_example_and_where_help_is(capsys, name):
    said = wrong(capsys, *name.split(), "--colour")
    assert "there is no option --colour" in said
    assert f"For example: wadeline {EXAMPLES[name]} (help: {f'wadeline {name}'.strip()} --help)" in said


@pytest.mark.parametrize("name", [name for name, one in EVERY.items() if one._subparsers is not None and name])
def test_a_command_that_is_not_there_is_named_under_its_own_command(capsys, name):
    assert "there is no command xyzzy" in wrong(capsys, *name.split(), "xyzzy")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("chta", "there is no command chta, did you mean chat? For example: wadeline chat (help: wadeline --help)"),
        ("desk chose", "did you mean choose? For example: wadeline desk choose --site amberwell"),
        ("flow check --tabel", "there is no option --tabel, did you mean --table?"),
        ("--db x.db chat", "--db stands before the command and belongs behind it"),
        ("desk --json board", "--json stands before the command and belongs behind it"),
        ("-- chat", "there is no command --"),
        ("desk ship -- list", "desk ship: there is no command --"),
        ("desk board -- x", "-- x is more than it takes"),
        ("flow", "a command is missing; there are check, show, draw, try."),
        ("flow show", "flow show: FLOW is missing. For example: wadeline flow show larva"),
        ("desk tags assign", "FIRST and LAST are missing"),
        ("desk tags make three", "COUNT takes a whole number, such as 3, not three."),
        ("replay x.txt --pace fast", "--pace takes a number, such as 1.5, not fast."),
        ("desk ship plan --from tomorrow", "--from takes a day that there is, such as 2026-10-26, not tomorrow."),
        ("desk choose --site", "--site needs a value behind it."),
        ("desk visit --state opne", "--state takes open or closed or accepted, not opne, did you mean open?"),
        ("drill --debrief 1 --explain 1", "--explain and --debrief don't go together."),
        ("drill --pa 3", "--pa may be --pairs or --page: write it out."),
        ("chat --plain=3", "--plain takes no value, 3 is too much."),
        ("desk forget", "one of NUMBER or --visit is missing."),
        ("drill first_larva again", "again is more than it takes"),
    ],
)
def test_a_wrong_line_is_told_in_a_sentence(capsys, line, words):
    assert words in wrong(capsys, *line.split())


def test_a_right_line_imports_nothing_that_explains_wrong_ones():
    code = "import sys; from guide.cli import build_parser; build_parser(['chat']); print('difflib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout == b"False\n"


def test_a_copy_of_the_flows_from_before_an_update_is_told_which_phrases_it_lacks(capsys, tmp_path):
    for path in shipped_flows().glob("*.toml"):
        (tmp_path / path.name).write_text(path.read_text().replace("[how_like]", "[how_once]"))
    line = ("chat", "--flows", str(tmp_path), "--db", str(tmp_path / "a.db"))
    assert main(line) == 2
    assert capsys.readouterr().err.strip().endswith(f"take it from {shipped_flows() / 'phrases.toml'}: how_like")
