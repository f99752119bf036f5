"""Cross-validation of the maps by site and by block, against two plain yardsticks: soil-type mean, inverse distance.

The yardsticks get what the map gets: values and bounds in one likelihood, the same priors, the same sites left out.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd
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
from hardpan.surfaces.forecasts import Forecast, forecast_fields, score_readings
from hardpan.surfaces.variables import FittedField, Variable

_STRIPS = 3
"""Six blocks in all: each a sixth of the sites, wider than any reach of a correlation worth using."""

COLUMNS = (
    "variable",
    "method",
    "folds",
    "n",
    "rmse",
    "bias",
    "crps",
    "coverage_50",
    "coverage_90",
    "standardised",
    "unit",
)

_START = np.log([0.7, 0.3])
"""Micro-scale and noise the search starts from, for values of unit variance."""

_MOST_LOG_SD = 5.0
"""Of a forecast's standard deviation about the variable's own, either way."""


def score_fields(fields: Mapping[str, FittedField], by_site: Mapping[str, Forecast], domain: Domain) -> pd.DataFrame:
    """Scores of every field and yardstick (columns of `Surfaces.scores`); `by_site` are forecasts without own site.

    RMSE and bias are over the values that were seen, `n` of them; where strength stopped insertions those are the
    shallow ones, so a bias of the seen is no bias of the map. CRPS and coverage count the bounds as well: a bound at c
    scores the forecast of min(value, c), which rewards no forecast beyond the bound over another, and it is covered
    by the share of the interval among what lies beyond it in the forecast. `standardised` is the root mean square of
    the errors seen, each in its own standard deviation: 1 when these are right.
    """
    blocks = _blocks(domain.sites.xy_m)
    folds = {"site": (np.arange(len(blocks)), by_site), "block": (blocks, forecast_fields(fields, blocks))}
    plain = {name: fit_soil_mean(field.variable, domain) for name, field in fields.items()}
    rows = []
    for kind, (fold, forecasts) in folds.items():
        for name, field in fields.items():
            variable = field.variable
            rows.append(_score(variable, "kriging", kind, forecasts[name]))
            for method, other in _yardsticks(variable, plain[name], domain, fold).items():
                rows.append(_score(variable, method, kind, other))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _blocks(xy_m: Floats) -> Ints:
    """Six compact groups of equally many sites: three strips across the longer way, each halved along it."""
    centred = xy_m - xy_m.mean(axis=0)
    along, across = np.linalg.svd(centred, full_matrices=False)[2] @ centred.T
    strip = _rank(along) * _STRIPS // len(xy_m)
    block = np.empty(len(xy_m), dtype=np.int64)
    for j in range(_STRIPS):
        of = np.flatnonzero(strip == j)
        block[of] = 2 * j + _rank(across[of]) * 2 // max(len(of), 1)
    return block


def _rank(values: Floats) -> Ints:
    rank = np.empty(len(values), dtype=np.int64)
    rank[np.argsort(values, kind="stable")] = np.arange(len(values))
    return rank


def _yardsticks(variable: Variable, mixture: Mixture, domain: Domain, fold: Ints) -> dict[str, Forecast]:
    return {
        "soil-type mean": forecast_soil_mean(variable, mixture, fold),
        "inverse distance": forecast_inverse_distance(variable, mixture, domain, fold),
    }


def _score(variable: Variable, method: str, folds: str, forecast: Forecast) -> dict[str, object]:
    row: dict[str, object] = {"variable": variable.name, "method": method, "folds": folds, "unit": variable.unit}
    if variable.binary:
        return row | _score_signs(variable, method, forecast)
    made, exact = np.isfinite(forecast.mean), variable.exact & np.isfinite(forecast.mean)
    if not made.any():
        return row | dict.fromkeys(COLUMNS[4:10], np.nan) | {"n": 0}
    sd = np.maximum(forecast.sd, 1e-9)
    ends = (variable.observations.low, variable.observations.high)
    low, high = (ndtr((end - forecast.mean) / sd)[made] for end in ends)
    value, mean = (
        variable.centre + variable.scale * item[exact] for item in (variable.observations.low, forecast.mean)
    )
    error = np.exp(mean) - np.exp(value) if variable.log else mean - value
    return row | {
        "n": int(exact.sum()),
        "rmse": float(np.sqrt(_mean(error**2))),
        "bias": _mean(error),
        "crps": float(score_readings(variable, forecast)[made].mean()),
        "coverage_50": _coverage(low, high, 0.50),
        "coverage_90": _coverage(low, high, 0.90),
        "standardised": float(np.sqrt(_mean(((forecast.mean - variable.observations.low) / sd)[exact] ** 2))),
    }


def _mean(values: Floats) -> float:
    return float(values.mean()) if len(values) else float("nan")


def _score_signs(variable: Variable, method: str, forecast: Forecast) -> dict[str, object]:
    """Scores of a probability: the CRPS of a yes or no is its Brier score, and it has no interval."""
    present = np.isinf(variable.observations.high).astype(float)
    chance = ndtr(forecast.mean / forecast.sd) if method == "kriging" else np.clip(forecast.mean, 0.0, 1.0)
    chance, present = chance[np.isfinite(chance)], present[np.isfinite(chance)]
    brier = float(np.mean((chance - present) ** 2))
    return {
        "n": len(present),
        "rmse": float(np.sqrt(brier)),
        "bias": float(np.mean(chance - present)),
        "crps": brier,
        "coverage_50": np.nan,
        "coverage_90": np.nan,
        "standardised": np.nan,
    }


def _coverage(low: Floats, high: Floats, level: float) -> float:
    """Share of probability integrals inside the central interval; a bound spreads its own [czado2009]."""
    ends = (1.0 - level) / 2.0, (1.0 + level) / 2.0
    width = np.maximum(high - low, 1e-12)
    share = (np.minimum(high, ends[1]) - np.maximum(low, ends[0])) / width
    inside = (low >= ends[0]) & (low <= ends[1])
    return float(np.mean(np.where(high - low > 1e-12, np.clip(share, 0.0, 1.0), inside)))


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
