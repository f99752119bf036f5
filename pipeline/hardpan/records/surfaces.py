"""Maps of the pan with their uncertainty."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.advice import MapVerdict
from hardpan.records.frame import Frame
from hardpan.records.issues import Issues


def _no_depth() -> xr.DataArray:
    return xr.DataArray(np.empty((0, 0, 0)), dims=("depth", "y", "x"), coords={"depth": []})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorCovariance:
    """What is not known of one mapped variable, in its unit squared."""

    covariance: Floats
    """(m, m): of the map's error between places."""
    site: float
    """Variance that the insertions of a site share and no other place does."""
    insertion: float
    """Variance of one insertion about its site."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MapErrors:
    """Joint errors of the map at places: squares of nodes of one soil type, few enough for one matrix."""

    place_of_node: Ints
    """(n_nodes,) place of each node of the draws."""
    xy_m: Floats
    """(m, 2) middle of each."""
    covariances: Mapping[str, ErrorCovariance]
    """Of "bottom" (mm) and "pan" (the latent field of its presence); no bottom where no pan was met."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surfaces:
    """Pan surfaces on the working grid, and joint draws of them on coarser nodes."""

    frame: Frame
    inside: Bools
    """(n_rows, n_cols): cell centre inside the boundary."""
    maps: xr.Dataset
    """Dims (y, x), NaN outside: `pan_probability` [0, 1], `pan_top_mm`, `pan_top_sd_mm`, `pan_bottom_mm`,
    `pan_bottom_sd_mm`, `peak_kpa`, `peak_sd_kpa` (given a pan is there), `clay_depth_mm` and `clay_depth_sd_mm` (NaN:
    none in reach or unknown), `soil` (float code, position in `soil_types`, NaN outside)."""
    soil_types: tuple[str, ...]
    slices: xr.DataArray
    """Cone index by depth slice, dims (depth, y, x), kPa; empty along depth when not asked for."""
    deeper: xr.DataArray = field(default_factory=_no_depth)
    """Share of draws in which the bottom of the pan, where there is one, lies below the depth: dims (depth, y, x), a
    cell's is that of its node; empty along depth when not asked for."""
    draws: xr.Dataset
    """Joint conditional draws, dims (draw, node): `present` bool, `top_mm`, `bottom_mm`, `peak_kpa`, `clay_mm`
    float32 with top < bottom, `clay_mm` NaN where no clay is in reach or known; coordinates on node: `x_m`,
    `y_m`, `soil` (int code), `clay_depth_mm` (mean)."""
    node_of_cell: Ints
    """(n_rows, n_cols): node a cell belongs to, -1 outside."""
    mean_sd: Mapping[str, float] = field(default_factory=dict)
    """Standard deviations, over the draws, of the means over all cells of `pan_probability`, `pan_top_mm`,
    `pan_bottom_mm` and `peak_kpa`."""
    errors: MapErrors
    scores: pd.DataFrame
    """Cross-validation: `variable`, `method` (kriging, soil-type mean, inverse distance), `folds` (site, block),
    `n`, `rmse`, `bias`, `crps`, `coverage_50`, `coverage_90`, `standardised` (root mean square error in standard
    deviations), `unit`."""
    residuals: pd.DataFrame = field(default_factory=pd.DataFrame)
    """One row a reading, beside its forecast from all other sites: `variable`, `site`, `insertion`, `x_m`, `y_m`;
    `observed_low` and `observed_high` (equal: a value, inf: a bound); `predicted`, `sd`, central 90 % from
    `predicted_low` to `predicted_high`; `residual` (predicted - observed, NaN for bounds), `crps`, `unit`. The peak's
    forecast is the median; of `pan` 0, 1 and the chance of a pan stand there, and the Brier score."""
    models: pd.DataFrame
    """One row a fitted model: `variable`, `family`, `range_m` (along the longer axis), `ratio` of the axes and
    `heading_deg` of the longer one, `short_share` of the sill with `short_range_m` (0 and NaN: not nested), `sill`,
    `micro`, `noise`, the standard error of each (`range_se_m`, `sill_se` ...; NaN: fixed or at a bound), `loglik`,
    `aic`, `n`, `n_censored`, `identified` bool, `trend` text."""
    covariances: pd.DataFrame = field(default_factory=pd.DataFrame)
    """Covariances each map is averaged over: `variable`, `weight` (posterior, sums to 1 over a variable), `range_m`,
    `sill`, `micro`, `noise` in the units of `models`."""
    coefficients: pd.DataFrame = field(default_factory=pd.DataFrame)
    """Trends: `variable`, `term`, `value`, `standard_error`, `unit` (`log kPa`: of the logarithm; none: the latent
    field of presence). Covariates count in standard deviations over the cells, soil types from the mean of all."""
    variograms: pd.DataFrame = field(default_factory=pd.DataFrame)
    """Cross-check of the models, one row a variable and distance class: `variable`, `lag_m`, `semivariance` of the
    sites' means about the trend, `pairs`, `model` (weighted least squares) and `reml` (what the fitted model expects)
    in the units of `models`; no rows of a variable seen at too few sites."""
    verdict: MapVerdict | None
    """Is the map of the bottom better than plain yardsticks, and would more probes help; None: no pan was met."""
    issues: Issues = field(default=())
