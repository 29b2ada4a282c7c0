"""Flags of samples that were set or taken off as such, and not with an answer: by hand, or by what the talk saw.

What was said so counts before the flags that answers bring, and the last word stands. An entry covers those before it
in its own machine's chain and those that it names, as with a visit's answers. Where two that nothing covers differ,
the flag stands: somebody had a reason to look twice. So a record comes to the same flags in whatever order the logs
were merged.
"""

import json
import sqlite3

from guide.record.visit_answers import Told, heads

KINDS = ("flag", "unflag")
"""The kinds of entry that set a flag or take it off."""

_ENTRIES = (
    "SELECT origin.uid, log.stream, log.seq, log.data, log.supersedes, log.kind FROM log "
    "JOIN origin ON origin.id = log.origin WHERE log.sample_uid = ? AND log.id <= ? "
    f"AND log.kind IN {KINDS} AND json_extract(log.data, '$.flag') = ? ORDER BY origin.uid, log.seq"
)


def last_words(db: sqlite3.Connection, sample_uid: str | None, flag: str, up_to: int = 1 << 62) -> list[Told]:
    """The entries about a sample's flag that nothing covers; ``on`` in their data tells whether they set it."""
    rows = db.execute(_ENTRIES, (sample_uid, up_to, flag))
    return heads(
        [
            Told(f"{origin}/{stream}/{seq}", origin, seq, {**json.loads(data), "on": kind == "flag"}, old)
            for origin, stream, seq, data, old, kind in rows
        ]
    )


def set_by_hand(db: sqlite3.Connection, sample_uid: str | None, flag: str, up_to: int) -> bool | None:
    """Whether a flag was set or taken off; None where nobody said anything of it, and answers decide."""
    said = last_words(db, sample_uid, flag, up_to)
    return any(told.data["on"] for told in said) if said else None
