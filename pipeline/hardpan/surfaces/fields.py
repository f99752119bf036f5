"""Fits each variable's field and integrates its parameters out."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Literal

import numpy as np
from scipy.spatial.distance import cdist
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from hardpan.core.arrays import Floats
from hardpan.spatial.covariance import Family
from hardpan.spatial.mixed import FAMILIES, MICRO, NOISE, RANGE, SILL, Fit, Model, fit_mixed, variance_bounds
from hardpan.spatial.posterior import Priors, integrate
from hardpan.surfaces.layout import Layout
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.variables import LEAST_WIDTH, MIN_SPATIAL_SITES, Field, Variable

_GRID = 9
"""Ranges of the grid; neighbours differ by a factor of about 1.6, under the standard error of a range."""


def range_grid(layout: Layout) -> Floats:
    """Give effective ranges from the sites' usual spacing to one and a half times the paddock's diagonal."""
    xy = layout.sites.xy_m
    d = cdist(xy, xy)
    np.fill_diagonal(d, np.inf)
    spacing = float(np.median(d.min(axis=1)))
    longest = 1.5 * layout.diagonal_m
    return np.geomspace(min(max(spacing, layout.frame.cell_m), longest / 10.0), longest, _GRID)


def fit_fields(
    variables: Mapping[str, Variable], layout: Layout, settings: SurfaceSettings
) -> tuple[dict[str, Field], dict[str, Fit]]:
    """Give the field of `pan`, `peak`, `top` and `bottom`, and the fits for the table of models.

    The family is that of the lowest AIC for the bottom, which the depth hangs on. Where bottoms are censored by hard
    ground, the mapped strength joins the trend of the bottom: hard pans stop probes, and may be deep pans too.
    """
    spatial = {name: _is_spatial(variable, layout) for name, variable in variables.items()}

    def fit_one(name: str, family: Family) -> tuple[Field, Fit]:
        reml = fit_reml(variables[name], layout, family, spatial=spatial[name])
        return fit_field(variables[name], layout, reml), reml

    with threadpool_limits(limits=1, user_api="blas"), ThreadPoolExecutor(max_workers=settings.threads) as pool:
        bottom = fit_reml(variables["bottom"], layout, settings.family, spatial=spatial["bottom"])
        running = {name: pool.submit(fit_one, name, bottom.model.family) for name in ("peak", "pan", "top")}
        done = {name: future.result() for name, future in running.items()}
        strength = None
        if not variables["bottom"].exact.all():
            mixture = done["peak"][0].mixture
            strength = mixture.weight @ mixture.posterior.mean
        field = fit_field(variables["bottom"], layout, bottom, strength=strength)
    done["bottom"] = field, bottom
    return {name: pair[0] for name, pair in done.items()}, {name: pair[1] for name, pair in done.items()}


def fit_reml(variable: Variable, layout: Layout, family: Literal["auto"] | Family, *, spatial: bool) -> Fit:
    """Give the restricted likelihood's optimum; `auto` takes the covariance family of lowest AIC."""
    grid = range_grid(layout)
    names = FAMILIES if family == "auto" and spatial else ("exponential" if family == "auto" else family,)
    starts = _starts(grid)
    fits: list[Fit] = []
    for name in names:
        model = _model(variable, layout, name, layout.sites.trend, spatial=spatial)
        fits.append(fit_mixed(model, starts))
        starts = fits[0].theta[None]
    return min(fits, key=lambda fit: fit.aic)


def fit_field(variable: Variable, layout: Layout, start: Fit, *, strength: Floats | None = None) -> Field:
    """Give the variable's field with its parameters integrated out; `strength` (n_sites,) joins the trend.

    The search starts from `start`, the restricted likelihood's optimum, and keeps its family.
    """
    grid = range_grid(layout)
    trend = layout.sites.trend if strength is None else np.column_stack([layout.sites.trend, strength])
    model = _model(variable, layout, start.model.family, trend, spatial=bool(start.model.free[SILL]))
    priors = Priors(log_range=float(np.log(layout.diagonal_m / 4.0)))
    fit = fit_mixed(model, start.theta[None], priors)
    return Field(variable=variable, mixture=integrate(fit, priors, grid), on_strength=strength is not None)


def _is_spatial(variable: Variable, layout: Layout) -> bool:
    """Tell whether the sites can show a spatial structure: enough of them, and not all on one line."""
    xy = layout.sites.xy_m[np.unique(variable.readings.site)]
    if len(xy) < MIN_SPATIAL_SITES:
        return False
    across = np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)
    return bool(across[1] > LEAST_WIDTH * across[0])


def _model(variable: Variable, layout: Layout, family: Family, trend: Floats, *, spatial: bool) -> Model:
    grid = range_grid(layout)
    readings = variable.readings
    repeated = len(readings.site) > variable.n_sites
    names = layout.trend_names + ("strength",) * (trend.shape[1] - len(layout.trend_names))
    free = np.array([spatial, spatial, True, not variable.binary and repeated])
    fixed = np.array([np.log(layout.diagonal_m), -np.inf, 0.0, 0.0 if variable.binary else np.log(1e-3)])
    return Model(
        xy_m=layout.sites.xy_m,
        trend=trend,
        slack=variable.slack(names),
        readings=readings,
        family=family,
        free=free,
        fixed=fixed,
        bounds=variance_bounds((float(grid[0]), float(grid[-1]))),
    )


def _starts(grid: Floats) -> Floats:
    starts = np.empty((len(grid), 4))
    starts[:, RANGE] = np.log(grid)
    starts[:, SILL], starts[:, MICRO], starts[:, NOISE] = np.log(0.5), np.log(0.15), np.log(0.3)
    return starts
