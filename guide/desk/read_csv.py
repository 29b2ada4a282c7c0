"""Tables that people keep in a spreadsheet: CSV after RFC 4180 in UTF-8, with a head line, commas or semicolons."""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from guide.errors import InputFileError
from guide.talk.sms import septets
from guide.text_file import read_text_file

MOST_SHOWN = 40


@dataclass(frozen=True)
class Row:
    """One row: its number as a spreadsheet counts (the head is row 1), and its cells by column, outer spaces cut."""

    number: int
    cells: Mapping[str, str]

    def __getitem__(self, column: str) -> str:
        """A cell; empty for a column that the file doesn't have."""
        return self.cells.get(column, "")


class TableError(InputFileError):
    """A table can't be used. ``problems`` are sentences, each naming its row; nothing was loaded."""

    def __init__(self, path: Path, problems: Sequence[str]) -> None:
        self.problems = list(problems)
        many = f"{len(problems)} things are wrong" if len(problems) > 1 else "one thing is wrong"
        shown = [*problems[:MOST_SHOWN], *([f"and {len(problems) - MOST_SHOWN} more"] if problems[MOST_SHOWN:] else [])]
        super().__init__("\n  ".join([f"{path}: {many}, nothing was loaded:", *shown]))


def read_rows(path: Path, needed: Sequence[str], others: Sequence[str] = ()) -> list[Row]:
    """The rows of a CSV file that have anything in them; raises TableError for columns that are wrong."""
    text = read_text_file(path)
    reader = csv.reader(text.splitlines(keepends=True), delimiter=_delimiter(text), strict=True)
    try:
        lines = list(reader)
    except csv.Error as error:
        raise TableError(path, [f"line {reader.line_num}: {error}"]) from None
    head = [name.strip().casefold().replace(" ", "_") for name in lines[0]] if lines else []
    problems = list(_head_problems(head, needed, others))
    rows = []
    for number, cells in enumerate(lines[1:], 2):
        cells = [cell.strip() for cell in cells]
        if not any(cells):
            continue
        if len(cells) > len(head) and not problems:
            problems.append(f"row {number}: has {len(cells)} cells, the head has {len(head)} columns")
        rows.append(Row(number, dict(zip(head, cells, strict=False))))
    if not problems and not rows:
        problems = ["there is no row below the head"]
    if problems:
        raise TableError(path, problems)
    return rows


def _delimiter(text: str) -> str:
    head = text.partition("\n")[0]
    return ";" if head.count(";") > head.count(",") else ","


def _head_problems(head: Sequence[str], needed: Sequence[str], others: Sequence[str]) -> Iterator[str]:
    known = [*needed, *others]
    for name in head:
        if name not in known:
            near = get_close_matches(name, known, 1, 0.5)
            hint = f", did you mean {near[0]}?" if near else f"; the columns are {', '.join(known)}"
            yield f"row 1: there is no column {name!r}{hint}"
        elif head.count(name) > 1:
            yield f"row 1: the column {name!r} stands there twice"
    missing = [name for name in needed if name not in head]
    if missing:
        yield f"row 1: the column {missing[0]!r} is missing; it needs {', '.join(needed)}"


def sms_problem(text: str, most: int) -> str:
    """What keeps a name from fitting a prompt, as the end of a sentence; empty if it fits."""
    odd = next((char for char in text if septets(char) != 1 or not char.isprintable()), None)
    if odd is not None:
        return f"has {odd!r}, which plain SMS letters don't have"
    return f"is longer than {most} letters" if len(text) > most else ""
