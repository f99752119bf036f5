"""What is advised beside depth and set-up: soil conditions, lime and gypsum, moisture, setting up, hiring."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from hardpan.records.quantity import Quantity


class Met(StrEnum):
    """Whether a rule of the decision table is met."""

    YES = "yes"
    NO = "no"
    NEAR = "near the limit"
    """It does not hold by the mean of the cores, but may well."""
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Lime or gypsum on a soil type."""

    item: str
    """ "lime" or "gypsum"."""
    soil_type: str
    rate: Quantity | None
    """t/ha; None: no amount is given."""
    ripped: bool
    """The zone is ripped; elsewhere nothing is priced."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """A rule met or open in a zone, or an amount to spread that no rule asks for."""

    zone: int
    met: Met
    constraint: str = ""
    """Of the rule; "" where no rule asks."""
    known: Mapping[str, float] = field(default_factory=dict)
    """Fact to value, of those the rule was judged by."""
    missing: tuple[str, ...] = ()
    """Facts that would have to be measured."""
    cores: int | None = None
    """Cores that the measured facts are a mean of; None: the rule reads none."""
    cores_of: str = ""
    """Soil type of those cores; "": they lie in the zone."""
    spread: Spread | None = None
    chance: float = 1.0
    """That it holds, as far as the cores tell."""
    setup: str = ""
    """Key of the set-up the zone is worked with, "" where it is left."""


class Verdict(StrEnum):
    """Whether the soil of a zone is fit to rip."""

    READY = "ready"
    WAIT = "wait"
    TOO_WET = "too wet"
    TOO_DRY = "too dry"
    """No rain is left below the layer that evaporates."""
    UNKNOWN = "not known"
    NOT_RIPPED = "not ripped"


class Known(StrEnum):
    """How it is known how deep the soil is moist, or why it is not."""

    DUG = "dug or probed"
    RAIN = "rain"
    """Reckoned from rain since the profile was dry, without evaporation."""
    WEATHER = "weather"
    """Reckoned from daily rain and evaporation."""
    DRAINING = "draining"
    """By the weather, water still moves through the soil."""
    PERCHED = "perched"
    """By the weather, water stands on the clay."""
    OPEN = "open"
    """What is missing of the weather leaves it open."""
    NOT_GIVEN = "not given"
    REPELLENT = "repellent"
    """Rain wets a repellent topsoil unevenly."""
    HAND_TEST = "hand test"
    """Rolled by hand at working depth."""
    NOT_RIPPED = "not ripped"


class Topic(StrEnum):
    """What is set before the first run; the value is its code in the table."""

    BALLAST = "ballast"
    BALANCE = "balance"
    SLIP = "slip"
    LEVEL = "level"
    TINES = "tines"
    FITTINGS = "fittings"
    LEADING = "leading tines"
    DIG = "dig"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to set, with its figures."""

    topic: Topic
    source: str
    figures: Mapping[str, float] = field(default_factory=dict)
    """Ballast: `mass_kg`, `pto_hp`, `low`, `high` kg a horsepower; no figures: none is on file. Balance: `low`, `high`
    share of the weight at the front. Slip: `slip`, `zone`, `usual`. Tines: `tines` of
    `all_tines`. Fittings: `changes`, and `hours` and `money` of all. Leading tines: `share`, `low_mm`, `high_mm`. Dig:
    `ridge_mm`."""
    setup: str = ""
    """Key of the set-up, where it is about one."""
    zones: tuple[int, ...] = ()
    """Zones worked with it."""


class Cheaper(StrEnum):
    """Which of own machine and contractor costs less."""

    CONTRACTOR = "contractor-cheaper"
    LEVEL = "contractor-level"
    """Cannot be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hiring:
    """The same work by own machine and by a contractor, money per ha."""

    cheaper: Cheaper
    own: float
    hired: float
    owning: float
    """Part of `own` that is paid whether the machine works or not."""
    low: float
    """What hiring saves, 5 % of the draws."""
    high: float
    """The same, 95 %."""
    quoted: bool
    """The contractor's rate is the user's."""


class NextDepth(StrEnum):
    """Why the next ripping goes as deep as it does."""

    BROKEN = "nothing deeper"
    """The foot is below the pan already."""
    COST = "does not pay"
    """What lies deeper is worth less than it costs."""
    HELD = "held"
    """A limit of soil or machine bars what lies deeper."""
    RIPPER = "ripper"
    """It can go no deeper."""
    DEEPER = "deeper"
    """Only dry soil kept this pass short of the pan's bottom."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MapVerdict:
    """Whether the map of the pan's bottom is better than plain yardsticks, and whether more probes would help."""

    yardstick: str
    """The better one: method of `Surfaces.scores`."""
    gain: float
    """Share by which the map's score at sites left out is better; NaN where no insertion saw a bottom."""
    better: bool
    """By more than nothing to speak of."""
    sd_mm: float
    """Standard deviation over the paddock."""
    asked_mm: float
    more_sites: int = 0
    reached_mm: float = math.nan
    """Standard deviation with that many more sites."""
    unseen_mm: float = math.nan
    """Deepest reading in a pan where no insertion saw a bottom; NaN where one did."""
    unread_share: float = 0.0
    """Share of the ground whose bottom is mapped deeper than any reading in a pan."""
    deepest_mm: float = math.nan
    """That reading; NaN where bottoms are values only."""

    @property
    def read_to_mm(self) -> float:
        """Deepest reading in a pan, below which no bottom is known; infinite where every insertion saw its bottom."""
        deepest = (self.unseen_mm, self.deepest_mm)
        return min((depth for depth in deepest if not math.isnan(depth)), default=math.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountReason:
    """Why the paddock is divided into so many classes."""

    classes: int
    net_gain: float
    """Worth over one depth everywhere, money."""
    given: bool
    """The number was set by the user."""
    further_loss: float = math.nan
    """What a further class would lower it by; NaN: more were not tried."""
    zone_cost: float = math.nan
    """What a zone costs in setting and turning, money."""
    least_ha: float = math.nan
    least_m: float = math.nan
    """Least area and width of a piece."""
    joined: int = 0
    """Zones that are one with a neighbour of the same soil type, depth and set-up, and not counted for themselves."""
