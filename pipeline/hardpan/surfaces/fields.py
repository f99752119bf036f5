"""Fits each variable's field and integrates its parameters out."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Literal

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.spatial.covariance import Family
from hardpan.spatial.mixed import Fit, Model, fit_mixed
from hardpan.spatial.parameters import FAMILIES, MICRO, NOISE, RANGE, SILL, N, parameter_bounds, plain
from hardpan.spatial.posterior import Priors, integrate
from hardpan.surfaces.layout import Layout
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.variables import Field, Variable

_GRID = 9
"""Ranges of the grid; neighbours differ by a factor of about 1.6, under the standard error of a range."""

_UNIT = (np.log(0.5), np.log(0.15), np.log(0.3))
"""Sill, micro-scale and noise a search starts from, for values of unit variance."""


def fit_fields(variables: Mapping[str, Variable], layout: Layout, settings: SurfaceSettings) -> dict[str, Field]:
    """Give the fields of presence, peak, top and bottom; of presence alone where no pan was met.

    All share the covariance family of the lowest AIC for the bottom, on which the depth hangs. Where strength stopped
    insertions, the mapped strength joins the trend of the bottom: hard pans stop probes, and may be deep pans too.
    """
    if not len(variables["bottom"].readings.site):
        return {"pan": fit_field(variables["pan"], layout, "exponential")}
    with ThreadPoolExecutor(max_workers=settings.threads) as pool:
        reml = fit_reml(variables["bottom"], layout, settings.family)
        family = reml.model.family
        running = {name: pool.submit(fit_field, variables[name], layout, family) for name in ("peak", "pan", "top")}
        fields = {name: future.result() for name, future in running.items()}
        strength = None
        if not variables["bottom"].exact.all() and reml.model.free[SILL]:
            mixture = fields["peak"].mixture
            strength = mixture.weight @ mixture.posterior.mean
        fields["bottom"] = fit_field(variables["bottom"], layout, family, reml=reml, strength=strength)
    return fields


def fit_reml(variable: Variable, layout: Layout, family: Literal["auto"] | Family) -> Fit:
    """Give the restricted likelihood's optimum; `auto` takes the covariance family of lowest AIC."""
    spatial = variable.is_spatial(layout.sites.xy_m)
    names = (family,) if family != "auto" else FAMILIES if spatial else ("exponential",)
    starts = _starts(range_grid(layout))
    fits: list[Fit] = []
    # one insertion a site cannot tell micro-scale from noise: the likelihood alone then calls all of it micro-scale
    noisy = len(variable.readings.site) > variable.n_sites
    for name in names:
        fits.append(fit_mixed(_model(variable, layout, name, layout.sites.trend, noisy=noisy), starts))
        starts = fits[0].theta[None]
    return min(fits, key=lambda fit: fit.aic)


def fit_field(
    variable: Variable, layout: Layout, family: Family, *, reml: Fit | None = None, strength: Floats | None = None
) -> Field:
    """Give the variable's field with its parameters integrated out.

    Parameters
    ----------
    reml : Fit | None
        The restricted likelihood's optimum where it is known already.
    strength : Floats | None
        (n_sites,) a further trend column.
    """
    grid = range_grid(layout)
    if reml is None and not variable.binary:
        reml = fit_reml(variable, layout, family)
    trend = layout.sites.trend if strength is None else np.column_stack([layout.sites.trend, strength])
    priors = Priors(log_range=float(np.log(layout.diagonal_m / 4.0)))
    starts = _starts(grid)
    if reml is not None:
        starts = np.vstack([reml.theta, np.where(reml.model.free, reml.theta, starts[0])])
    fit = fit_mixed(_model(variable, layout, family, trend, noisy=not variable.binary), starts, priors)
    return Field(
        variable=variable,
        fit=fit if reml is None else reml,
        mixture=integrate(fit, priors, grid),
        on_strength=strength is not None,
    )


def range_grid(layout: Layout) -> Floats:
    """Give effective ranges from the sites' usual spacing to one and a half times the paddock's diagonal."""
    between = cdist(layout.sites.xy_m, layout.sites.xy_m)
    np.fill_diagonal(between, np.inf)
    spacing = float(np.median(between.min(axis=1)))
    longest = 1.5 * layout.diagonal_m
    return np.geomspace(min(max(spacing, layout.frame.cell_m), longest / 10.0), longest, _GRID)


def _model(variable: Variable, layout: Layout, family: Family, trend: Floats, *, noisy: bool) -> Model:
    grid = range_grid(layout)
    spatial = variable.is_spatial(layout.sites.xy_m)
    names = layout.trend_names + ("strength",) * (trend.shape[1] - len(layout.trend_names))
    return Model(
        xy_m=layout.sites.xy_m,
        trend=trend,
        slack=variable.slack(names),
        readings=variable.readings,
        family=family,
        free=np.isin(np.arange(N), [RANGE, SILL] * spatial + [MICRO] + [NOISE] * noisy),
        fixed=plain(np.array([np.log(layout.diagonal_m), -np.inf, 0.0, 0.0 if variable.binary else np.log(1e-3)])),
        bounds=parameter_bounds((float(grid[0]), float(grid[-1]))),
    )


def _starts(grid: Floats) -> Floats:
    return plain(np.column_stack([np.log(grid), np.tile(_UNIT, (len(grid), 1))]))
