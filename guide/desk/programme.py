"""``desk programme``: checks a programme's settings and keeps them in the record, for new visits to begin with."""

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from guide.counted import counted
from guide.desk.numbers import NumberError, e164
from guide.errors import SettingsError, WadelineError
from guide.flow.programme_text import (
    loaded_sites,
    own_part,
    parse,
    read_programme,
    with_sites,
)
from guide.flow.read_settings import settings_from
from guide.flow.settings import Settings, Site
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.programme import stored_programme
from guide.record.set_up import keep_programme
from guide.record.store import DESK, Store, stamp

NOT_LOGGED = ("waiver_word",)
"""Settings that stand in no log, which leaves in exports: the word lets a kit in without a disinfection."""


HOLIDAY_YEARS = 5
"""So many years of holidays are kept with a programme; a programme is loaded anew more often than that."""


@dataclass(frozen=True)
class Coordinator:
    """Who is told of danger and asked by DESK: a name and an E.164 number."""

    name: str
    number: str


# Loading


def load_programme(record: Path, file: Path, as_json: bool) -> int:
    """Checks a settings file, keeps it in the record, prints what is kept; the record is not opened for a bad file."""
    given = read_programme(file)
    settings = checked(given.text, str(file))
    people = read_coordinators(given.coordinators, str(file))
    store = Store(open_record(record))
    taken = {site.code for site in settings.sites}
    with store.transaction():
        before = stored_text(store.db, settings.code)
        sites = [site for site in loaded_sites(before or "") if site["code"] not in taken]
        text = with_sites(with_holidays(given.text, settings), sites_from(sites))
        checked(text, str(file))
        keep_text(store, text, "programme_loaded")
        for person in people:
            keep_coordinator(store, settings.code, person)
    return show_programme(record, as_json)


def with_holidays(text: str, settings: Settings) -> str:
    """The text with the public holidays of the coming years as dates in front, for the talk, which knows no lists."""
    from guide.desk.calendars import holiday_names

    this_year = datetime.now(UTC).year
    years = range(this_year, this_year + HOLIDAY_YEARS)
    lines = []
    for name in ("carrier", "lab"):
        codes = getattr(settings, f"{name}_holidays")
        if codes and not getattr(settings, f"{name}_rests"):
            days = sorted(day.isoformat() for day in holiday_names(codes, years))
            lines.append(f"{name}_rests = {json.dumps(days)}  # of {', '.join(codes)}, {years[0]} to {years[-1]}\n")
    return "".join([*lines, text])


def checked(text: str, file: str) -> Settings:
    """The settings of a text that every prompt and every sum can use; raises SettingsError."""
    from guide.desk.calendars import check_code

    settings = settings_from(parse(text, file), file, text)
    for code in (*settings.carrier_holidays, *settings.lab_holidays):
        try:
            check_code(code)
        except SettingsError as error:
            raise SettingsError(f"{file}: {error}") from None
    problems = list(_unfit(settings, text))
    if problems:
        raise SettingsError(f"{file}: {problems[0]}")
    return settings


def _unfit(settings: Settings, text: str) -> Iterator[str]:
    """What would not fit the prompts."""
    from guide.flow.check import check_book, unfit_names
    from guide.flow.load import book_text, load_book, shipped_flows
    from guide.flow.replies.kinds import KINDS
    from guide.talk.blanks import REGISTRY

    yield from unfit_names(settings)
    if settings.sites:
        yield from check_book(load_book(book_text(shipped_flows(), text), REGISTRY, KINDS)).problems


def keep_text(store: Store, text: str, why: str, data: Mapping[str, Any] | None = None) -> Settings:
    """Keeps a programme's text in the record, inside the caller's transaction, with an entry that says so."""
    settings, now = settings_from(parse(text, "the programme"), "the programme", text), datetime.now(UTC)
    keep_programme(store, settings, now)
    store.db.execute("UPDATE programme SET toml = ?, loaded_at = ? WHERE uid = ?", (text, stamp(now), settings.code))
    told = {name: value for name, value in settings.as_tables().items() if name not in NOT_LOGGED}
    logged = data if data is not None else {"settings": told}
    text_hash = hashlib.sha256(text.encode()).hexdigest()
    entry = Entry(why, "", {"programme": settings.code, "text_hash": text_hash, **logged})
    store.append(DESK, DESK, 0, now, [entry])
    return settings


def stored_text(db: sqlite3.Connection, code: str) -> str | None:
    """The text that a programme was loaded with, if it was."""
    row = db.execute("SELECT toml FROM programme WHERE uid = ?", (code,)).fetchone()
    return row[0] if row else None


def sites_from(tables: Sequence[Mapping[str, Any]]) -> list[Site]:
    """Sites from stored tables."""
    lists = ("words", "protected")
    return [Site(**{**site, **{name: tuple(site.get(name, ())) for name in lists}}) for site in tables]


# Coordinators


def read_coordinators(tables: Sequence[Mapping[str, Any]], file: str) -> list[Coordinator]:
    """Coordinators of a settings file, numbers in E.164; raises SettingsError."""
    people: list[Coordinator] = []
    for place, table in enumerate(tables, 1):
        where = f"{file}: [[coordinators]] {place}"
        unknown = sorted(set(table) - {"name", "number"})
        name, number = str(table.get("name", "")).strip(), table.get("number", "")
        if unknown or not name or not isinstance(number, str):
            raise SettingsError(f'{where} needs name = "..." and number = "+...", and nothing else')
        try:
            people.append(Coordinator(name, e164(number)))
        except NumberError as error:
            raise SettingsError(f"{where}: {error}") from None
    for what in ("name", "number"):
        values = [getattr(person, what) for person in people]
        twice = next((value for value in values if values.count(value) > 1), None)
        if twice:
            raise SettingsError(f"{file}: two coordinators have the {what} {twice}")
    return people


def keep_coordinator(store: Store, programme: str, person: Coordinator) -> None:
    """Adds a coordinator, or gives one the new number or name; the number stands in the table of phones alone."""
    phone = store.phone(person.number).id
    have = "SELECT 1 FROM coordinator WHERE programme = ? AND name = ? AND phone = ?"
    if store.db.execute(have, (programme, person.name, phone)).fetchone():
        return
    store.db.execute(
        "DELETE FROM coordinator WHERE phone = ? OR (programme = ? AND name = ?)", (phone, programme, person.name)
    )
    store.db.execute(
        "INSERT INTO coordinator (programme, name, phone) VALUES (?, ?, ?)", (programme, person.name, phone)
    )
    entry = Entry("coordinator_added", "", {"programme": programme}, words=person.name)
    store.append(DESK, DESK, 0, datetime.now(UTC), [entry])


# Showing


def present(record: Path) -> tuple[Store, Settings, str]:
    """The record, the settings and the text of the programme loaded last; raises WadelineError if there is none."""
    store = Store(open_record(record, create=False))
    return store, *programme_now(store, record)


def programme_now(store: Store, record: Path) -> tuple[Settings, str]:
    """As ``present``, of a record that is open: what a command changes it reads inside its own transaction."""
    text = stored_programme(store.db)
    if text is None:
        raise WadelineError(f"{record} holds no programme yet: load one with wadeline desk programme FILE.toml")
    return settings_from(parse(text, "the stored programme"), "the stored programme", text), text


def show_programme(record: Path, as_json: bool) -> int:
    """Prints the programme that new visits begin with."""
    store, settings, text = present(record)
    row = store.db.execute("SELECT loaded_at FROM programme WHERE uid = ?", (settings.code,)).fetchone()
    names = [name for (name,) in store.db.execute("SELECT name FROM coordinator WHERE programme = ?", (settings.code,))]
    if as_json:
        shown = {**settings.as_tables(), "loaded_at": row[0], "coordinators": names}
        print(json.dumps(shown, ensure_ascii=False))
        return 0
    print("\n".join(_lines(settings, text, row[0], names, _pools(store.db, settings.code))))
    return 0


def _pools(db: sqlite3.Connection, code: str) -> str:
    sql = "SELECT practice, count(*), sum(status = 'free') FROM tag WHERE programme = ? GROUP BY practice"
    counts = {practice: (tags, free) for practice, tags, free in db.execute(sql, (code,))}
    real, practice = (counts.get(which, (0, 0)) for which in (0, 1))
    return f"{real[0]} real ({real[1]} free), {practice[0]} for practice ({practice[1]} free)"


def _lines(settings: Settings, text: str, at: str, names: list[str], pools: str) -> Iterator[str]:
    own = len(parse(own_part(text), "").get("sites", []))
    loaded = f", {len(settings.sites) - own} of them from a list" if len(settings.sites) > own else ""
    yield f"{settings.name} ({settings.code}), loaded {at}"
    if settings.practice:
        yield "PRACTICE: its visits are in no count and no export of real work"
    sites = ", ".join(site.name for site in settings.sites)
    yield (
        f"sites         {len(settings.sites)}{loaded}: {sites}"
        if sites
        else "sites         none yet: desk sites FILE.csv"
    )
    yield f"wanted        {counted(settings.target, 'larva', 'larvae')} a site, {settings.minimum_mm} mm or longer"
    yield f"tags          {pools}"
    yield f"lab           {', '.join(filter(None, (settings.lab, *settings.lab_address))) or 'not given'}"
    yield f"lab receives  {_days(settings.receiving_days, settings.lab_holidays, settings.lab_closed)}"
    yield f"carrier       {_days(settings.carrier_days, settings.carrier_holidays, settings.carrier_closed)}"
    yield f"gear          {settings.disinfectant}, where the permit says nothing"
    yield f"coordinators  {', '.join(names) or 'none: add one with wadeline desk coordinators add NUMBER NAME'}"
    yield "New visits begin with this; visits that have begun keep what they began with."


def _days(weekdays: Sequence[int], codes: Sequence[str], own: Sequence[str]) -> str:
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    said = " ".join(names[day - 1] for day in sorted(weekdays))
    holidays = f", not on holidays of {', '.join(codes)}" if codes else ", holidays not given"
    others = f", nor on {counted(len(own), 'day')} of its own" if own else ""
    return f"{said}{holidays}{others}"
