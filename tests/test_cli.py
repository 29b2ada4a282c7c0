"""The command line: what goes wrong is one line that says what to do, never a traceback."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

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
