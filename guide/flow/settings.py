"""A programme's settings: what its numbers are called, what they mean, and their values for the demo programme."""

from dataclasses import dataclass, field, fields
from typing import Any
from zoneinfo import ZoneInfo

from guide.errors import SettingsError

MOST = {"knee_cm": 80, "speed_most_m_s": 1.0, "depth_speed_most_m2_s": 0.6}
"""Above these no programme of volunteers may set its limits (Cox et al. 2010: low hazard for adults to 0.6 m2/s)."""

LEAST_SHELTER_MIN = 30
LEAST_LABEL_PERCENT = 5
BOTTLES = ("acid", "preserved", "empty")
DISINFECTANTS = ("bleach", "dry", "hot", "freeze")


@dataclass(frozen=True)
class Site:
    """One water body's sampling place. ``flows`` is True where the water moves; ``zone`` is an IANA time zone.

    ``take_limit`` larvae a visit (0: none set), ``protected`` families and ``disinfectant`` are what the site's permit
    says.
    """

    code: str
    name: str
    words: tuple[str, ...] = ()
    flows: bool = False
    zone: str = "UTC"
    lat: float | None = None
    lon: float | None = None
    permit: str = ""
    take_limit: int = 0
    protected: tuple[str, ...] = ()
    disinfectant: str = ""


@dataclass(frozen=True)
class TagBlock:
    """A run of tag numbers; the check digit is added to each. ``width`` counts digits with the check digit."""

    first: int = 140
    count: int = 60
    width: int = 5


@dataclass(frozen=True)
class Settings:
    """The settings of one programme, as in ``programme.toml``. Every number is the programme's own choice."""

    code: str = field(metadata={"doc": "short name of the programme, kept with every visit"})
    name: str = field(metadata={"doc": "the programme's name as people say it, at most 26 letters"})
    language: str = field(default="en", metadata={"doc": "language of the texts"})
    practice: bool = field(
        default=False, metadata={"doc": "visits are practice: in no count, gate or export of real work"}
    )
    target: int = field(default=12, metadata={"doc": "larvae wanted at a site"})
    minimum_mm: int = field(default=13, metadata={"doc": "shortest larva that is taken, mm"})
    family_min: int = field(default=2, metadata={"doc": "a family with fewer larvae than this can't be used"})
    clean_for_pace: int = field(default=3, metadata={"doc": "clean larvae in the log before shorter talk is offered"})
    bags_spare: int = field(default=4, metadata={"doc": "spare bags beside two a larva"})
    spot_min: int = field(default=6, metadata={"doc": "minutes of netting before moving to another spot"})
    knee_cm: int = field(default=50, metadata={"doc": "deepest wading, cm: about the knee of an adult"})
    speed_most_m_s: float = field(default=0.5, metadata={"doc": "fastest water to wade, m/s"})
    depth_speed_most_m2_s: float = field(default=0.3, metadata={"doc": "most depth x speed to wade, m2/s"})
    drift_m: int = field(default=5, metadata={"doc": "metres over which a stick's drift is timed"})
    cold_c: int = field(default=15, metadata={"doc": "below this water temperature only short turns, Celsius"})
    cool_c: int = field(default=21, metadata={"doc": "below this water temperature caution is said, Celsius"})
    short_turn_min: int = field(default=15, metadata={"doc": "minutes of a turn in cold water, and its check-in"})
    check_in_min: int = field(
        default=30, metadata={"doc": "minutes without a text, people in the water, before a check-in"}
    )
    check_in_grace_min: int = field(
        default=10, metadata={"doc": "minutes to answer a check-in before the others are told"}
    )
    thunder_wait_min: int = field(default=30, metadata={"doc": "minutes of shelter after the last rumble or flash"})
    water_bottles: int = field(
        default=0, metadata={"doc": "bottles of water at a site (0: only when a pair texts WATER)"}
    )
    bottle: str = field(
        default="acid", metadata={"doc": "how bottles come: acid (or pure water) in them, preserved, empty"}
    )
    rinse_times: int = field(default=3, metadata={"doc": "rinses of a bottle with site water"})
    blank_every: int = field(
        default=10, metadata={"doc": "a field blank for each so many bottles, at least one a visit"}
    )
    duplicate_every: int = field(default=10, metadata={"doc": "a field duplicate for each so many bottles"})
    preserve_h: int = field(default=48, metadata={"doc": "hours from the bottle to preservation at the lab"})
    late_water: bool = field(default=True, metadata={"doc": "water or sediment after netting is allowed, with a flag"})
    sediment_jars: int = field(
        default=0, metadata={"doc": "jars of sediment at a site (0: only when a pair texts SEDIMENT)"}
    )
    sediment_top_cm: int = field(default=2, metadata={"doc": "depth of sediment taken, cm"})
    sediment_frozen: bool = field(default=False, metadata={"doc": "the lab wants sediment frozen"})
    transit_days: int = field(default=1, metadata={"doc": "days the carrier takes, 1 for overnight"})
    carrier_days: tuple[int, ...] = field(
        default=(1, 2, 3, 4, 5), metadata={"doc": "days the carrier works, 1 Monday to 7 Sunday"}
    )
    receiving_days: tuple[int, ...] = field(
        default=(1, 2, 3, 4, 5), metadata={"doc": "days the lab receives, 1 Monday to 7 Sunday"}
    )
    window_days: int = field(default=7, metadata={"doc": "days between water or sediment and larvae of a site"})
    ice_check_min: int = field(default=120, metadata={"doc": "minutes between ice checks on the way to the freezer"})
    waiver_word: str = field(
        default="", metadata={"doc": "the coordinator's word that lets a kit in without a disinfection in the record"}
    )
    disinfectant: str = field(
        default="bleach", metadata={"doc": "bleach, dry, hot or freeze, where the permit says nothing"}
    )
    bleach_percent: float = field(default=10.0, metadata={"doc": "household bleach in the tub, percent by volume"})
    bleach_strength_percent: float = field(
        default=0.0,
        metadata={"doc": "hypochlorite in the tub, percent by weight, where the permit says so (0: by volume)"},
    )
    contact_min: int = field(default=10, metadata={"doc": "minutes that gear lies in the tub"})
    dry_days: int = field(default=5, metadata={"doc": "days of drying, where the permit asks for it"})
    home_min: int = field(default=120, metadata={"doc": "minutes after close until 'all home?' is asked"})
    lossy_repeat_s: int = field(
        default=20,
        metadata={"doc": "on a channel that loses texts, a bare OK again within these seconds is read back"},
    )
    emergency: str = field(default="112", metadata={"doc": "local emergency number"})
    tags: TagBlock = field(default=TagBlock(), metadata={"doc": "the programme's tags: first number, count, width"})
    sites: tuple[Site, ...] = field(default=(), metadata={"doc": "the water bodies, each a [[sites]] table"})
    join_words: tuple[str, ...] = field(
        default=(), metadata={"doc": "plain words that a second phone joins with, a number is added"}
    )

    def site(self, code: str) -> Site:
        """The site with this code; raises SettingsError if there is none."""
        for site in self.sites:
            if site.code == code:
                return site
        raise SettingsError(f"there is no site {code!r} in programme {self.code}")


def settings_from(table: dict[str, Any], file: str = "programme.toml") -> Settings:
    """Settings from a parsed file; raises SettingsError naming the file, the setting and the reason."""
    known = {f.name: f for f in fields(Settings)}
    for name in table:
        if name not in known:
            raise SettingsError(f"{file}: there is no setting {name!r}; the settings are {', '.join(known)}")
    values = dict(table)
    try:
        if "tags" in values:
            values["tags"] = TagBlock(**values["tags"])
        values["sites"] = tuple(_site(site) for site in values.get("sites", []))
        for name in ("join_words", "carrier_days", "receiving_days"):
            if name in values:
                values[name] = tuple(values[name])
        settings = Settings(**values)
    except TypeError as error:
        raise SettingsError(f"{file}: {str(error).split('__init__() ')[-1]}") from None
    _check(settings, file)
    return settings


def _site(table: dict[str, Any]) -> Site:
    return Site(**{**table, "words": tuple(table.get("words", [])), "protected": tuple(table.get("protected", []))})


def _check(settings: Settings, file: str) -> None:
    for f in fields(Settings):
        _check_number(f.name, getattr(f.type, "__name__", ""), getattr(settings, f.name), file)
    if not settings.sites:
        raise SettingsError(f"{file}: a programme needs at least one [[sites]] table with code and name")
    if not settings.join_words:
        raise SettingsError(f"{file}: join_words needs at least one word")
    if settings.target < 1:
        raise SettingsError(f"{file}: target = {settings.target} must be at least 1")
    _check_safe(settings, file)
    for name in ("carrier_days", "receiving_days"):
        days = getattr(settings, name)
        if not days or not set(days) <= set(range(1, 8)):
            raise SettingsError(f"{file}: {name} = {list(days)} must be some of 1 (Monday) to 7 (Sunday)")
    _check_word(file, "bottle", settings.bottle, BOTTLES)
    _check_word(file, "disinfectant", settings.disinfectant, DISINFECTANTS)
    for site in settings.sites:
        if not all(isinstance(text, str) and text for text in (site.code, site.name, *site.words)):
            raise SettingsError(f"{file}: code, name and words of site {site.name!r} must be text in quotes")
        _check_word(file, f"disinfectant of {site.code}", site.disinfectant, ("", *DISINFECTANTS))
        try:
            ZoneInfo(site.zone)
        except (ValueError, OSError, KeyError, TypeError):
            raise SettingsError(
                f"{file}: zone {site.zone!r} of {site.code} is no time zone, like Europe/Dublin"
            ) from None


def _check_safe(settings: Settings, file: str) -> None:
    """A programme may be more careful than these, never less."""
    tags = settings.tags
    if not 3 <= tags.width <= 8 or tags.first < 0 or tags.first + tags.count > 10 ** (tags.width - 1):
        raise SettingsError(
            f"{file}: tags from {tags.first}, {tags.count} of them, don't fit {tags.width} digits (3 to 8)"
        )
    if not 0 < settings.bleach_percent <= 50 or settings.drift_m < 1:
        raise SettingsError(f"{file}: bleach_percent must be 50 or less, drift_m 1 or more")
    if settings.bleach_strength_percent >= LEAST_LABEL_PERCENT:
        words = "household bleach can't be made that strong, ask who wrote the permit what is meant"
        raise SettingsError(f"{file}: bleach_strength_percent = {settings.bleach_strength_percent}: {words}")
    if settings.target > settings.tags.count:
        raise SettingsError(f"{file}: target = {settings.target} is more than the {settings.tags.count} tags there are")
    for name, most in MOST.items():
        if getattr(settings, name) > most:
            raise SettingsError(
                f"{file}: {name} = {getattr(settings, name)} is more than {most}: no volunteer wades that"
            )
    if settings.thunder_wait_min < LEAST_SHELTER_MIN:
        raise SettingsError(f"{file}: thunder_wait_min must be {LEAST_SHELTER_MIN} or more")


def _check_number(name: str, kind: str, value: Any, file: str) -> None:
    numbers = {"int": (int, "a whole number"), "float": ((int, float), "a number")}
    if kind in numbers:
        types, words = numbers[kind]
        if isinstance(value, bool) or not isinstance(value, types) or value < 0:  # type: ignore[arg-type]
            raise SettingsError(f"{file}: {name} = {value!r} must be {words}, 0 or more")
    elif kind in ("str", "bool") and type(value).__name__ != kind:
        raise SettingsError(
            f"{file}: {name} = {value!r} must be {'text in quotes' if kind == 'str' else 'true or false'}"
        )


def _check_word(file: str, name: str, word: str, valid: tuple[str, ...]) -> None:
    if word not in valid:
        raise SettingsError(f"{file}: {name} {word!r} must be one of {', '.join(filter(None, valid))}")
