"""What was chosen in each zone."""

from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.columns import PLAN
from hardpan.records.issues import Issues


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Depth and set-up per zone, with reasons."""

    zones: gpd.GeoDataFrame
    """Columns `hardpan.records.columns.PLAN`, working CRS; exclusions have `depth_mm` 0, `setup` ""."""
    machine: pd.DataFrame
    """One row a ripped zone: `zone`, `tines`, `width_m`, `draft_kn`, `drawbar_kw`, `engine_kw`, `slip`,
    `fuel_l_per_ha`, `hours_per_ha`, `field_efficiency`, `critical_depth_mm`, `limited_by`."""
    conditions: pd.DataFrame
    """One row a zone and constraint: `zone`, `constraint`, `met` text, `setup`, `rollers`, `advice`, `source`."""
    moisture: pd.DataFrame
    """One row a zone: `zone`, `verdict` ("ready", "wait", "too wet", "not known", "not ripped"), `moist_depth_mm`,
    `rain_needed_mm`, `why`."""
    returns: Floats
    """(n_zones, n_draws): net return of the chosen option, money per zone, row order of `zones`."""
    runner_up_returns: Floats
    """(n_zones, n_draws): the same of the next best choice."""
    hours: Floats
    """(n_zones, n_draws): machine hours per zone, joint with `returns`."""
    fuel_l: Floats
    """(n_zones, n_draws): the same of fuel, L."""
    candidates: pd.DataFrame
    """One row a zone and option: `zone`, `option`, `setup`, `depth_mm`, `net_per_ha`, `cost_per_ha`,
    `loosened_share`, `breach_probability`, `allowed` bool, `why_not`."""
    defaults: pd.DataFrame
    """Every shipped number the decision used: `key`, `value`, `unit`, `source`, `standing`."""
    setting_up: pd.DataFrame
    """How to set tractor and ripper up, one row a topic: `topic`, `advice`, `source`."""
    issues: Issues = field(default=())

    def __post_init__(self) -> None:
        missing = [name for name in PLAN if name not in self.zones]
        if missing:
            raise InputError(what=f"the plan lacks {', '.join(missing)}", right="all of `records.columns.PLAN`")
