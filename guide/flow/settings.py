"""A programme's settings: what its numbers are called, what they mean, and their values for the demo programme."""

from dataclasses import dataclass, field

from guide.errors import SettingsError


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
    """A run of tag numbers; the check digit is added to each. ``width`` counts digits with the check digit.

    ``count`` 0: the desk makes or loads every tag. ``check`` False: tags are a lab's own codes, without a check digit.
    """

    first: int = 140
    count: int = 60
    width: int = 5
    check: bool = True


@dataclass(frozen=True, repr=False, eq=False)  # what isn't made needn't be paid for at each start
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
    carrier_holidays: tuple[str, ...] = field(
        default=(), metadata={"doc": "countries or regions on whose holidays the carrier rests, such as IE or US-MN"}
    )
    carrier_closed: tuple[str, ...] = field(default=(), metadata={"doc": "other days the carrier rests, as dates"})
    carrier_rests: tuple[str, ...] = field(
        default=(), metadata={"doc": "the days of carrier_holidays as dates: desk programme fills them in for the talk"}
    )
    lab: str = field(default="", metadata={"doc": "name of the lab"})
    lab_address: tuple[str, ...] = field(default=(), metadata={"doc": "the lab's address, line by line"})
    lab_zone: str = field(default="UTC", metadata={"doc": "the lab's time zone, such as Europe/Dublin"})
    lab_holidays: tuple[str, ...] = field(
        default=(), metadata={"doc": "countries or regions on whose holidays the lab is shut, such as IE or US-MN"}
    )
    lab_closed: tuple[str, ...] = field(default=(), metadata={"doc": "other days the lab is shut, as dates"})
    lab_rests: tuple[str, ...] = field(
        default=(), metadata={"doc": "the days of lab_holidays as dates: desk programme fills them in for the talk"}
    )
    larvae_days: int = field(default=0, metadata={"doc": "days frozen larvae may wait for the lab (0: no limit)"})
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
    tags: TagBlock = field(default=TagBlock(), metadata={"doc": "the programme's tags: first, count, width, check"})
    tag_label: str = field(default="", metadata={"doc": "words on each printed tag slip, at most 24 letters"})
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
