"""Check strips: ground left unripped inside ripped zones, to compare a harvest with."""

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

UNRIPPED, RIPPED = "unripped", "ripped"
"""Treatments of the two strips of a pair."""


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
