"""A programme's settings: what its numbers are called, what they mean, and their values for the demo programme."""

from typing import Annotated, Any, NamedTuple

from guide.errors import SettingsError


class Site(NamedTuple):
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


class TagBlock(NamedTuple):
    """A run of tag numbers; the check digit is added to each. ``width`` counts digits with the check digit.

    ``count`` 0: the desk makes or loads every tag. ``check`` False: tags are a lab's own codes, without a check digit.
    """

    first: int = 140
    count: int = 60  # type: ignore[assignment]  # nobody looks for a value in it
    width: int = 5
    check: bool = True


class Settings(NamedTuple):
    """The settings of one programme, as in ``programme.toml``. Every number is the programme's own choice."""

    code: Annotated[str, "short name of the programme, kept with every visit"]
    name: Annotated[str, "the programme's name as people say it, at most 26 letters"]
    language: Annotated[str, "language of the texts"] = "en"
    practice: Annotated[bool, "visits are practice: in no count, gate or export of real work"] = False
    target: Annotated[int, "larvae wanted at a site"] = 12
    minimum_mm: Annotated[int, "shortest larva that is taken, mm"] = 13
    family_min: Annotated[int, "a family with fewer larvae than this can't be used"] = 2
    clean_for_pace: Annotated[int, "clean larvae in the log before shorter talk is offered"] = 3
    bags_spare: Annotated[int, "spare bags beside two a larva"] = 4
    spot_min: Annotated[int, "minutes of netting before moving to another spot"] = 6
    knee_cm: Annotated[int, "deepest wading, cm: about the knee of an adult"] = 50
    speed_most_m_s: Annotated[float, "fastest water to wade, m/s"] = 0.5
    depth_speed_most_m2_s: Annotated[float, "most depth x speed to wade, m2/s"] = 0.3
    drift_m: Annotated[int, "metres over which a stick's drift is timed"] = 5
    cold_c: Annotated[int, "below this water temperature only short turns, Celsius"] = 15
    cool_c: Annotated[int, "below this water temperature caution is said, Celsius"] = 21
    short_turn_min: Annotated[int, "minutes of a turn in cold water, and its check-in"] = 15
    check_in_min: Annotated[int, "minutes without a text, people in the water, before a check-in"] = 30
    check_in_grace_min: Annotated[int, "minutes to answer a check-in before the others are told"] = 10
    thunder_wait_min: Annotated[int, "minutes of shelter after the last rumble or flash"] = 30
    water_bottles: Annotated[int, "bottles of water at a site (0: only when a pair texts WATER)"] = 0
    bottle: Annotated[str, "how bottles come: acid (or pure water) in them, preserved, empty"] = "acid"
    rinse_times: Annotated[int, "rinses of a bottle with site water"] = 3
    blank_every: Annotated[int, "a field blank for each so many bottles, at least one a visit"] = 10
    duplicate_every: Annotated[int, "a field duplicate for each so many bottles"] = 10
    preserve_h: Annotated[int, "hours from the bottle to preservation at the lab"] = 48
    late_water: Annotated[bool, "water or sediment after netting is allowed, with a flag"] = True
    sediment_jars: Annotated[int, "jars of sediment at a site (0: only when a pair texts SEDIMENT)"] = 0
    sediment_top_cm: Annotated[int, "depth of sediment taken, cm"] = 2
    sediment_frozen: Annotated[bool, "the lab wants sediment frozen"] = False
    transit_days: Annotated[int, "days the carrier takes, 1 for overnight"] = 1
    carrier_days: Annotated[tuple[int, ...], "days the carrier works, 1 Monday to 7 Sunday"] = (1, 2, 3, 4, 5)
    receiving_days: Annotated[tuple[int, ...], "days the lab receives, 1 Monday to 7 Sunday"] = (1, 2, 3, 4, 5)
    carrier_holidays: Annotated[
        tuple[str, ...], "countries or regions on whose holidays the carrier rests, such as IE or US-MN"
    ] = ()
    carrier_closed: Annotated[tuple[str, ...], "other days the carrier rests, as dates"] = ()
    carrier_rests: Annotated[
        tuple[str, ...], "the days of carrier_holidays as dates: desk programme fills them in for the talk"
    ] = ()
    lab: Annotated[str, "name of the lab"] = ""
    lab_address: Annotated[tuple[str, ...], "the lab's address, line by line"] = ()
    lab_zone: Annotated[str, "the lab's time zone, such as Europe/Dublin"] = "UTC"
    lab_holidays: Annotated[
        tuple[str, ...], "countries or regions on whose holidays the lab is shut, such as IE or US-MN"
    ] = ()
    lab_closed: Annotated[tuple[str, ...], "other days the lab is shut, as dates"] = ()
    lab_rests: Annotated[
        tuple[str, ...], "the days of lab_holidays as dates: desk programme fills them in for the talk"
    ] = ()
    larvae_days: Annotated[int, "days frozen larvae may wait for the lab (0: no limit)"] = 0
    window_days: Annotated[int, "days between water or sediment and larvae of a site"] = 7
    ice_check_min: Annotated[int, "minutes between ice checks on the way to the freezer"] = 120
    waiver_word: Annotated[str, "the coordinator's word that lets a kit in without a disinfection in the record"] = ""
    disinfectant: Annotated[str, "bleach, dry, hot or freeze, where the permit says nothing"] = "bleach"
    bleach_percent: Annotated[float, "household bleach in the tub, percent by volume"] = 10.0
    bleach_strength_percent: Annotated[
        float, "hypochlorite in the tub, percent by weight, where the permit says so (0: by volume)"
    ] = 0.0
    contact_min: Annotated[int, "minutes that gear lies in the tub"] = 10
    dry_days: Annotated[int, "days of drying, where the permit asks for it"] = 5
    home_min: Annotated[int, "minutes after close until 'all home?' is asked"] = 120
    lossy_repeat_s: Annotated[
        int, "on a channel that loses texts, a bare OK again within these seconds is read back"
    ] = 20
    emergency: Annotated[str, "local emergency number"] = "112"
    tags: Annotated[TagBlock, "the programme's tags: first, count, width, check"] = TagBlock()
    tag_label: Annotated[str, "words on each printed tag slip, at most 24 letters"] = ""
    sites: Annotated[tuple[Site, ...], "the water bodies, each a [[sites]] table"] = ()
    join_words: Annotated[tuple[str, ...], "plain words that a second phone joins with, a number is added"] = ()

    def site(self, code: str) -> Site:
        """The site with this code; raises SettingsError if there is none."""
        for site in self.sites:
            if site.code == code:
                return site
        raise SettingsError(f"there is no site {code!r} in programme {self.code}")

    def as_tables(self) -> dict[str, Any]:
        """Every setting by its name, tables within as such."""
        sites = [site._asdict() for site in self.sites]
        return {**self._asdict(), "tags": self.tags._asdict(), "sites": sites}
