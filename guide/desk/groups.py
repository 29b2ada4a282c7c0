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
        groups = [_group(row, _word_of(row, have) or _free_word(store, settings, taken)) for row in rows]
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
    """Two plain words and a number: easy to say, and not to be guessed at the first try."""
    for _ in range(1000):
        first, second = secrets.choice(settings.join_words), secrets.choice(settings.join_words)
        word = f"{first}{second}{secrets.randbelow(90) + 10}"
        used = store.group_with_word(word) is not None or _is_joined(store, word)
        if first != second and word not in taken and not used and len(word) <= 20:
            taken.add(word)
            return word
    raise WadelineError("no free join word was found: add words to join_words, or give words in the list")


def _group(row: Row, word: str) -> Group:
    site = row["site"].casefold() or None
    return Group(row["code"], row["name"], word, site, int(row["people"]) if row["people"] else None)


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
    store.append(DESK, "desk", 0, datetime.now(UTC), [entry])


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
