"""Settings from a parsed file. What can't be used is refused with file, line, setting, reason and the nearest name."""

import re
from collections.abc import Iterable
from datetime import date
from typing import Any, get_type_hints
from zoneinfo import ZoneInfo

from guide.errors import SettingsError
from guide.flow.settings import Settings, Site, TagBlock

MOST = {"knee_cm": 80, "speed_most_m_s": 1.0, "depth_speed_most_m2_s": 0.6}
"""Above these no programme of volunteers may set its limits (Cox et al. 2010: low hazard for adults to 0.6 m2/s)."""

LEAST_SHELTER_MIN = 30
LEAST_LABEL_PERCENT = 5
LONGEST_TAG_LABEL = 24
BOTTLES = ("acid", "preserved", "empty")
DISINFECTANTS = ("bleach", "dry", "hot", "freeze")
_LISTS = ("join_words", "carrier_days", "receiving_days", "lab_address", "carrier_holidays", "lab_holidays")
_DATES = ("carrier_closed", "lab_closed", "carrier_rests", "lab_rests")
_KINDS = {"int": "a whole number", "float": "a number", "str": "text in quotes", "bool": "true or false"}


def settings_from(table: dict[str, Any], file: str = "programme.toml", text: str = "") -> Settings:
    """Settings from a parsed file and its text, which tells the line; raises SettingsError."""
    return _Reader(file, text).settings(table)


class _Reader:
    """Reads one settings file, knowing where each setting stands in it."""

    def __init__(self, file: str, text: str) -> None:
        self.file, self.lines = file, text.splitlines()

    def fail(self, reason: str, at: str = "", given: str = "", valid: Iterable[str] = ()) -> SettingsError:
        """``at`` is a setting, or a table as ``[[sites]]`` with its place behind it."""
        from difflib import get_close_matches  # costs a start-up what only a broken file needs

        line = self.line(at)
        near = get_close_matches(given, list(valid), 1, 0.5) if given else []
        hint = f". Did you mean {near[0]}?" if near else ""
        return SettingsError(f"{self.file}{f':{line}' if line else ''}: {reason}{hint}")

    def line(self, at: str) -> int:
        name, _, place = at.partition(" ")
        begin = re.escape(name) if name.startswith("[") else rf'"?{re.escape(name)}"?\s*='
        found = [n for n, text in enumerate(self.lines, 1) if name and re.match(rf"\s*{begin}", text)]
        return next(iter(found[int(place or 0) :]), 0)

    def settings(self, table: dict[str, Any]) -> Settings:
        known = Settings._fields
        for name in table:
            if name not in known:
                raise self.fail(f"there is no setting {name!r}", self._head(name, table[name]), name, known)
        missing = next((name for name in ("code", "name") if name not in table), None)
        if missing:
            raise self.fail(f'{missing} = "..." is missing')
        values = {name: self._value(name, value) for name, value in table.items()}
        settings = Settings(**values)
        self.check(settings)
        return settings

    @staticmethod
    def _head(name: str, value: Any) -> str:
        return f"[[{name}]]" if isinstance(value, list) and value and isinstance(value[0], dict) else name

    def _value(self, name: str, value: Any) -> Any:
        if name == "tags":
            return self._table(TagBlock, value, "[tags]", "tags")
        if name == "sites":
            if not isinstance(value, list):
                raise self.fail("each site is a [[sites]] table", name)
            return tuple(self._site(site, place) for place, site in enumerate(value))
        if name in (*_LISTS, *_DATES) and not isinstance(value, list):
            raise self.fail(f"{name} = {value!r} must be a list, in [ ]", name)
        if name in _DATES:
            return tuple(self._date(name, day) for day in value)
        if name in _LISTS:
            wanted = int if name.endswith("_days") else str
            if not all(type(one) is wanted for one in value):
                raise self.fail(f"{name} must be a list of {'numbers' if wanted is int else 'texts in quotes'}", name)
            return tuple(value)
        self._check_kind(name, Settings, value, name)
        return value

    def _date(self, name: str, day: Any) -> str:
        try:
            return day.isoformat() if type(day) is date else date.fromisoformat(day).isoformat()
        except (TypeError, ValueError):
            raise self.fail(f"{name}: {day!r} is no date like 2026-12-24", name) from None

    def _site(self, table: Any, place: int) -> Site:
        values = dict(table) if isinstance(table, dict) else {}
        for name in ("words", "protected"):
            if name in values:
                words = values[name]
                if not isinstance(words, list) or not all(isinstance(word, str) and word for word in words):
                    raise self.fail(f"{name} of a site must be a list of texts in quotes", f"[[sites]] {place}")
                values[name] = tuple(words)
        site: Site = self._table(Site, values, f"[[sites]] {place}", "a site")
        if not site.code or not site.name:
            raise self.fail("a site needs code and name, as text in quotes", f"[[sites]] {place}")
        return site

    def _table(self, kind: Any, table: Any, at: str, what: str) -> Any:
        known = kind._fields
        if not isinstance(table, dict):
            raise self.fail(f"{what} must be a table", at)
        for name, value in table.items():
            if name not in known:
                raise self.fail(f"{what} has no {name!r}", at, name, known)
            self._check_kind(name, kind, value, at)
        missing = [name for name in ("code", "name") if name in known and name not in table]
        if missing:
            raise self.fail(f'{what} needs {missing[0]} = "..."', at)
        return kind(**table)

    def _check_kind(self, name: str, owner: Any, value: Any, at: str) -> None:
        """A number, text or true/false where the setting is one; numbers are 0 or more but for places on the map."""
        declared = get_type_hints(owner)[name]
        kind = getattr(declared, "__name__", "")
        if str(declared) == "float | None":
            kind = "float" if value is not None else ""
        if kind not in _KINDS:
            return
        right = type(value).__name__ == kind or (kind == "float" and type(value) is int)
        least = "" if name in ("lat", "lon") else ", 0 or more"
        if right and kind in ("int", "float") and least and value < 0:
            right = False
        if not right:
            words = _KINDS[kind] + (least if kind in ("int", "float") else "")
            raise self.fail(f"{name} = {value!r} must be {words}", at)

    def check(self, settings: Settings) -> None:
        if not settings.join_words:
            raise self.fail("join_words needs at least one word", "join_words")
        if settings.target < 1:
            raise self.fail(f"target = {settings.target} must be at least 1", "target")
        self._check_safe(settings)
        self._check_tags(settings)
        for name in ("carrier_days", "receiving_days"):
            days = getattr(settings, name)
            if not days or not set(days) <= set(range(1, 8)):
                raise self.fail(f"{name} = {list(days)} must be some of 1 (Monday) to 7 (Sunday)", name)
        self._check_word("bottle", settings.bottle, BOTTLES, "bottle")
        self._check_word("disinfectant", settings.disinfectant, DISINFECTANTS, "disinfectant")
        self._check_zone(settings.lab_zone, "the lab", "lab_zone")
        self._check_sites(settings)

    def _check_sites(self, settings: Settings) -> None:
        codes: list[str] = []
        for place, site in enumerate(settings.sites):
            at = f"[[sites]] {place}"
            if site.code in codes:
                raise self.fail(f"two sites have the code {site.code!r}", at)
            codes.append(site.code)
            self._check_word(f"disinfectant of {site.code}", site.disinfectant, ("", *DISINFECTANTS), at)
            self._check_zone(site.zone, site.code, at)

    def _check_zone(self, zone: str, whose: str, at: str) -> None:
        try:
            ZoneInfo(zone)
        except (ValueError, OSError, KeyError, TypeError):
            raise self.fail(f"zone {zone!r} of {whose} is no time zone, like Europe/Dublin", at) from None

    def _check_safe(self, settings: Settings) -> None:
        """A programme may be more careful than these, never less."""
        if not 0 < settings.bleach_percent <= 50:
            raise self.fail("bleach_percent must be 50 or less, and more than 0", "bleach_percent")
        if settings.drift_m < 1:
            raise self.fail("drift_m must be 1 or more", "drift_m")
        if settings.bleach_strength_percent >= LEAST_LABEL_PERCENT:
            words = "household bleach can't be made that strong, ask who wrote the permit what is meant"
            name = "bleach_strength_percent"
            raise self.fail(f"{name} = {settings.bleach_strength_percent}: {words}", name)
        for name, most in MOST.items():
            value = getattr(settings, name)
            if value > most:
                raise self.fail(f"{name} = {value} is more than {most}: no volunteer wades that", name)
        if settings.thunder_wait_min < LEAST_SHELTER_MIN:
            raise self.fail(f"thunder_wait_min must be {LEAST_SHELTER_MIN} or more", "thunder_wait_min")

    def _check_tags(self, settings: Settings) -> None:
        tags = settings.tags
        if not 3 <= tags.width <= 8 or tags.first + tags.count > 10 ** (tags.width - 1):
            words = f"tags from {tags.first}, {tags.count} of them, don't fit {tags.width} digits (3 to 8)"
            raise self.fail(words, "[tags]")
        if not tags.check and tags.count:
            raise self.fail("tags without a check digit are the lab's own: set count = 0 and load its list", "[tags]")
        if tags.count and settings.target > tags.count:
            raise self.fail(f"target = {settings.target} is more than the {tags.count} tags there are", "target")
        if len(settings.tag_label) > LONGEST_TAG_LABEL:
            raise self.fail(f"tag_label may have {LONGEST_TAG_LABEL} letters", "tag_label")

    def _check_word(self, name: str, word: str, valid: tuple[str, ...], at: str) -> None:
        if word not in valid:
            raise self.fail(f"{name} {word!r} must be one of {', '.join(filter(None, valid))}", at, word, valid)
