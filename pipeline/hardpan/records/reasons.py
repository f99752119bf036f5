"""Why a zone is worked as it is: limits, alternatives and figures; the sentences are made in `outputs.words`."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias


class Limit(StrEnum):
    """What forbids an option, or holds a depth; the value is its code in tables and its name in an error."""

    POWER = "engine power"
    TINE = "break-out rating of a tine"
    FRAME = "draft rating of the frame"
    GRIP = "grip of the tractor"
    SPEED = "speed window"
    RIPPER_DEEPEST = "deepest depth of the ripper"
    RIPPER_SHALLOWEST = "shallowest depth of the ripper"
    SETUP_DEEPEST = "deepest depth of the set-up"
    SETUP_SHALLOWEST = "shallowest depth of the set-up"
    CLAY = "clay not to be brought up"
    REACH = "clay out of reach of the set-up"
    MOIST = "depth of moist soil"
    RULE = "rule of the decision table"
    RESPONSE = "no response"
    EXCLUSION = "exclusion"

    @property
    def unit(self) -> str:
        """Unit of `Held.value`, "" where the limit has none."""
        return _UNITS.get(self, "")

    @property
    def bars_deeper(self) -> bool:
        """It bars a depth and all that are deeper."""
        return self in _BAR_DEEPER


MACHINE_LIMITS = (Limit.POWER, Limit.TINE, Limit.FRAME, Limit.GRIP)
"""Limits of tractor and ripper, in the order of `options.effort.limit_values`."""

TRACTOR_LIMITS = (Limit.POWER, Limit.GRIP)
"""Those of the tractor: a stronger and heavier one would not have them."""

_UNITS = {
    Limit.POWER: "kW",
    **dict.fromkeys(MACHINE_LIMITS[1:], "kN"),
    **dict.fromkeys(
        (
            Limit.RIPPER_DEEPEST, Limit.RIPPER_SHALLOWEST, Limit.SETUP_DEEPEST, Limit.SETUP_SHALLOWEST, Limit.CLAY,
            Limit.MOIST,
        ),
        "mm",
    ),
}  # fmt: skip
_BAR_DEEPER = {*MACHINE_LIMITS, Limit.CLAY, Limit.MOIST}


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A limit with its figures."""

    limit: Limit
    value: float = math.nan
    """What the limit allows, in `limit.unit`: usable power, draft, the depth where the clay begins or moist soil ends,
    the end of the ripper's depths."""
    from_mm: float = math.nan
    """Shallowest depth of the option that it forbids."""
    kept_mm: float = 0.0
    """Margin kept above the clay."""
    share: float = 0.0
    """Share of the zone on which the clay may begin above `value`, as far as the map knows."""
    name: str = ""
    """What sets it: constraint of the rule, key of the set-up, soil type."""
    setup: str = ""
    """Key of the set-up that a rule forbids."""
    enough_kw: float = math.nan
    """Rated power and, below, mass with which the limit would not bind at the slowest speed; NaN where not told."""
    enough_kg: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """An option that was not taken; depth 0 is leaving."""

    depth_mm: int
    setup: str
    """Key of the set-up, "" for leaving."""
    cost_per_ha: float = math.nan
    """Expected."""
    gain_per_ha: float = math.nan
    """Expected worth of what it breaks."""
    held: Held | None = None
    """Limit but for which ripping would pay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """How the machine pulls an option, and what it is short of."""

    tines: int
    """With which the whole paddock is worked."""
    all_tines: int
    passes: int
    short_of: Held
    whole: bool = True
    """Whether all tines would be pulled through it in one pass."""
    slow_kmh: float = math.nan
    """Speed, where `short_of` keeps a pass in the slower half of its speed window; NaN elsewhere."""
    from_mm: float = math.nan
    """Depth from which it is pulled so, where that is told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """The rule `cover`: shares of a zone whose pan lies above the foot, or that have none."""

    asked: float
    reached: float
    """With the option chosen."""
    reachable: float = 1.0
    """Largest with any depth allowed of the set-ups fitted."""
    otherwise: bool = False
    """A set-up that is not fitted reaches `least_cover_share`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripped:
    """Why a zone is ripped to its depth."""

    depth_mm: int
    setup: str
    """Key."""
    pan_probability: float
    """Mean over the zone."""
    bottom_mm: tuple[float, float, float]
    """Mean, 5 and 95 % of the pan's bottom where there is one; NaN where there never is."""
    net_per_ha: float
    """Expected."""
    pull: Pull
    loosened: float
    """Share of the pan in broken soil."""
    held: Held | None = None
    """Limit but for which another depth would be taken."""
    credited_by: str = ""
    """Constraint whose rule credits the set-up with more gain, "" where none does."""
    read_to_mm: float = math.inf
    """Deepest reading in a pan of the paddock, below which no bottom is known; infinite where all were seen."""
    clay_mm: float = math.inf
    """Mean depth to clay; infinite where none is in reach or known."""
    clay_chance: float = 0.0
    """Expected share of the zone where the tines are in clay that is not to be brought up."""
    deeper: Pull | None = None
    """Pull of the first deeper option with fewer tines or another pass, where deeper would return more without."""
    cover: Cover | None = None
    """None under the rule `return`."""

    @property
    def held_by(self) -> Held | None:
        """Limit but for which another depth would be taken."""
        return self.held


class Way(StrEnum):
    """Who does the work, and which of its costs count; the value is the code in tables."""

    FULL = "own machine, full cost"
    """The plan."""
    CASH = "own machine, cash cost"
    """Without what owning costs: an owned machine is paid for whether it works or not."""
    CONTRACTOR = "contractor"
    """At his rate, with a machine that pulls whatever ripper and set-ups allow."""
    STRONGER = "stronger tractor"
    """With the present ripper, at full cost, priced in proportion to its power."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """Why ground is left unripped."""

    soil_type: str
    responds: bool
    """The soil type is expected to respond to ripping."""
    pan_probability: float
    best: Alternative | None
    """Option that returns most, under the rule `cover` the deepest; with the set-ups fitted only, where another would
    do; None: none is allowed."""
    barred: Held | None = None
    """What forbids the set-ups fitted; None where nothing does."""
    shallowest: Held | None = None
    """End of the ripper that stands in the way of passing above `barred`, where no option is allowed."""
    other_pays: bool = False
    """Another set-up than those fitted would pay here."""
    cover: Cover | None = None
    """None under the rule `return`."""
    soft_to_mm: float | None = None
    """`PanFeatures.soft_to_mm`."""
    elsewhere: tuple[tuple[Way, Alternative], ...] = ()
    """What would pay here if the work were done, or its cost counted, in another way."""

    @property
    def held_by(self) -> Held | None:
        """Limit but for which it would be ripped, as far as one is known."""
        return self.barred if self.best is None else self.best.held

    @property
    def covered(self) -> bool:
        """Leaving reaches the share that the rule `cover` asks for."""
        return self.cover is not None and self.cover.reached >= self.cover.asked


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """Why an exclusion is not ripped."""

    name: str
    kept_m: float = 0.0
    """Widest strip kept around it."""
    lift_m: float = 0.0
    """Ground beside it in which the tines rise, 0 where it is not buried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckStrip:
    """Why a check strip is not ripped."""

    strip: int
    pair: int
    beside: int
    """Ripped zone that it lies in and is compared with."""


Why: TypeAlias = Ripped | Left | Closed | CheckStrip


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What new information would turn the choice where ground is ripped."""

    needed_t_per_ha: float
    """First-season gain that just pays the pass."""
    pays: bool
    """It does as expected; under the rule `cover` it need not."""
    better_share: float
    """Share of the draws in which the runner-up returns more."""
    bottom_mm: float = math.nan
    """Pan bottom beyond which the runner-up wins in most draws; NaN where the bottom does not decide."""
    deeper: bool = False
    """The runner-up wins when the bottom is deeper (else shallower) than that."""
    probes: int = 0
    """How many more probe sites would settle it."""


class Opening(StrEnum):
    """What would have ground ripped that is left."""

    STRIP = "test strip"
    """One that shows a gain."""
    LIMIT = "limit"
    """The one that bars it is not there after all."""
    DEEPER = "deeper"
    """A ripper or limits that let the tines go deeper, or a smaller share to cover."""
    SETUP = "set-up"
    """A second one for this ground, or another time."""
    GAIN = "gain"
    """A larger one in the first season."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """What would have ground ripped that is left, with its figure."""

    by: Opening
    needed_t_per_ha: float = math.nan
    """First-season gain that would pay, where a gain would do it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """All that is said of the choice in one zone."""

    zone: int
    why: Why
    runner_up: Alternative | None = None
    """Next best choice; None where no other is open, of exclusions and of check strips."""
    change: Turn | Open | None = None
    """None where nothing would, of exclusions and of check strips."""
    unmended: tuple[str, ...] = ()
    """Constraints of the rules met whose trouble ripping leaves."""
