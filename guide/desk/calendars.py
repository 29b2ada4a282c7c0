"""On which days the carrier and the lab work: weekdays of the settings, without public holidays and days of their own.

Public holidays come from the ``holidays`` package by ISO 3166 codes, such as ``IE`` or ``US-MN``. A lab's own word goes
before any list.
"""

from collections.abc import Iterable
from datetime import date
from difflib import get_close_matches

import holidays

from guide.errors import SettingsError
from guide.field.ship_days import Calendar
from guide.flow.settings import Settings

OWN_DAY = "closed that day"


def holiday_names(codes: Iterable[str], years: Iterable[int]) -> dict[date, str]:
    """The public holidays of countries and regions by day, with their names; raises SettingsError for a wrong code."""
    found: dict[date, str] = {}
    for code in codes:
        country, _, region = code.partition("-")
        check_code(code)
        found.update(holidays.country_holidays(country, subdiv=region or None, years=list(years)))
    return found


def check_code(code: str) -> None:
    """Raises SettingsError, with the nearest right code, if there is no list of holidays for a country or region."""
    known = holidays.list_supported_countries(include_aliases=False)
    country, _, region = code.partition("-")
    if country not in known:
        raise SettingsError(
            f"there is no list of holidays for {code!r}; codes are like IE, or US-MN{_near(code, known)}"
        )
    if region and region not in known[country]:
        regions = [f"{country}-{one}" for one in known[country]]
        raise SettingsError(f"there is no list of holidays for {code!r}, {country} has {_some(regions)}")


def carrier_calendar(settings: Settings, years: Iterable[int]) -> tuple[Calendar, dict[date, str]]:
    """The carrier's working days in some years, and the names of its holidays."""
    return _calendar(settings.carrier_days, settings.carrier_holidays, settings.carrier_closed, years)


def lab_calendar(settings: Settings, years: Iterable[int]) -> tuple[Calendar, dict[date, str]]:
    """The lab's receiving days in some years, and the names of its holidays."""
    return _calendar(settings.receiving_days, settings.lab_holidays, settings.lab_closed, years)


def _calendar(
    weekdays: Iterable[int], codes: Iterable[str], own: Iterable[str], years: Iterable[int]
) -> tuple[Calendar, dict[date, str]]:
    names = holiday_names(codes, years)
    for day in own:
        names.setdefault(date.fromisoformat(day), OWN_DAY)
    return Calendar(frozenset(weekdays), frozenset(names)), names


def _near(code: str, known: Iterable[str]) -> str:
    near = get_close_matches(code[:2].upper(), list(known), 1, 0.5)
    return f". Did you mean {near[0]}?" if near else ""


def _some(codes: list[str]) -> str:
    return "no regions" if not codes else ", ".join(codes[:8]) + (" and others" if len(codes) > 8 else "")
