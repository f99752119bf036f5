"""Fits each variable's field and integrates its parameters out."""

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.spatial.covariance import Family
from hardpan.spatial.mixed import MICRO, NOISE, RANGE, SILL, FAMILIES, Fit, Model, fit_mixed, variance_bounds
from hardpan.spatial.posterior import Priors, integrate
from hardpan.surfaces.layout import Layout
from hardpan.surfaces.variables import MIN_SPATIAL_SITES, Field, Variable

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


def choose_family(variable: Variable, layout: Layout, family: str, *, spatial: bool) -> tuple[Family, list[Fit]]:
    """Give the covariance family of lowest AIC, and the REML fits that were compared."""
    names: tuple[Family, ...] = FAMILIES if family == "auto" and spatial else (("exponential",) if family == "auto" else (family,))  # type: ignore[assignment]
    fits = [fit_reml(variable, layout, name, spatial=spatial) for name in names]
    best = int(np.argmin([fit.aic for fit in fits]))
    return names[best], [fits[best]]


def fit_reml(variable: Variable, layout: Layout, family: Family, *, spatial: bool) -> Fit:
    """Give the restricted likelihood's optimum."""
    grid = range_grid(layout)
    return fit_mixed(_model(variable, layout, family, layout.sites.trend, grid, spatial=spatial), _starts(grid))


def fit_field(
    variable: Variable, layout: Layout, family: Family, *, spatial: bool, strength: Floats | None = None
) -> Field:
    """Give the variable's field with its parameters integrated out; `strength` (n_sites,) joins the trend."""
    grid = range_grid(layout)
    trend = layout.sites.trend if strength is None else np.column_stack([layout.sites.trend, strength])
    model = _model(variable, layout, family, trend, grid, spatial=spatial)
    priors = Priors(log_range=float(np.log(layout.diagonal_m / 4.0)))
    fit = fit_mixed(model, _starts(grid), priors)
    return Field(variable=variable, mixture=integrate(fit, priors, grid), on_strength=strength is not None)


def _model(variable: Variable, layout: Layout, family: Family, trend: Floats, grid: Floats, *, spatial: bool) -> Model:
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
