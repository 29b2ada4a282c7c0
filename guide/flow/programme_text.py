"""The text of a programme's settings file: what of it goes into a visit's flow book, and what never does.

Coordinators' numbers stand in the file, and nowhere in the record but in the table of phones: their tables are cut out
before the text is kept. Sites that the desk loads from a list stand behind the file's own text, under a mark.
"""

import json
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from guide.errors import SettingsError
from guide.flow.settings import Site
from guide.text_file import read_text_file

COORDINATORS = "coordinators"
SITES_MARK = "# Sites loaded from a list; the file's own text ends here."
_HEAD = re.compile(rf"\s*\[\[\s*{COORDINATORS}\s*\]\]")
_ANY_HEAD = re.compile(r"\s*\[")


@dataclass(frozen=True)
class ProgrammeText:
    """A file's text without its coordinators, and their tables."""

    text: str
    coordinators: list[dict[str, Any]]


def read_programme(path: Path) -> ProgrammeText:
    """Reads a settings file; raises InputFileError or SettingsError."""
    return cut_coordinators(read_text_file(path), path.name)


def cut_coordinators(text: str, file: str) -> ProgrammeText:
    """Cuts ``[[coordinators]]`` out of a settings file; its other lines keep their numbers."""
    table = parse(text, file)
    if COORDINATORS not in table:
        return ProgrammeText(text, [])
    inside, kept = False, []
    for line in text.split("\n"):
        inside = bool(_HEAD.match(line)) or (inside and not _ANY_HEAD.match(line))
        kept.append("" if inside else line)
    left = "\n".join(kept)
    tables = table.pop(COORDINATORS)
    if parse(left, file) != table or not isinstance(tables, list):
        raise SettingsError(f"{file}: write each coordinator as a [[coordinators]] table with name and number")
    return ProgrammeText(left, tables)


def parse(text: str, file: str) -> dict[str, Any]:
    """TOML to a table; raises SettingsError with the place."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{file}: is not TOML: {error}") from None


def own_part(text: str) -> str:
    """A stored text without the sites that were loaded from a list."""
    return text.partition(f"{SITES_MARK}\n")[0]


def loaded_sites(text: str) -> list[dict[str, Any]]:
    """The tables of the sites that were loaded from a list."""
    sites = tomllib.loads(text.partition(f"{SITES_MARK}\n")[2]).get("sites", [])
    return list(sites)


def with_sites(own: str, sites: Sequence[Site]) -> str:
    """A file's own text and sites from a list behind it."""
    if not sites:
        return own
    return "\n".join([own.rstrip("\n"), "", SITES_MARK, *(_site_lines(site) for site in sites)])


def _site_lines(site: Site) -> str:
    values = {name: value for name, value in site._asdict().items() if value not in (None, "", (), 0) or value is True}
    lines = [f"{name} = {json.dumps(value, ensure_ascii=False)}" for name, value in values.items()]
    return "\n".join(["[[sites]]", *lines, ""])
