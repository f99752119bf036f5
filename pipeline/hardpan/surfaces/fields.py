"""Fits each variable's field and integrates its parameters out."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Literal, NamedTuple

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.geostat.covariance import Family
from hardpan.geostat.mixture import Priors, integrate
from hardpan.geostat.parameters import (
    ALONG,
    ASLANT,
    FAMILIES,
    ISOTROPIC,
    MICRO,
    NOISE,
    RANGE,
    SHARE,
    SILL,
    STRETCH,
    N,
    parameter_bounds,
    plain,
)
from hardpan.geostat.reml import Fit, Model, fit_mixed, observe
from hardpan.geostat.residuals import residual_variogram, start_of
from hardpan.surfaces.domain import Layout
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.variables import Field, Variable

RANGES = 9
"""Ranges of the grid; neighbours differ by a factor of about 1.6, under the standard error of a range."""

FORM_SITES = 40
"""Sites from which a covariance of more than one structure, or more than one direction, is looked for."""

CLEARLY_BETTER = 6.0
"""Fall of the AIC that two more parameters must bring: by chance they do in under one field in a hundred."""

_FORMS = {"stretched": [ALONG, ASLANT], "nested": [SHARE, STRETCH]}

_NESTED_STARTS = [[0.0, np.log(0.5)], [0.0, np.log(0.2)], [-1.5, np.log(0.1)]]

_UNIT = (np.log(0.5), np.log(0.15), np.log(0.3))
"""Sill, micro-scale and noise a search starts from, for values of unit variance."""


class Form(NamedTuple):
    """What is the same for all variables of a paddock."""

    family: Family
    bend: tuple[float, ...]
    """The last four parameters."""


PLAIN = Form("exponential", tuple(ISOTROPIC))


def fit_fields(variables: Mapping[str, Variable], layout: Layout, settings: SurfaceSettings) -> dict[str, Field]:
    """Give the fields of presence, peak, top and bottom; of presence alone where no pan was met.

    All share the form of the bottom's covariance, on which the depth hangs. Where strength stopped insertions, the
    mapped strength joins the trend of the bottom: hard pans stop probes, and may be deep pans too.
    """
    if not len(variables["bottom"].readings.site):
        return {"pan": fit_field(variables["pan"], layout, PLAIN)}
    with ThreadPoolExecutor(max_workers=settings.threads) as pool:
        reml = choose_form(fit_reml(variables["bottom"], layout, settings.family), settings.form)
        form = Form(reml.model.family, tuple(reml.theta[ALONG:]))
        running = {name: pool.submit(fit_field, variables[name], layout, form) for name in ("peak", "pan", "top")}
        fields = {name: future.result() for name, future in running.items()}
        strength = None
        if not variables["bottom"].exact.all() and reml.model.free[SILL]:
            mixture = fields["peak"].mixture
            strength = mixture.weight @ mixture.posterior.mean
        fields["bottom"] = fit_field(variables["bottom"], layout, form, reml=reml, strength=strength)
    return fields


def fit_reml(variable: Variable, layout: Layout, family: Literal["auto"] | Family, form: Form = PLAIN) -> Fit:
    """Give the restricted likelihood's optimum; `auto` takes the covariance family of lowest AIC."""
    spatial = variable.is_spatial(layout.sites.xy_m)
    names = (family,) if family != "auto" else FAMILIES if spatial else ("exponential",)
    # one insertion a site cannot tell micro-scale from noise: the likelihood alone then calls all of it micro-scale
    noisy = len(variable.readings.site) > variable.n_sites
    fits: list[Fit] = []
    for name in names:
        model = _model(variable, layout, form._replace(family=name), layout.sites.trend, noisy=noisy)
        starts = fits[0].theta[None] if fits else _starts(layout, model)
        fits.append(fit_mixed(model, starts))
    return min(fits, key=lambda fit: fit.aic)


def choose_form(fit: Fit, wanted: str) -> Fit:
    """Give the fit with structures stretched along one direction, or nested, where asked for or clearly better."""
    sites = len(np.unique(fit.model.readings.site))
    if not fit.model.free[SILL] or wanted == "plain" or (wanted == "auto" and sites < FORM_SITES):
        return fit
    fits = {name: _fit_form(fit, free) for name, free in _FORMS.items() if wanted in {name, "auto"}}
    best = min(fits.values(), key=lambda fit: fit.aic)
    return best if wanted != "auto" or best.aic < fit.aic - CLEARLY_BETTER else fit


def _fit_form(fit: Fit, free: list[int]) -> Fit:
    starts = fit.theta[None]
    if SHARE in free:
        starts = np.repeat(starts, len(_NESTED_STARTS), axis=0)
        starts[:, [SHARE, STRETCH]] = _NESTED_STARTS
    return fit_mixed(replace(fit.model, free=fit.model.free | np.isin(np.arange(N), free)), starts)


def fit_field(
    variable: Variable, layout: Layout, form: Form, *, reml: Fit | None = None, strength: Floats | None = None
) -> Field:
    """Give the variable's field with its parameters integrated out, the form held.

    Parameters
    ----------
    reml : Fit | None
        The restricted likelihood's optimum where it is known already.
    strength : Floats | None
        (n_sites,) a further trend column.
    """
    if reml is None and not variable.binary:
        reml = fit_reml(variable, layout, form.family, form)
    trend = layout.sites.trend if strength is None else np.column_stack([layout.sites.trend, strength])
    priors = Priors(log_range=float(np.log(layout.diagonal_m / 4.0)))
    starts = _starts(layout)
    if reml is not None:
        starts = np.vstack([reml.theta, np.where(reml.model.free, reml.theta, starts[0])])
    fit = observe(fit_mixed(_model(variable, layout, form, trend, noisy=not variable.binary), starts, priors), priors)
    if reml is not None and not variable.exact.all():
        reml = observe(reml)
    return Field(
        variable=variable,
        fit=reml or fit,
        mixture=integrate(fit, priors, range_grid(layout)),
        on_strength=strength is not None,
    )


def range_grid(layout: Layout) -> Floats:
    """Give effective ranges from the sites' usual spacing to one and a half times the paddock's diagonal."""
    between = cdist(layout.sites.xy_m, layout.sites.xy_m)
    np.fill_diagonal(between, np.inf)
    spacing = float(np.median(between.min(axis=1)))
    longest = 1.5 * layout.diagonal_m
    return np.geomspace(min(max(spacing, layout.frame.cell_m), longest / 10.0), longest, RANGES)


def _model(variable: Variable, layout: Layout, form: Form, trend: Floats, *, noisy: bool) -> Model:
    grid = range_grid(layout)
    spatial = variable.is_spatial(layout.sites.xy_m)
    names = layout.trend_names + ("strength",) * (trend.shape[1] - len(layout.trend_names))
    return Model(
        xy_m=layout.sites.xy_m,
        trend=trend,
        slack=variable.slack(names),
        readings=variable.readings,
        family=form.family,
        free=np.isin(np.arange(N), [RANGE, SILL] * spatial + [MICRO] + [NOISE] * noisy),
        fixed=np.array([np.log(layout.diagonal_m), -np.inf, 0.0, 0.0 if variable.binary else np.log(1e-3), *form.bend]),
        bounds=parameter_bounds((float(grid[0]), float(grid[-1]))),
    )


def _starts(layout: Layout, model: Model | None = None) -> Floats:
    """Give starts of a search (s, 8): what the residuals' variogram says; where it says little, two usual ranges."""
    residuals = None if model is None else residual_variogram(model)
    shown = np.empty((0, N)) if model is None or residuals is None else start_of(residuals, model)[None]
    if residuals is not None and residuals.fitted.identified:
        return shown
    ranges = np.log(layout.diagonal_m * np.array([0.1, 0.33]))
    return np.vstack([shown, plain(np.column_stack([ranges, np.tile(_UNIT, (2, 1))]))])
