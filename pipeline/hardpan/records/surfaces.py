"""Maps of the pan with their uncertainty."""

from dataclasses import dataclass, field

import pandas as pd
import xarray as xr

from hardpan.core.arrays import Bools, Ints
from hardpan.records.advice import MapVerdict
from hardpan.records.frame import Frame
from hardpan.records.issues import Issues


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surfaces:
    """Pan surfaces on the working grid, and joint draws of them on coarser nodes."""

    frame: Frame
    inside: Bools
    """(n_rows, n_cols): cell centre inside the boundary."""
    maps: xr.Dataset
    """Dims (y, x), NaN outside: `pan_probability` [0, 1], `pan_top_mm`, `pan_top_sd_mm`, `pan_bottom_mm`,
    `pan_bottom_sd_mm`, `peak_kpa`, `peak_sd_kpa` (given a pan is there), `clay_depth_mm` (NaN: none in reach or
    unknown), `soil` (float code, position in `soil_types`, NaN outside)."""
    soil_types: tuple[str, ...]
    slices: xr.DataArray
    """Cone index by depth slice, dims (depth, y, x), kPa; empty along depth when not asked for."""
    draws: xr.Dataset
    """Joint conditional draws, dims (draw, node): `present` bool, `top_mm`, `bottom_mm`, `peak_kpa`, `clay_mm`
    float32 with top < bottom, `clay_mm` NaN where no clay is in reach or known; coordinates on node: `x_m`,
    `y_m`, `soil` (int code), `clay_depth_mm` (mean)."""
    node_of_cell: Ints
    """(n_rows, n_cols): node a cell belongs to, -1 outside."""
    scores: pd.DataFrame
    """Cross-validation: `variable`, `method` (kriging, soil-type mean, inverse distance), `folds` (site, block),
    `n`, `rmse`, `bias`, `crps`, `coverage_50`, `coverage_90`, `standardised` (root mean square error in standard
    deviations), `unit`."""
    models: pd.DataFrame
    """One row a fitted model: `variable`, `family`, `range_m` (along the longer axis), `ratio` of the axes and
    `heading_deg` of the longer one, `short_share` of the sill with `short_range_m` (0 and NaN: not nested), `sill`,
    `micro`, `noise`, `range_se_m`, `sill_se`, `loglik`, `aic`, `n`, `n_censored`, `identified` bool, `trend` text."""
    variograms: pd.DataFrame = field(default_factory=pd.DataFrame)
    """Cross-check of the models, one row a variable and distance class: `variable`, `lag_m`, `semivariance` of the
    sites' means about the trend, `pairs`, `model` (weighted least squares) and `reml` (what the fitted model expects)
    in the units of `models`; no rows of a variable seen at too few sites."""
    verdict: MapVerdict | None
    """Is the map of the bottom better than plain yardsticks, and would more probes help; None: no pan was met."""
    issues: Issues = field(default=())
