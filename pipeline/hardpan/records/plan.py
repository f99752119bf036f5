"""What was chosen in each zone, what its return is made of, other ways to work, and check strips."""

from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import InputError
from hardpan.records.advice import Condition, Step, Verdict
from hardpan.records.issues import Issues
from hardpan.records.reasons import Alternative, Reason, Way

PLAN = (
    "zone", "kind", "soil_type", "area_ha", "depth_mm", "setup", "spacing_mm", "speed_kmh", "passes",
    "runner_up_cost_per_ha", "breach_probability", "loosened_share", "net_per_ha", "net_low_per_ha", "net_high_per_ha",
    "loss_probability", "geometry",
)  # fmt: skip
"""Columns of `Plan.zones`."""

UNRIPPED, RIPPED = "unripped", "ripped"
"""Treatments of the two strips of a pair."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Makeup:
    """Parts of the expected return of every option in every zone, by what they rise and fall with.

    Arrays are (n_zones, n_options) unless another shape is given, money per ha; options are those of `Plan.candidates`.
    The expected return is the sum of `gain` over soil types less `fuel`, `other` and the discount rate times `capital`,
    and less the money for setting the zone, `Plan.setting`, and for its part in changing the fittings.
    """

    zone: Ints
    """(n_zones,): numbers of the zones."""
    soil_types: tuple[str, ...]
    gain: Floats
    """(n_zones, n_options, n_soils): goes with the price of grain and the gain of the soil type."""
    fuel: Floats
    """Fuel and lubricant: goes with the price of fuel."""
    capital: Floats
    """Mean value of tractor and ripper times the time a hectare takes over their hours a year: the discount rate times
    it is their interest."""
    other: Floats
    """All other cost of machines, labour and wear."""
    hours: Floats
    """Machine hours per ha."""
    fuel_l: Floats
    """Fuel, L per ha."""
    eligible: Bools
    """Options that a zone may be given: those no limit forbids; under a rule that does not ask for a return, of each
    set-up the one that the rule picks."""
    must_pay: bool
    """Whether a zone is ripped only where that returns something."""
    rounds: int
    """In how many rounds the choice and who pays for setting a zone are brought together."""
    setups_fitted: int
    """Most set-ups fitted in the paddock."""
    change: float
    """Money for changing from one of them to the next."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """What a way returns at its own best depths and area, from the draws of the plan; sequences follow its zones."""

    way: Way
    best: tuple[Alternative | None, ...]
    """Depth and set-up with expected cost and gain per ha; None where leaving is best."""
    ripped_ha: Floats
    """(n_zones,)."""
    cost: Floats
    """(n_zones, n_draws): money per zone."""
    net: Floats
    """(n_zones, n_draws): net return, money per zone."""
    hours: Floats
    """(n_zones, n_draws): NaN of a contractor, whose hours are not known."""
    fuel_l: Floats
    """(n_zones, n_draws): the same."""
    power_kw: float = np.nan
    """Rated power of the stronger tractor; NaN of the others."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Depth and set-up per zone, with reasons."""

    zones: gpd.GeoDataFrame
    """Columns `PLAN`, working CRS; exclusions and check strips have `depth_mm` 0,
    `setup` ""."""
    machine: pd.DataFrame
    """One row a ripped zone: `zone`, `tines`, `width_m`, `equation_kn` (draft by the equation as published),
    `draft_kn`, `drawbar_kw`, `engine_kw`, `slip`,
    `fuel_l_per_ha`, `hours_per_ha` (both expected, as `hours` and `fuel_l`), `field_efficiency` (turns and slower
    going in harder ground), `critical_depth_mm`, `limited_by` (a `Limit`)."""
    reasons: tuple[Reason, ...]
    """Why each zone is worked as it is, row order of `zones`."""
    conditions: tuple[Condition, ...]
    """Rules of the decision table met or open, zone by zone, then amounts to spread that no rule asks for."""
    moisture: pd.DataFrame
    """One row a zone: `zone`, working depth `depth_mm` (the shallowest of the machine where all are too dry), `verdict`
    (a `Verdict`), `known` (a `Known`), `moist_depth_mm`, `rain_needed_mm`, and `rain_mm` since the profile was dry."""
    returns: Floats
    """(n_zones, n_draws): net return of the chosen option, money per zone, row order of `zones`; `setting` and
    the labour of `fitting_h` are paid."""
    setting: Floats
    """(n_zones,): money for setting each zone, or that it would take where it is left; 0 for the first that is ripped
    and for those beside one of the same option."""
    fitting_h: Floats
    """(n_zones,): hours of changing the fittings that each zone bears, its labour paid in `returns`, not in `hours`."""
    runner_up_returns: Floats
    """(n_zones, n_draws): the same of the next best choice."""
    hours: Floats
    """(n_zones, n_draws): machine hours per zone, joint with `returns`."""
    fuel_l: Floats
    """(n_zones, n_draws): the same of fuel, L."""
    candidates: pd.DataFrame
    """One row a zone and option: `zone`, `option`, `setup`, `depth_mm`, `net_per_ha`, `cost_per_ha`,
    `loosened_share`, `breach_probability`, `allowed` bool, and of the limit that forbids it `limit` (a `Limit`,
    "" where none), `limit_value`, `limit_unit` and `limit_name`."""
    makeup: Makeup
    """What the expected returns of the candidates are made of."""
    defaults: pd.DataFrame
    """Every shipped number the decision used: `key`, `value`, `unit`, `source`, `standing`."""
    setting_up: tuple[Step, ...]
    """How to set tractor and ripper up, in the order it is done."""
    ways: tuple[Tried, ...] = ()
    """What other ways to have the work done return, each at its own best depths on the plan's zones."""
    issues: Issues = field(default=())

    @property
    def too_wet(self) -> bool:
        """Whether ground that is to be ripped is too wet for it."""
        ripped = self.zones.loc[self.zones["depth_mm"] > 0, "zone"]
        wet = self.moisture["verdict"] == Verdict.TOO_WET
        return bool(self.moisture.loc[wet, "zone"].isin(ripped).any())

    def __post_init__(self) -> None:
        missing = [name for name in PLAN if name not in self.zones]
        if missing:
            raise InputError(what=f"the plan lacks {', '.join(missing)}", right="all of `PLAN`")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaySum:
    """What a way costs and returns in all; money for the paddock, 5-95 % range."""

    way: Way
    ripped_ha: float
    depths_mm: tuple[int, ...]
    """Working depths, shallowest first; none where nothing is ripped."""
    cost: float
    net: float
    net_low: float
    net_high: float
    loss_probability: float
    hours: float
    """NaN where not known, as of a contractor."""
    fuel_l: float
    power_kw: float = np.nan
    """Rated power of the stronger tractor; NaN of the others."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strips:
    """Pairs of strips side by side, one left and one ripped with its zone, and what they can show."""

    table: gpd.GeoDataFrame
    """One row a strip, unripped ones first: `strip` int >= 1, `pair` int >= 1, `treatment` ("unripped" or "ripped"),
    `zone` (the ripped zone it lies in), `plan_zone` (its own row in the plan, 0 for ripped ones), `soil_type`,
    `depth_mm` and `setup` of the zone, `width_m`, `length_m`, `heading_deg`, `area_ha`, `geometry` (working CRS)."""
    promise: pd.DataFrame
    """What the strips can show, one row a zone and one, first, for "all": `zone`, `pairs`, `strip_cv`, `level`,
    `power`, `difference` (share of the mean yield that the interval of a trial leaves out 0 for with that power; NaN:
    too few pairs to tell)."""
    harvester_width_m: float
    position_error_m: float
