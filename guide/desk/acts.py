"""What ``desk fix`` can do with a sample, and what it calls the answers of a visit."""

from typing import Any

ACTS = ("length", "family", "tag", "swap", "void", "keep", "flag", "unflag", "note")

CALLED = {"day": "local_date", "date": "local_date", "group": "group_code"}
"""What the desk calls what no step asks for: the day people were there, and their group."""


def called(name: str) -> str:
    """What a fix command and papers call an answer of a visit."""
    return next((word for word, known in CALLED.items() if known == name), name)


def show(value: Any) -> str:
    """An answer as a sentence has it."""
    if value is None:
        return "not told"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
