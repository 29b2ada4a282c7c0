"""``desk sites``: loads sites from a list, each an answer of the site question for new visits, or lists them."""

import re
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from guide.counted import counted
from guide.desk.programme import keep_text, present, programme_now, sites_from
from guide.desk.read_csv import Row, TableError, read_rows, sms_problem
from guide.desk.show import show_rows
from guide.desk.taken_words import why_taken
from guide.errors import WadelineError
from guide.flow.programme_text import loaded_sites, own_part, parse, with_sites
from guide.flow.read_settings import DISINFECTANTS
from guide.flow.replies.clean import plain
from guide.flow.settings import Settings, Site
from guide.talk.blanks import SITE_WIDTH

COLUMNS = ("code", "name")
MORE_COLUMNS = ("words", "flows", "zone", "lat", "lon", "permit", "take_limit", "protected", "disinfectant")
_CODE = re.compile(r"[a-z0-9][a-z0-9-]{0,15}")
_APART = re.compile(r"\s*[;|,]\s*")
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0", "")
_DEGREES = {"lat": 90, "lon": 180}


def load_sites(record: Path, file: Path, as_json: bool) -> int:
    """Loads a list of sites, all or none; a site that an earlier list had is taken as it stands now.

    What the file has no column for stays as it was; an empty cell takes it away.
    """
    store, _, _ = present(record)
    rows = read_rows(file, COLUMNS, MORE_COLUMNS)
    problems = [f"row {row.number}: {words}" for row in rows for words in _problems(row)]
    if problems:
        raise TableError(file, problems)
    with store.transaction():
        settings, text = programme_now(store, record)
        zone = next((site.zone for site in settings.sites), settings.lab_zone)
        own = sites_from(parse(own_part(text), "").get("sites", []))
        listed = {site.code: site for site in sites_from(loaded_sites(text))}
        new = [_with_known(row, _site(row, zone), listed) for row in rows]
        before = [site for site in listed.values() if site.code not in {one.code for one in new}]
        problems = list(_clashes(rows, new, [*own, *before]))
        if problems:
            raise TableError(file, problems)
        data = {"sites": [site._asdict() for site in new]}
        keep_text(store, with_sites(own_part(text), [*before, *new]), "sites_loaded", data)
    return show_sites(record, as_json)


def _problems(row: Row) -> Iterator[str]:
    """What is wrong with a row by itself."""
    code, name = row["code"].casefold(), row["name"]
    if not _CODE.fullmatch(code) or code.isdigit():
        yield f"code {row['code']!r} must be up to 16 small letters, digits and hyphens, with a letter"
    if not name:
        yield "name is empty"
    elif why := sms_problem(name, SITE_WIDTH):
        yield f"name {name!r} {why}, so it doesn't fit the prompts"
    for word in (code, name, *_words(row["words"])):
        if why := why_taken(word):
            yield f"{word!r} {why}"
    if row["flows"].casefold() not in (*_YES, *_NO):
        yield f"flows {row['flows']!r} must be yes or no"
    yield from _wrong_values(row)


def _wrong_values(row: Row) -> Iterator[str]:
    for name, most in _DEGREES.items():
        if row[name] and not _is_within(row[name], most):
            yield f"{name} {row[name]!r} must be degrees from -{most} to {most}, such as 53.41"
    if row["take_limit"] and not (row["take_limit"].isascii() and row["take_limit"].isdigit()):
        yield f"take_limit {row['take_limit']!r} must be a whole number"
    if row["disinfectant"] not in ("", *DISINFECTANTS):
        yield f"disinfectant {row['disinfectant']!r} must be one of {', '.join(DISINFECTANTS)}"
    if row["zone"]:
        try:
            ZoneInfo(row["zone"])
        except (ValueError, OSError, KeyError):
            yield f"zone {row['zone']!r} is no time zone, like Europe/Dublin"


def _is_within(text: str, most: int) -> bool:
    try:
        return -most <= float(text) <= most
    except ValueError:
        return False


def _words(cell: str) -> tuple[str, ...]:
    return tuple(word for word in _APART.split(cell) if word)


def _site(row: Row, zone: str) -> Site:
    place = {name: float(row[name]) if row[name] else None for name in _DEGREES}
    return Site(
        code=row["code"].casefold(),
        name=row["name"],
        words=_words(row["words"]),
        flows=row["flows"].casefold() in _YES,
        zone=row["zone"] or zone,
        lat=place["lat"],
        lon=place["lon"],
        permit=row["permit"],
        take_limit=int(row["take_limit"] or 0),
        protected=_words(row["protected"]),
        disinfectant=row["disinfectant"],
    )


def _with_known(row: Row, site: Site, listed: Mapping[str, Site]) -> Site:
    """What a file has no column for stays as it was: a list of names must not take a permit or a place away."""
    known = listed.get(site.code)
    if known is None:
        return site
    return site._replace(**{name: getattr(known, name) for name in MORE_COLUMNS if name not in row.cells})


def _clashes(rows: Sequence[Row], new: Sequence[Site], others: Sequence[Site]) -> Iterator[str]:
    """Codes, names and words that another row or site has already: an answer must mean one site."""
    whose = {spelled: f"{site.name}, which the programme has" for site in others for spelled in _spellings(site)}
    for row, site in zip(rows, new, strict=True):
        for spelled in _spellings(site):
            if spelled in whose:
                yield f"row {row.number}: {spelled!r} already means {whose[spelled]}"
        whose.update(dict.fromkeys(_spellings(site), f"{site.name}, row {row.number}"))


def _spellings(site: Site) -> list[str]:
    return list(dict.fromkeys(plain(word) for word in (site.code, site.name, *site.words)))


def remove_site(record: Path, code: str, as_json: bool) -> int:
    """Takes a site off the list that nothing ever had to do with; raises WadelineError for another."""
    store, _, _ = present(record)
    name = code.casefold()
    with store.transaction():
        settings, text = programme_now(store, record)
        if any(site["code"] == name for site in parse(own_part(text), "").get("sites", [])):
            raise WadelineError(
                f"site {name} stands in the programme's own file: take it out there, load it with desk programme FILE, "
                f"then remove {name} here"
            )
        known = store.db.execute("SELECT 1 FROM site WHERE programme = ? AND code = ?", (settings.code, name))
        if known.fetchone() is None:
            raise WadelineError(f"there is no site {code!r}; desk sites lists them")
        used = next(_uses(store.db, settings.code, name), None)
        if used is not None:
            raise WadelineError(f"site {name} can't be removed: {used}. It is put right by loading its row again")
        left = [site for site in sites_from(loaded_sites(text)) if site.code != name]
        keep_text(store, with_sites(own_part(text), left), "site_removed", {"site": name})
        store.db.execute("DELETE FROM site WHERE programme = ? AND code = ?", (settings.code, name))
    return show_sites(record, as_json)


def _uses(db: sqlite3.Connection, programme: str, code: str) -> Iterator[str]:
    """What has to do with a site, the weightiest first."""
    told = (
        "SELECT code8 FROM visit WHERE programme = ? AND (site = ? OR uid IN (SELECT stream FROM log "
        "WHERE kind IN ('answer', 'fix') AND sample_uid IS NULL AND json_extract(data, '$.site') = ?)) LIMIT 1"
    )
    for (visit,) in db.execute(told, (programme, code, code)):
        yield f"visit {visit} was told as at it"
    for (tags,) in db.execute("SELECT count(*) FROM tag WHERE programme = ? AND site = ?", (programme, code)):
        if tags:
            yield f"{counted(tags, 'tag is', 'tags are')} given to it (desk tags assign)"
    for (group,) in db.execute("SELECT code FROM field_group WHERE programme = ? AND site = ?", (programme, code)):
        yield f"group {group} begins there (desk groups FILE)"


def show_sites(record: Path, as_json: bool) -> int:
    """Lists the sites that new visits can name."""
    store, settings, _ = present(record)
    visits = dict(
        store.db.execute(
            "SELECT site, count(*) FROM visit WHERE programme = ? AND practice = ? GROUP BY site",
            (settings.code, settings.practice),
        )
    )
    show_rows([_shown(site, visits.get(site.code, 0), settings) for site in settings.sites], as_json, _NONE)
    return 0


_NONE = "There are no sites yet: load a list with wadeline desk sites FILE.csv"


def _shown(site: Site, visits: int, settings: Settings) -> dict[str, object]:
    return {
        "code": site.code,
        "name": site.name,
        "water": "moves" if site.flows else "still",
        "lat": site.lat,
        "lon": site.lon,
        "zone": site.zone,
        "permit": site.permit or None,
        "take_limit": site.take_limit or None,
        "gear": site.disinfectant or settings.disinfectant,
        "visits": visits,
    }
