"""Depth to the clay subsoil: from the soil map, moved by the lab cores."""

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.geostat import (
    N_PARAMETERS,
    NOISE,
    RANGE,
    SILL,
    MixedModel,
    Observations,
    Priors,
    covariance_between,
    isotropic,
    maximise_reml,
    parameter_bounds,
    to_covariance,
)
from hardpan.records.survey import Survey
from hardpan.surfaces.domain import Domain

_MIN_CORES = 5
"""Fewer cores on a soil type only move its mean."""


def map_clay(survey: Survey, domain: Domain) -> Floats:
    """Depth to clay (mm) of every cell, NaN where none is in reach or none is known.

    On each soil type: kriged from its cores where five or more found clay; their mean where some did; else what the
    soil map says of the polygons.
    """
    depth = np.full(len(domain.cells.soil), np.nan)
    for code, name in enumerate(domain.soil_types):
        cells = domain.cells.soil == code
        xy, seen_mm = _cores_on(survey.cores, name)
        if len(seen_mm) >= _MIN_CORES and np.ptp(seen_mm) > 0:
            depth[cells] = _krige(xy, seen_mm, domain.cells.xy_m[cells], domain)
        elif len(seen_mm):
            depth[cells] = seen_mm.mean()
        else:
            depth[cells] = _mapped(survey.soils, name)
    return depth


def _cores_on(cores: gpd.GeoDataFrame, soil_type: str) -> tuple[Floats, Floats]:
    """Places and clay depths of the cores that found clay, in an order of their own."""
    if cores.empty or "clay_depth_mm" not in cores:
        return np.empty((0, 2)), np.empty(0)
    depth = pd.to_numeric(cores["clay_depth_mm"]).to_numpy(float)
    use = (cores["soil_type"].astype(str) == soil_type).to_numpy() & np.isfinite(depth)
    rows = np.column_stack([cores.geometry.x[use], cores.geometry.y[use], depth[use]])
    rows = rows[np.lexsort(rows.T[::-1])]
    return rows[:, :2], rows[:, 2]


def _mapped(soils: gpd.GeoDataFrame, soil_type: str) -> float:
    """Area-weighted clay depth of the soil type's polygons."""
    if soils.empty:
        return float("nan")
    of = soils[(soils["soil_type"].astype(str) == soil_type) & soils["clay_depth_mm"].notna()]
    if of.empty:
        return float("nan")
    return float(np.average(of["clay_depth_mm"].to_numpy(float), weights=of.geometry.area))


def _krige(xy_m: Floats, depth_mm: Floats, targets_xy: Floats, domain: Domain) -> Floats:
    centre, scale = float(depth_mm.mean()), float(depth_mm.std(ddof=1))
    low = (depth_mm - centre) / scale
    start = isotropic(np.array([np.log(domain.diagonal_m / 4.0), np.log(0.5), -np.inf, np.log(0.5)]))
    model = MixedModel(
        xy_m=xy_m,
        trend=np.ones((len(xy_m), 1)),
        trend_precision=np.zeros(1),
        observations=Observations(site=np.arange(len(low)), low=low, high=low, error=np.zeros(len(low))),
        family="exponential",
        free=np.isin(np.arange(N_PARAMETERS), [RANGE, SILL, NOISE]),
        fixed=start,
        bounds=parameter_bounds((domain.node_m, domain.diagonal_m)),
    )
    fit = maximise_reml(model, start[None], Priors(log_range=float(start[RANGE])))
    onto = covariance_between(to_covariance(model.family, fit.theta), targets_xy, xy_m)
    scaled: Floats = fit.posterior.beta[0, 0] + onto @ fit.posterior.weights[0]
    return centre + scale * scaled
