"""Two results of one paddock, and what changed from one to the other."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import geopandas as gpd
import pandas as pd

from hardpan.core.arrays import Floats

CHANGE = ("what", "where", "before", "after", "change", "low", "high", "cause")
"""Columns of `Comparison.rows` and of compare.csv."""


PAN_MAPS = ("pan_probability", "pan_top_mm", "pan_bottom_mm", "peak_kpa")
"""Bands that rest on the readings alone; that of getting through the pan rests on the depth chosen too."""


class What(StrEnum):
    """Kind of a change; the value is its code in tables."""

    VERSION = "version"
    INPUT = "input"
    SETTING = "setting"
    READINGS = "insertions"
    MAP = "map"
    ZONES = "zones"
    DEPTH = "hectares at a depth"
    MOVED = "hectares with another depth"
    MONEY = "money"
    WORK = "work"


CAUSES = (What.VERSION, What.INPUT, What.SETTING)
"""Kinds that explain the others."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PastRun:
    """Result of a run as its files say."""

    name: str
    """Of the folder."""
    document: Mapping[str, Any]
    """Content of run.json."""
    zones: gpd.GeoDataFrame
    """`zone`, `depth_mm`, `area_ha`, polygons in the working CRS."""
    tallies: pd.DataFrame
    """tallies.csv."""
    insertions: int | None
    """Number of them; None where no file says."""
    maps: Mapping[str, Floats]
    """Band to values, (n_rows, n_cols); empty where no raster was written."""
    grid: tuple[float, float, float]
    """West edge, north edge and cell, m; NaN without a raster."""
    draws: Mapping[str, Floats]
    """Item of the money to its total in each draw; empty where no file says."""
    mean_sd: Mapping[str, float]
    """Band to the standard deviation of its mean over the paddock; empty where no file says."""
    residuals: pd.DataFrame
    """Of readings held against their forecasts from all other sites: `variable`, `site`, `insertion`, `x_m`, `y_m`,
    `residual` (NaN for bounds), `sd`; no rows where no file says."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """What changed between two results."""

    before: PastRun
    after: PastRun
    rows: pd.DataFrame
    """Columns `CHANGE`, causes first; `low` and `high` hold the change with 90 % probability, NaN where it is exact;
    empty for two equal results."""
    currency: str
    """Of the later result's money."""
    difference: Floats | None
    """(n_rows, n_cols) of the pan's bottom, after less before, mm; None where the grids differ or are missing."""
    error_correlation: float
    """Of the errors of the two maps of the bottom, [0, 1]; 0 where both have too few insertions in common."""
    paired: bool
    """Ranges of money are those of the differences draw by draw."""
    clear: Floats | None
    """The same where it is beyond its own 90 % interval, NaN elsewhere."""
