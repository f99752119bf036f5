"""Depth to the clay subsoil with its uncertainty: soil map, lab cores and hard layers below the pan, and joint draws.

One mixed model a soil type. The soil map's depth, where it states one, is the prior mean of the soil type's mean; cores
that found clay are readings of the ground. Where an insertion passed the pan and met hard ground again, the clay is
thought to begin between the pan's top and there: its moist top may be soft, and the pan may reach into it. That nothing
hard was met says nothing. Elsewhere the depth varies as a stated share of itself until readings show otherwise.
"""

from dataclasses import dataclass
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.geostat import (
    MICRO,
    N_PARAMETERS,
    RANGE,
    SILL,
    MixedModel,
    Mixture,
    Observations,
    Priors,
    draw_mixture,
    integrate_parameters,
    isotropic,
    krige_places,
    maximise_reml,
    observe_information,
    parameter_bounds,
)
from hardpan.records.pan import State
from hardpan.records.survey import Survey
from hardpan.surfaces.domain import NEGATIVE_SPECTRUM, Domain
from hardpan.surfaces.settings import SurfaceSettings

_RANGES = 4
"""Ranges of the grid: a handful of cores tells little of the range, so that a coarse grid loses nothing."""

_UNREAD = 1e6
"""Error variance, in spreads squared, of a reading that says nothing: it stands where there are no cores."""

_FIRST_STREAM = 100
"""Random streams of the draws of clay start here; those of the pan are numbered from 0."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClayDepth:
    """Depth to the clay subsoil, mm; NaN where none is in reach or none is known."""

    mean_mm: Floats
    """(n_cells,) of the cells inside."""
    sd_mm: Floats
    """(n_cells,) standard deviation of the depth in the middle of a cell."""
    draws_mm: Floats
    """(n_draws, n_nodes), joint over the nodes of a soil type."""


class _Field(NamedTuple):
    """Depth to clay on one soil type: `centre` + `scale` times a field of about unit variance."""

    mixture: Mixture
    centre: float
    scale: float


class _Seen(NamedTuple):
    """What was met on one soil type: places (n, 2), and between which depths the clay begins, (n,), mm."""

    xy_m: Floats
    low_mm: Floats
    high_mm: Floats
    leak: Floats
    """Chance that it begins elsewhere, (n,)."""


def map_clay(
    survey: Survey, insertions: gpd.GeoDataFrame, domain: Domain, settings: SurfaceSettings, *, seed: int
) -> ClayDepth:
    """Depth to clay of every cell and joint draws of it on the nodes.

    A soil type has clay in reach where a core on it found clay, or the soil map states a depth; a core that found none
    says nothing of the others, and a hard layer below a pan need not be clay.

    Parameters
    ----------
    insertions : GeoDataFrame
        Of the pan features, those of `domain.site_of`.
    """
    cells, nodes = domain.cells, domain.nodes
    mean, sd = np.full(len(cells.soil), np.nan), np.full(len(cells.soil), np.nan)
    draws = np.full((settings.draws, len(nodes.soil)), np.nan)
    for code, name in enumerate(domain.soil_types):
        cores, stated_mm = _cores_on(survey.cores, name), _stated(survey.soils, name)
        if not len(cores.xy_m) and np.isnan(stated_mm):
            continue
        centre = float(cores.low_mm.mean()) if np.isnan(stated_mm) else stated_mm
        below = _hard_layers_on(insertions, domain.sites.soil[domain.site_of] == code, settings.clay_doubt)
        seen = _Seen(*(np.concatenate(both) for both in zip(cores, below, strict=True)))
        field = _fit(seen, centre, domain, settings, stated=not np.isnan(stated_mm))
        here: Bools = cells.soil == code
        if here.any():
            kriged = krige_places(field.mixture, cells.xy_m[here], np.ones((int(here.sum()), 1)))
            mean[here] = np.maximum(field.centre + field.scale * kriged.mean, 0.0)
            sd[here] = field.scale * np.sqrt(kriged.variance)
        at: Bools = nodes.soil == code
        if at.any():
            rng = np.random.default_rng([seed, _FIRST_STREAM + code])
            trend = np.ones((int(at.sum()), 1))
            drawn = draw_mixture(field.mixture, nodes.xy_m[at], trend, settings.draws, rng, negative=NEGATIVE_SPECTRUM)
            draws[:, at] = np.maximum(field.centre + field.scale * drawn, 0.0)
    return ClayDepth(mean_mm=mean, sd_mm=sd, draws_mm=draws)


def _fit(seen: _Seen, centre: float, domain: Domain, settings: SurfaceSettings, *, stated: bool) -> _Field:
    """Field of one soil type, its covariance parameters integrated out, about a `centre` stated by the map or not."""
    scale = max(settings.clay_spread * centre, settings.core_error_mm)
    # without a word of the map the cores' own mean is all that is known: the prior about it is a few spreads wide
    mean_sd = settings.clay_map_error * centre / scale if stated else 3.0
    error = (settings.core_error_mm / scale) ** 2
    if not len(seen.xy_m):
        at = np.full(1, centre)
        seen, error = _Seen(domain.cells.xy_m[:1], at, at, np.zeros(1)), _UNREAD
    places, site = np.unique(seen.xy_m, axis=0, return_inverse=True)
    start = isotropic(np.array([np.log(domain.diagonal_m / 4.0), np.log(0.5), np.log(0.1), -np.inf]))
    model = MixedModel(
        xy_m=places,
        trend=np.ones((len(places), 1)),
        trend_precision=np.array([mean_sd**-2.0]),
        observations=Observations(
            site=site.ravel(),
            low=(seen.low_mm - centre) / scale,
            high=(seen.high_mm - centre) / scale,
            error=np.full(len(site), error),
            leak=seen.leak,
        ),
        family="exponential",
        free=np.isin(np.arange(N_PARAMETERS), [RANGE, SILL, MICRO]),
        fixed=start,
        bounds=parameter_bounds((domain.node_m, 1.5 * domain.diagonal_m)),
    )
    priors = Priors(log_range=float(start[RANGE]))
    fit = observe_information(maximise_reml(model, start[None], priors), priors)
    ranges = np.geomspace(max(domain.node_m, domain.diagonal_m / 30.0), 1.5 * domain.diagonal_m, _RANGES)
    return _Field(integrate_parameters(fit, priors, ranges), centre, scale)


def _cores_on(cores: gpd.GeoDataFrame, soil_type: str) -> _Seen:
    """The cores that found clay, in an order of their own."""
    if cores.empty or "clay_depth_mm" not in cores:
        return _Seen(np.empty((0, 2)), np.empty(0), np.empty(0), np.empty(0))
    depth = pd.to_numeric(cores["clay_depth_mm"]).to_numpy(float)
    use = (cores["soil_type"].astype(str) == soil_type).to_numpy() & np.isfinite(depth)
    rows = np.column_stack([cores.geometry.x[use], cores.geometry.y[use], depth[use]])
    rows = rows[np.lexsort(rows.T[::-1])]
    return _Seen(rows[:, :2], rows[:, 2], rows[:, 2], np.zeros(len(rows)))


def _hard_layers_on(insertions: gpd.GeoDataFrame, on_soil: Bools, doubt: float) -> _Seen:
    """Insertions that passed a pan and met hard ground again: the clay begins between the pan's top and there."""
    met = insertions[on_soil & (insertions["state"] == State.PRESENT) & insertions["next_mm"].notna()]
    xy_m = np.column_stack([met.geometry.x, met.geometry.y])
    low, high = met[["top_mm", "next_mm"]].to_numpy(float).T
    return _Seen(xy_m, low, high, np.full(len(met), doubt))


def _stated(soils: gpd.GeoDataFrame, soil_type: str) -> float:
    """Area-weighted clay depth of the soil type's polygons, mm; NaN where they state none."""
    if soils.empty:
        return float("nan")
    of = soils[(soils["soil_type"].astype(str) == soil_type) & soils["clay_depth_mm"].notna()]
    if of.empty:
        return float("nan")
    return float(np.average(of["clay_depth_mm"].to_numpy(float), weights=of.geometry.area))
