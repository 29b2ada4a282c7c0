"""``desk groups``: loads groups from a list, each with a word that its phones join with, or lists them."""

import re
import secrets
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from guide.desk.programme import present
from guide.desk.read_csv import Row, TableError, read_rows, sms_problem
from guide.desk.show import show_rows
from guide.desk.taken_words import why_taken
from guide.errors import WadelineError
from guide.flow.settings import Settings
from guide.record.log import Entry
from guide.record.store import DESK, Store
from guide.talk.front import join_of

COLUMNS = ("code", "name")
MORE_COLUMNS = ("word", "site", "people")
LONGEST_NAME = 30
_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,11}")
_WORD = re.compile(r"[a-z][a-z0-9]{3,19}")
_DIGITS = "23456789"
_LETTERS = 6
"""Letters that the plain word of a join word has at most, where the programme has so short ones."""

_NONE = "There are no groups yet: load a list with wadeline desk groups FILE.csv"


@dataclass(frozen=True)
class Group:
    """A field group. ``word`` is what its phones text behind JOIN; ``site`` a site's code, ``people`` how many."""

    code: str
    name: str
    word: str
    site: str | None
    people: int | None


def load_groups(record: Path, file: Path, as_json: bool) -> int:
    """Loads a list of groups, all or none; a group that has a word keeps it unless the list gives another."""
    store, settings, _ = present(record)
    rows = read_rows(file, COLUMNS, MORE_COLUMNS)
    have = {group.code: group for group in groups_of(store.db, settings.code)}
    problems = [f"row {row.number}: {words}" for row in rows for words in _problems(row, settings)]
    problems += list(_clashes(rows, have, store))
    if problems:
        raise TableError(file, problems)
    with store.transaction():
        taken = {_word_of(row, have) for row in rows}
        words = [_word_of(row, have) or _free_word(store, settings, taken) for row in rows]
        groups = [_group(row, word, have.get(row["code"])) for row, word in zip(rows, words, strict=True)]
        _keep(store, settings.code, groups)
    return show_groups(record, as_json)


def groups_of(db: sqlite3.Connection, programme: str) -> list[Group]:
    """The groups of a programme."""
    sql = "SELECT code, name, join_word, site, people FROM field_group WHERE programme = ? ORDER BY code"
    return [Group(*row) for row in db.execute(sql, (programme,))]


def _problems(row: Row, settings: Settings) -> Iterator[str]:
    if not _CODE.fullmatch(row["code"]):
        yield f"code {row['code']!r} must be up to 12 letters, digits and hyphens"
    if not row["name"]:
        yield "name is empty"
    elif why := sms_problem(row["name"], LONGEST_NAME):
        yield f"name {row['name']!r} {why}"
    word = _typed(row["word"])
    if word and not _WORD.fullmatch(word):
        yield f"word {row['word']!r} must be 4 to 20 letters and digits, a letter first"
    elif word and (why := why_taken(word)):
        yield f"word {row['word']!r} {why}"
    codes = [site.code for site in settings.sites]
    if row["site"] and row["site"].casefold() not in codes:
        yield f"site {row['site']!r} is none of the programme's: {', '.join(codes) or 'it has none yet'}"
    if row["people"] and not (row["people"].isascii() and row["people"].isdigit() and 0 < int(row["people"]) <= 500):
        yield f"people {row['people']!r} must be a number from 1 to 500"


def _typed(word: str) -> str:
    """A word as JOIN reads it: small letters, no spaces."""
    joined = join_of(f"join {word}") if word else None
    return joined.word if joined else word


def _word_of(row: Row, have: dict[str, Group]) -> str:
    known = have.get(row["code"])
    return _typed(row["word"]) or (known.word if known else "")


def _clashes(rows: Sequence[Row], have: dict[str, Group], store: Store) -> Iterator[str]:
    codes: dict[str, int] = {}
    words: dict[str, str] = {}
    listed = {row["code"] for row in rows}
    for group in have.values():
        if group.code not in listed:
            words[group.word] = f"group {group.code}"
    for row in rows:
        code, word = row["code"], _word_of(row, have)
        if code in codes:
            yield f"row {row.number}: group {code!r} stands in row {codes[code]} already"
        elif word and word in words:
            yield f"row {row.number}: the word {word!r} is that of {words[word]}"
        elif word and _is_joined(store, word):
            yield f"row {row.number}: the word {word!r} is that of a visit that is going on"
        codes.setdefault(code, row.number)
        words.setdefault(word, f"row {row.number}")
    taken = {name.casefold(): name for name in have if name not in listed}
    for row in rows:
        if row["code"].casefold() in taken:
            yield f"row {row.number}: group {row['code']!r} is written {taken[row['code'].casefold()]!r} in the record"


def _is_joined(store: Store, word: str) -> bool:
    return store.seat_with_word(word) is not None or store.visit_with_word(word) is not None


def _free_word(store: Store, settings: Settings, taken: set[str]) -> str:
    """A short plain word and three digits, like ``otter 472``: quickly said, and not to be guessed at the first try.

    Digits are 2 to 9, since 0 and 1 are taken for letters; words of two groups that begin alike differ in two digits
    at least, so that one digit misheard never leads to another group.
    """
    words = [word for word in settings.join_words if len(word) <= _LETTERS] or settings.join_words
    others = taken | {word for (word,) in store.db.execute("SELECT join_word FROM field_group")}
    for _ in range(5000):
        word = secrets.choice(words) + "".join(secrets.choice(_DIGITS) for _ in range(3))
        if len(word) <= 20 and not _is_joined(store, word) and not any(_sounds_like(word, other) for other in others):
            taken.add(word)
            return word
    raise WadelineError("no free join word was found: add words to join_words, or give words in the list")


def _sounds_like(word: str, other: str) -> bool:
    """Whether two words differ in less than two characters."""
    return len(word) == len(other) and sum(a != b for a, b in zip(word, other, strict=True)) < 2


def _group(row: Row, word: str, known: Group | None) -> Group:
    """What the file has no column for stays as it was; an empty cell takes it away."""
    site = row["site"].casefold() or None
    people = int(row["people"]) if row["people"] else None
    if known is not None:
        site = site if "site" in row.cells else known.site
        people = people if "people" in row.cells else known.people
    return Group(row["code"], row["name"], word, site, people)


def _keep(store: Store, programme: str, groups: Sequence[Group]) -> None:
    """The words stand in the table alone: who has one may begin a visit, and the log leaves in exports."""
    codes = [(programme, group.code) for group in groups]
    store.db.executemany("DELETE FROM field_group WHERE programme = ? AND code = ?", codes)
    store.db.executemany(
        "INSERT INTO field_group (programme, code, name, join_word, site, people) VALUES (?, ?, ?, ?, ?, ?)",
        [(programme, *vars(group).values()) for group in groups],
    )
    told = [{name: value for name, value in asdict(group).items() if name != "word"} for group in groups]
    entry = Entry("groups_loaded", "", {"programme": programme, "groups": told})
    store.append(DESK, DESK, 0, datetime.now(UTC), [entry])


def remove_group(record: Path, code: str, as_json: bool) -> int:
    """Takes a group off the list that no visit ever belonged to; raises WadelineError for another."""
    store, settings, _ = present(record)
    group = next((one for one in groups_of(store.db, settings.code) if one.code.casefold() == code.casefold()), None)
    if group is None:
        raise WadelineError(f"there is no group {code!r}; desk groups lists them")
    with store.transaction():
        visits = [
            visit
            for (visit,) in store.db.execute(
                "SELECT code8 FROM visit WHERE programme = ? AND group_code = ? ORDER BY id",
                (settings.code, group.code),
            )
        ]
        if visits:
            raise WadelineError(
                f"group {group.code} can't be removed: visit {visits[0]} is one of its {len(visits)}. Its name, water "
                "and word are put right by loading its row again"
            )
        store.db.execute("DELETE FROM field_group WHERE programme = ? AND code = ?", (settings.code, group.code))
        entry = Entry("group_removed", "", {"programme": settings.code, "group": group.code})
        store.append(DESK, DESK, 0, datetime.now(UTC), [entry])
    return show_groups(record, as_json)


def show_groups(record: Path, as_json: bool) -> int:
    """Lists the groups with their words and the visits they have made."""
    store, settings, _ = present(record)
    visits = dict(
        store.db.execute("SELECT group_code, count(*) FROM visit WHERE programme = ? GROUP BY 1", (settings.code,))
    )
    rows = []
    for group in groups_of(store.db, settings.code):
        shown = asdict(group)
        shown["word"] = group.word.upper()
        rows.append({**shown, "visits": visits.get(group.code, 0)})
    show_rows(rows, as_json, _NONE)
    return 0
