"""What the desk prints: aligned tables for people, JSON for scripts."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from guide.flow.replies.clean import clean


def show_rows(rows: Sequence[Mapping[str, Any]], as_json: bool, empty: str) -> None:
    """Prints rows of the same names as one table, numbers to the right; ``empty`` is said when there are none."""
    if as_json:
        print(json.dumps(list(rows), ensure_ascii=False, default=str))
    elif not rows:
        print(empty)
    else:
        print("\n".join(table(rows)))


def table(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Rows as lines of one aligned table, its first line the names."""
    names = list(rows[0])
    cells = [[_cell(row[name]) for name in names] for row in rows]
    heads = [name.replace("_", " ") for name in names]
    widths = [max(len(line[i]) for line in (heads, *cells)) for i in range(len(names))]
    right = [all(isinstance(row[name], (int, float, type(None))) for row in rows) for name in names]
    return ["  ".join(_pad(*one) for one in zip(line, widths, right, strict=True)).rstrip() for line in (heads, *cells)]


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, (list, tuple)):
        return ", ".join(_cell(one) for one in value)
    return clean(str(value)).replace("\n", " ")


def _pad(text: str, width: int, right: bool) -> str:
    return text.rjust(width) if right else text.ljust(width)
