"""Fits each variable's field and integrates its parameters out."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal, NamedTuple

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.geostat import (
    ANISO_COS,
    ANISO_SIN,
    ISOTROPIC,
    LOCAL,
    MICRO,
    N_PARAMETERS,
    NOISE,
    RANGE,
    SHORT_RATIO,
    SHORT_SHARE,
    SILL,
    Family,
    MixedModel,
    RemlFit,
    integrate_parameters,
    maximise_reml,
    observe_information,
    parameter_bounds,
    search_reml,
    search_starts,
)
from hardpan.surfaces.domain import Domain
from hardpan.surfaces.settings import PriorSettings, SurfaceSettings
from hardpan.surfaces.variables import STRENGTH, FittedField, Variable

RANGES = 9
"""Ranges of the grid; neighbours differ by a factor of about 1.6, under the standard error of a range."""

FORM_SITES = 40
"""Sites from which a covariance of more than one structure, or more than one direction, is looked for."""

CLEARLY_BETTER = 6.0
"""Fall of the AIC that two more parameters must bring: by chance they do in under one field in a hundred."""

_FORMS = {"stretched": [ANISO_COS, ANISO_SIN], "nested": [SHORT_SHARE, SHORT_RATIO]}

_NESTED_STARTS = [[0.0, np.log(0.5)], [0.0, np.log(0.2)], [-1.5, np.log(0.1)]]


class CorrelationForm(NamedTuple):
    """What is the same for all variables of a paddock."""

    family: Family
    bend: tuple[float, ...]
    """The last four parameters."""


PLAIN = CorrelationForm("exponential", tuple(ISOTROPIC))


def fit_fields(variables: Mapping[str, Variable], domain: Domain, settings: SurfaceSettings) -> dict[str, FittedField]:
    """Fields of presence, peak, top and bottom; of presence alone where no pan was met.

    All share the form of the bottom's covariance, on which the depth hangs; where fewer than ten sites tell a bottom
    among others that bound it, none is looked for. Where strength stopped insertions, the mapped strength joins the
    trend of the bottom: hard pans stop probes, and may be deep pans too.
    """
    if not len(variables["bottom"].observations.site):
        return {"pan": fit_field(variables["pan"], domain, PLAIN)}
    bottom, reml, form = variables["bottom"], None, PLAIN
    if bottom.can_be_fitted:
        reml = choose_form(fit_covariance(bottom, domain, settings.family), settings.form)
        form = CorrelationForm(reml.model.family, tuple(reml.theta[ANISO_COS:]))
    elif settings.family != "auto":
        form = PLAIN._replace(family=settings.family)
    fields = {name: fit_field(variables[name], domain, form) for name in ("peak", "pan", "top")}
    strength = None
    if bottom.by_strength and bottom.is_spatial(domain.sites.xy_m):
        strength = fields["peak"].mixture.at_sites()[0]
    fields["bottom"] = fit_field(bottom, domain, form, reml=reml, strength=strength)
    return fields


def fit_covariance(
    variable: Variable, domain: Domain, family: Literal["auto"] | Family, form: CorrelationForm = PLAIN
) -> RemlFit:
    """Optimum of the restricted likelihood; `auto` takes the covariance family of lowest AIC."""
    spatial = variable.is_spatial(domain.sites.xy_m)
    names = (family,) if family != "auto" else LOCAL if spatial else ("exponential",)
    # one insertion a site cannot tell micro-scale from noise: the likelihood alone then calls all of it micro-scale
    noisy = len(variable.observations.site) > variable.n_sites
    fits: list[RemlFit] = []
    for name in names:
        model = _model(variable, domain, form._replace(family=name), domain.sites.trend, noisy=noisy)
        fits.append(search_reml(model, search_starts(domain.diagonal_m, model)))
    return min(fits, key=lambda fit: fit.aic)


def choose_form(fit: RemlFit, wanted: str) -> RemlFit:
    """The fit with structures anisotropic, or nested, where asked for or clearly better."""
    sites = len(np.unique(fit.model.observations.site[fit.model.observations.exact]))
    if not fit.is_spatial or wanted == "plain" or (wanted == "auto" and sites < FORM_SITES):
        return fit
    fits = {name: _fit_form(fit, free) for name, free in _FORMS.items() if wanted in {name, "auto"}}
    best = min(fits.values(), key=lambda fit: fit.aic)
    return best if wanted != "auto" or best.aic < fit.aic - CLEARLY_BETTER else fit


def _fit_form(fit: RemlFit, free: list[int]) -> RemlFit:
    starts = fit.theta[None]
    if SHORT_SHARE in free:
        starts = np.repeat(starts, len(_NESTED_STARTS), axis=0)
        starts[:, [SHORT_SHARE, SHORT_RATIO]] = _NESTED_STARTS
    return maximise_reml(replace(fit.model, free=fit.model.free | np.isin(np.arange(N_PARAMETERS), free)), starts)


def fit_field(
    variable: Variable,
    domain: Domain,
    form: CorrelationForm,
    *,
    reml: RemlFit | None = None,
    strength: Floats | None = None,
) -> FittedField:
    """Field of the variable with its covariance parameters integrated out, the form of the covariance held.

    Parameters
    ----------
    reml : RemlFit | None
        The restricted likelihood's optimum where it is known already.
    strength : Floats | None
        (n_sites,) a further trend column.
    """
    if reml is None and variable.can_be_fitted:
        reml = fit_covariance(variable, domain, form.family, form)
    trend = domain.sites.trend if strength is None else np.column_stack([domain.sites.trend, strength])
    priors = variable.priors(domain.diagonal_m)
    starts = search_starts(domain.diagonal_m)
    if reml is not None:
        starts = np.vstack([reml.theta, np.where(reml.model.free, reml.theta, starts[0])])
    fit = observe_information(
        maximise_reml(_model(variable, domain, form, trend, noisy=not variable.binary), starts, priors), priors
    )
    if reml is not None and not variable.exact.all():
        reml = observe_information(reml)
    return FittedField(
        variable=variable,
        fit=reml or fit,
        mixture=integrate_parameters(fit, priors, range_grid(domain, variable.usual)),
        on_strength=strength is not None,
    )


def range_grid(domain: Domain, usual: PriorSettings) -> Floats:
    """Effective ranges (m) of a grid: from the sites' usual spacing to one and a half times the paddock's diagonal.

    Wider where what is usual of a range lies beyond.
    """
    between = cdist(domain.sites.xy_m, domain.sites.xy_m)
    np.fill_diagonal(between, np.inf)
    spacing = float(np.median(between.min(axis=1)))
    longest = 1.5 * domain.diagonal_m
    shortest = min(max(spacing, domain.frame.cell_m), longest / 10.0)
    if usual.range_m is not None:
        spread = usual.range_factor**2
        shortest, longest = min(shortest, usual.range_m / spread), max(longest, usual.range_m * spread)
    return np.geomspace(shortest, longest, RANGES)


def _model(variable: Variable, domain: Domain, form: CorrelationForm, trend: Floats, *, noisy: bool) -> MixedModel:
    grid = range_grid(domain, variable.usual)
    spatial = variable.is_spatial(domain.sites.xy_m)
    free = np.isin(np.arange(N_PARAMETERS), [RANGE, SILL] * spatial + [MICRO] + [NOISE] * noisy)
    fixed = np.array([np.log(domain.diagonal_m), -np.inf, 0.0, 0.0 if variable.binary else np.log(1e-3), *form.bend])
    for which, value in variable.given.items():
        free[which], fixed[which] = False, value if spatial or which not in {RANGE, SILL} else fixed[which]
    names = domain.trend_names + (STRENGTH,) * (trend.shape[1] - len(domain.trend_names))
    return MixedModel(
        xy_m=domain.sites.xy_m,
        trend=trend,
        trend_precision=variable.trend_precision(names),
        observations=variable.observations,
        family=form.family,
        free=free,
        fixed=fixed,
        bounds=parameter_bounds((float(grid[0]), float(grid[-1]))),
        groups=variable.groups(domain.sites.xy_m),
    )
