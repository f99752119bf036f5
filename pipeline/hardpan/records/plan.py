"""What was chosen in each zone."""

from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.advice import Condition, Step, Verdict
from hardpan.records.columns import PLAN
from hardpan.records.issues import Issues
from hardpan.records.makeup import Makeup
from hardpan.records.reasons import Reason
from hardpan.records.ways import Tried


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Depth and set-up per zone, with reasons."""

    zones: gpd.GeoDataFrame
    """Columns `hardpan.records.columns.PLAN`, working CRS; exclusions and check strips have `depth_mm` 0,
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
            raise InputError(what=f"the plan lacks {', '.join(missing)}", right="all of `records.columns.PLAN`")
