"""``desk coordinators``: who is told of danger and asked by DESK. Numbers stand in the table of phones alone."""

from datetime import UTC, datetime
from pathlib import Path

from guide.desk.numbers import e164
from guide.desk.programme import Coordinator, keep_coordinator, present
from guide.desk.show import show_rows
from guide.errors import WadelineError
from guide.record.log import Entry
from guide.record.store import DESK

LONGEST_NAME = 40
_NONE = "Nobody is told of danger yet: wadeline desk coordinators add NUMBER NAME"


def add_coordinator(record: Path, number: str, name: str, as_json: bool) -> int:
    """Adds a coordinator, or gives one another number or name."""
    store, settings, _ = present(record)
    name = " ".join(name.split())
    if not name.isprintable() or not 0 < len(name) <= LONGEST_NAME:
        raise WadelineError(f"a coordinator's name has 1 to {LONGEST_NAME} letters, such as Wren")
    person = Coordinator(name, e164(number))
    with store.transaction():
        keep_coordinator(store, settings.code, person)
    return list_coordinators(record, as_json)


def remove_coordinator(record: Path, name: str, as_json: bool) -> int:
    """Takes a coordinator off the list; ``desk forget`` also forgets the number."""
    store, settings, _ = present(record)
    sql = "SELECT id, name FROM coordinator WHERE programme = ?"
    people = {known.casefold(): (row, known) for row, known in store.db.execute(sql, (settings.code,))}
    if name.casefold() not in people:
        names = ", ".join(known for _, known in people.values()) or "none"
        raise WadelineError(f"there is no coordinator {name!r}; there is {names}")
    row, known = people[name.casefold()]
    with store.transaction():
        store.db.execute("DELETE FROM coordinator WHERE id = ?", (row,))
        entry = Entry("coordinator_removed", "", {"programme": settings.code}, words=known)
        store.append(DESK, DESK, 0, datetime.now(UTC), [entry])
    return list_coordinators(record, as_json)


def list_coordinators(record: Path, as_json: bool) -> int:
    """Prints who is on the list, and whose phone has stopped texts."""
    store, settings, _ = present(record)
    sql = (
        "SELECT name, number, stopped_at IS NULL FROM coordinator JOIN phone ON phone.id = phone "
        "WHERE programme = ? ORDER BY name"
    )
    rows = [
        {"name": name, "number": number, "takes_texts": bool(takes)}
        for name, number, takes in store.db.execute(sql, (settings.code,))
    ]
    show_rows(rows, as_json, _NONE)
    return 0
