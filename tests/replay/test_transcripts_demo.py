"""Every shipped conversation, word for word."""

from pathlib import Path

import pytest

from guide.flow.model import FlowBook
from guide.replay.play import replay
from guide.replay.run import as_text, read
from guide.replay.transcript import show

FILES = sorted((Path(__file__).parents[2] / "transcripts_demo").glob("*.txt"))


def test_there_are_enough() -> None:
    assert len(FILES) >= 8


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_it_is_replayed_word_for_word(file: Path, book: FlowBook) -> None:
    transcript = read(file)
    assert show(transcript) == file.read_text("utf-8")
    problems = replay(transcript, book).problems
    assert not problems, as_text(file.name, problems)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_it_ends_with_what_must_stand_in_the_record(file: Path) -> None:
    words = [expect.words[0] for expect in read(file).expects]
    assert len(words) >= 4
    assert words[-1] == "whole"
