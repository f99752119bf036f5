"""Covariance and trend of a field's mixed model from observations in their own units, by the best of several optima."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.spatial import cKDTree

from hardpan.core.arrays import Floats
from hardpan.core.threads import one_blas_thread
from hardpan.geostat.covariance import LOCAL, Covariance, Family
from hardpan.geostat.model import MixedModel, posterior_at
from hardpan.geostat.parameters import (
    MICRO,
    N_PARAMETERS,
    NOISE,
    RANGE,
    SILL,
    isotropic,
    parameter_bounds,
    to_covariance,
)
from hardpan.geostat.reml import RemlFit, maximise_reml, observe_information
from hardpan.geostat.residuals import search_starts
from hardpan.geostat.sites import Data

_GRID = 24
"""Ranges of the profile: with 12 or 16 the highest top of open data was missed by up to 0.2, with 24 by 0.02."""

_ROUGH = 0.02
"""Twice the log likelihood that a profile may lack: less than tops worth telling apart differ by."""

_PEAKS = 2
"""Peaks of the profile that are climbed: what is lower on the grid may end higher."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedCovariance:
    """Covariance and trend of a mixed model fitted by REML, in the units of the observations."""

    covariance: Covariance
    beta: Floats
    """(p,) trend coefficients (generalised least squares)."""
    beta_se: Floats
    """(p,) their standard errors, the covariance known."""
    log_se: dict[str, float]
    """Standard error of the logarithm of `range`, `sill`, `micro` and `noise`; NaN for one at a bound."""
    log_likelihood: float
    """Restricted log likelihood."""
    aic: float
    identified: bool
    """The data determine the range within a factor of three."""


@one_blas_thread()
def fit_reml(
    data: Data, family: Family | Literal["auto"] = "exponential", *, nugget: Literal["micro", "noise"] = "micro"
) -> FittedCovariance:
    """Covariance and trend of the linear mixed model, by restricted maximum likelihood.

    Parameters
    ----------
    data : Data
        From `observe`; sites with several observations tell micro-scale and noise apart.
    family : Family | Literal["auto"]
        Covariance family; auto takes that of `LOCAL` of lowest AIC.
    nugget : Literal["micro", "noise"]
        What the nugget is called where no site has two observations: a part of the field, or error.

    Examples
    --------
    >>> from hardpan import geostat
    >>> rng = np.random.default_rng(1)
    >>> x, y, covariate = rng.uniform(0, 100, (3, 60))
    >>> data = geostat.observe(x, y, 3.0 + 2.0 * covariate + 0.01 * rng.standard_normal(60), trend=covariate)
    >>> geostat.fit_reml(data).beta.round(1)
    array([3., 2.])
    """
    fits = [_search(mixed_model(data, name), data.extent_m) for name in _names(family)]
    fit = min(fits, key=lambda one: one.aic)
    if not data.observations.exact.all():  # the average information takes what an interval says as settled
        fit = observe_information(fit)
    found = posterior_at(fit.model, fit.theta[None], fit.posterior)
    covariance = in_units(to_covariance(fit.model.family, fit.theta), data.scale**2)
    log_se = dict(zip(("range", "sill", "micro", "noise"), fit.standard_errors[:4].tolist(), strict=True))
    if not fit.model.free[MICRO] and nugget == "micro":
        covariance = replace(covariance, micro=covariance.noise, noise=0.0)
        log_se |= {"micro": log_se["noise"], "noise": np.nan}
    to_units = data.scale / data.trend_scale
    contrasts = len(data.observations.low) - data.trend.shape[1]
    return FittedCovariance(
        covariance=covariance,
        beta=found.beta[0] * to_units + data.centre * (np.arange(len(to_units)) == 0),
        beta_se=np.sqrt(np.diag(found.beta_cov[0])) * to_units,
        log_se=log_se,
        log_likelihood=fit.objective - contrasts * float(np.log(data.scale)) - float(np.log(data.trend_scale).sum()),
        aic=fit.aic + 2.0 * (contrasts * float(np.log(data.scale)) + float(np.log(data.trend_scale).sum())),
        identified=fit.identified,
    )


def _search(model: MixedModel, extent_m: float) -> RemlFit:
    return search_reml(model, search_starts(extent_m, model))


def _names(family: Family | Literal["auto"]) -> tuple[Family, ...]:
    return LOCAL if family == "auto" else (family,)


def mixed_model(data: Data, family: Family) -> MixedModel:
    """Mixed model of the data: isotropic, ranges from a quarter of the sites' spacing to three times their extent."""
    repeats = len(data.observations.site) > len(data.xy_m)
    spacing_m = float(np.median(cKDTree(data.xy_m).query(data.xy_m, k=[2])[0])) if len(data.xy_m) > 1 else 1.0
    free = [RANGE, SILL, NOISE] + [MICRO] * repeats
    return MixedModel(
        xy_m=data.xy_m,
        trend=data.trend,
        trend_precision=np.zeros(data.trend.shape[1]),
        observations=data.observations,
        family=family,
        free=np.isin(np.arange(N_PARAMETERS), free),
        fixed=isotropic(np.array([0.0, 0.0, -np.inf, 0.0])),
        bounds=parameter_bounds((0.25 * spacing_m, 3.0 * max(data.extent_m, spacing_m))),
    )


def in_units(covariance: Covariance, factor: float) -> Covariance:
    """The covariance with every variance multiplied."""
    structures = tuple(replace(part, sill=factor * part.sill) for part in covariance.structures)
    return Covariance(structures=structures, micro=factor * covariance.micro, noise=factor * covariance.noise)


def search_reml(model: MixedModel, starts: Floats) -> RemlFit:
    """Optimum of the restricted likelihood: the highest of several where the covariance is spherical.

    The likelihood of a spherical covariance has a kink wherever its range equals the distance between two data, and
    often several tops [mardia1989]. It is profiled on a grid of ranges, where the other parameters are smooth, and
    searched from the peaks of the profile. Other families have one top in practice, found from the best of `starts`.

    Parameters
    ----------
    model : MixedModel
        What is fitted.
    starts : Floats
        (s, 8) parameters to try.

    Examples
    --------
    >>> from hardpan import geostat
    >>> from hardpan.geostat.estimation import mixed_model
    >>> x, y, z = np.random.default_rng(2).uniform(0, 100, (3, 30))
    >>> model = mixed_model(geostat.observe(x, y, z), "spherical")
    >>> starts = geostat.search_starts(100.0)
    >>> bool(search_reml(model, starts).objective >= maximise_reml(model, starts).objective)
    True
    """
    first = maximise_reml(model, starts)
    if model.family != "spherical" or not model.free[RANGE]:
        return first
    profile = _profile(first)
    height = np.pad([fit.objective for fit in profile], 1, constant_values=-np.inf)
    peaks = np.flatnonzero((height[1:-1] >= height[:-2]) & (height[1:-1] >= height[2:]))
    climbed = peaks[np.argsort(-height[1:-1][peaks])[:_PEAKS]]
    tops = [maximise_reml(model, profile[j].theta[None]) for j in climbed]
    return max((first, *tops), key=lambda fit: fit.objective)


def _profile(fit: RemlFit) -> list[RemlFit]:
    """Optima with the range held at each of a grid over its bounds, each searched from the one before."""
    others = fit.model.free & (np.arange(N_PARAMETERS) != RANGE)
    (low, high), theta, found = fit.model.bounds[RANGE], fit.theta, []
    for log_range in np.linspace(low, high, _GRID):
        fixed = np.where(fit.model.free, 0.0, fit.model.fixed)
        fixed[RANGE] = log_range
        held = maximise_reml(replace(fit.model, free=others, fixed=fixed), theta[None], settled=_ROUGH)
        theta = held.theta
        found.append(held)
    return found
