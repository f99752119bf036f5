"""What plain methods forecast of the readings that the maps are scored by: soil-type mean, inverse square distance.

They get what the map gets: values and bounds in one likelihood, the same priors, the same sites left out.
"""

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.spatial.distance import cdist
from scipy.special import log_ndtr, ndtr

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat import (
    MICRO,
    N_PARAMETERS,
    NOISE,
    Covariance,
    MixedModel,
    Mixture,
    condition_on,
    interval_moments,
    isotropic,
    leave_out_sites,
    maximise_reml,
    parameter_bounds,
)
from hardpan.surfaces.domain import SOIL, Domain
from hardpan.surfaces.forecasts import Forecast
from hardpan.surfaces.variables import Variable

_START = np.log([0.7, 0.3])
"""Micro-scale and noise the search starts from, for values of unit variance."""

_MOST_LOG_SD = 5.0
"""Of a forecast's standard deviation about the variable's own, either way."""


def fit_soil_mean(variable: Variable, domain: Domain) -> Mixture:
    """The variable as a mean for each soil type with scatter between and within sites, and no spatial structure."""
    types, several = len(domain.soil_types), len(domain.soil_types) > 1
    indicators = np.eye(types)[domain.sites.soil][:, : types * several]
    trend = np.column_stack([np.ones(len(domain.sites.xy_m)), indicators])
    precision = variable.trend_precision(("1",) + tuple(f"{SOIL}{name}" for name in domain.soil_types) * several)
    noise = 0.0 if variable.binary else _START[1]
    start = isotropic(np.array([np.log(domain.diagonal_m), -np.inf, _START[0], noise]))
    model = MixedModel(
        xy_m=domain.sites.xy_m,
        trend=trend,
        trend_precision=precision,
        observations=variable.observations,
        family="exponential",
        free=np.isin(np.arange(N_PARAMETERS), [MICRO] + [NOISE] * (not variable.binary)),
        fixed=start,
        bounds=parameter_bounds((1.0, domain.diagonal_m)),
        groups=variable.groups(domain.sites.xy_m),
    )
    theta = maximise_reml(model, start[None], variable.priors(domain.diagonal_m)).theta
    covariance = Covariance(structures=(), micro=float(np.exp(theta[MICRO])), noise=float(np.exp(theta[NOISE])))
    return condition_on(covariance, model.xy_m, model.observations, trend=trend, trend_precision=precision)


def forecast_soil_mean(variable: Variable, mixture: Mixture, fold: Ints) -> Forecast:
    """Mean of the soil type from the other folds' readings; for presence the chance of a pan."""
    site = variable.observations.site
    mean, variance = (part[site] for part in leave_out_sites(mixture, fold))
    sd = np.sqrt(np.maximum(variance + variable.observations.variance(mixture.noise[0]), 1e-18))
    return Forecast(mean=ndtr(mean / sd) if variable.binary else mean, sd=sd)


def forecast_inverse_distance(variable: Variable, mixture: Mixture, domain: Domain, fold: Ints) -> Forecast:
    """Mean by inverse square distance of the other folds' readings; for presence the chance of a pan.

    A bound enters as the mean of what lies beyond it about the mean of its soil type. The standard deviation, one for
    all, is the most likely given the errors at values and bounds left out.
    """
    readings = variable.observations
    value = np.isinf(readings.high).astype(float) if variable.binary else _expected(variable, mixture)
    near = 1.0 / np.maximum(cdist(domain.sites.xy_m, domain.sites.xy_m), domain.frame.cell_m) ** 2
    near *= fold[:, None] != fold[None, :]
    count = np.bincount(readings.site, minlength=len(fold))
    total = np.bincount(readings.site, weights=value, minlength=len(fold))
    with np.errstate(invalid="ignore"):  # all readings in one fold leave nothing to forecast from
        mean = ((near @ total) / (near @ count))[readings.site]
    return Forecast(mean=mean, sd=np.full(len(mean), 1.0 if variable.binary else _likely_sd(variable, mean)))


def _expected(variable: Variable, mixture: Mixture) -> Floats:
    """Values (m,), and the means of what lies beyond the bounds about the mean of the soil type."""
    readings, bound = variable.observations, ~variable.exact
    mean = (mixture.trend @ mixture.posterior.beta[0])[readings.site[bound]]
    variance = mixture.micro[0] + readings.variance(mixture.noise[0])[bound]
    values = readings.low.copy()
    _, slope, _ = interval_moments(mean, variance, readings.low[bound], readings.high[bound])
    values[bound] = mean + variance * slope
    return values


def _likely_sd(variable: Variable, mean: Floats) -> float:
    made, exact = np.isfinite(mean), variable.exact
    off = variable.observations.low - mean
    seen, beyond = off[made & exact], off[made & ~exact]

    def unlikely(log_sd: float) -> float:
        sd = np.exp(log_sd)
        return float(np.sum(0.5 * (seen / sd) ** 2 + log_sd) - np.sum(log_ndtr(-beyond / sd)))

    return float(np.exp(minimize_scalar(unlikely, bounds=(-_MOST_LOG_SD, _MOST_LOG_SD), method="bounded").x))
