"""``wadeline replay``: plays transcripts, reports what is not as written, rewrites the guide's lines when asked to."""

import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from os import replace
from pathlib import Path

from guide.errors import WadelineError
from guide.flow.model import FlowBook
from guide.replay.film import Film
from guide.replay.play import Problem, Replayed
from guide.replay.play import replay as play
from guide.replay.transcript import Beat, Transcript, TranscriptError, parse, show

MOST_SHOWN = 5
"""After a first difference most of the rest follows from it."""


@dataclass(frozen=True)
class Wanted:
    """What to do with each file: rewrite the guide's lines; show it as a film, so many seconds between texts."""

    update: bool = False
    pace_s: float | None = None


def replay_files(book: FlowBook, files: Sequence[Path], wanted: Wanted) -> int:
    """Plays each file; 0 if all are as written, 1 if the guide or the record differs, 2 if a file can't be read."""
    codes = []
    for file in files:
        try:
            codes.append(_replay_file(book, file, wanted))
        except TranscriptError as error:
            print(f"wadeline: {error}", file=sys.stderr)
            codes.append(2)
    return max(codes, default=0)


def _replay_file(book: FlowBook, file: Path, wanted: Wanted) -> int:
    transcript = read(file)
    played = play(transcript, book, _film(transcript, wanted.pace_s))
    if wanted.update and (changed := _update(file, transcript, played)):
        print(f"{file}: {changed} answers rewritten, look them over")
        transcript = read(file)
        played = play(transcript, book)
    if played.problems:
        print(as_text(str(file), played.problems), file=sys.stderr)
        return 1
    said = sum(len(guide) for guide in played.said)
    print(f"{file}: as written, {said} texts of the guide, {len(transcript.expects)} expect lines")
    return 0


def read(file: Path) -> Transcript:
    """A transcript from a file; raises TranscriptError, or WadelineError if there is no such file."""
    try:
        return parse(file.read_text("utf-8"), str(file))
    except UnicodeDecodeError:
        raise TranscriptError(str(file), 1, "this is no UTF-8 text; save the file as UTF-8") from None
    except OSError as error:
        raise WadelineError(f"{file} can't be read: {error.strerror or error}") from None


def as_text(file: str, problems: Sequence[Problem]) -> str:
    """The first problems, each with its place, what is written and what is so."""
    words = []
    for problem in problems[:MOST_SHOWN]:
        words += [f"{file}:{problem.line}: not as written"]
        width = max(len("written"), len(problem.what))
        words += [f"  {'written':{width}}  {problem.written}", f"  {problem.what:{width}}  {problem.found}"]
    if len(problems) > MOST_SHOWN:
        words.append(f"{file}: and {len(problems) - MOST_SHOWN} more")
    return "\n".join(words)


def _film(transcript: Transcript, pace_s: float | None) -> Callable[[Beat], None]:
    if pace_s is None:
        return lambda beat: None
    return Film(transcript, sys.stdout, time.sleep, pace_s).beat


def _update(file: Path, transcript: Transcript, played: Replayed) -> int:
    """Writes the file anew with what the guide says now; returns in how many places that differs."""
    changed = sum(beat.guide != guide for beat, guide in zip(transcript.beats, played.said, strict=True))
    if changed:
        beside = file.with_name(f"{file.name}.new")
        try:
            beside.write_text(show(transcript.with_guide(played.said)), "utf-8", newline="\n")
            replace(beside, file)
        except OSError as error:
            with suppress(OSError):
                beside.unlink()
            raise WadelineError(f"{file} can't be written: {error.strerror or error}") from None
    return changed
