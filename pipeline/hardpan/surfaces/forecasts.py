"""What the maps forecast of every reading made without it, the score of a forecast, and every reading beside it."""

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat import leave_out_sites
from hardpan.surfaces.variables import FittedField, Variable

_LEAST_SD = 1e-9
"""Standard deviation of a forecast that is sure, in scaled units: its score is then the error itself."""

_HALF_90 = float(ndtri(0.95))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast:
    """Normal forecast of each reading, made without it; scaled units."""

    mean: Floats
    sd: Floats


def forecast_fields(fields: Mapping[str, FittedField], fold: Ints) -> dict[str, Forecast]:
    """Forecasts of every field's readings, each without those of its whole fold; the scatter of a reading included.

    Parameters
    ----------
    fields : Mapping
        Where one is on strength, that of the peak is among them.
    fold : Ints
        (n_sites,) fold of each site.
    """
    left_out = {name: leave_out_sites(field.mixture, fold) for name, field in fields.items()}
    out: dict[str, Forecast] = {}
    for name, field in fields.items():
        readings = field.variable.observations
        noise = float(field.mixture.weight @ field.mixture.noise)
        mean, variance = left_out[name]
        if field.on_strength:
            slope, strength = float(field.mixture.weight @ field.mixture.posterior.beta[:, -1]), left_out["peak"]
            mean = mean + slope * (strength[0] - field.mixture.trend[:, -1])
            variance = variance + slope**2 * strength[1]
        with_noise = variance[readings.site] + readings.variance(noise)
        out[name] = Forecast(mean=mean[readings.site], sd=np.sqrt(np.maximum(with_noise, 1e-18)))
    return out


def score_readings(variable: Variable, forecast: Forecast) -> Floats:
    """Continuous ranked probability score (m,) of every reading, in the variable's units; of a sign the Brier score.

    A bound at c scores the forecast of min(value, c); upper ends of intervals are not looked at.
    """
    low = variable.observations.low
    if variable.binary:
        chance: Floats = ndtr(forecast.mean / forecast.sd)
        return (chance - np.isinf(variable.observations.high)) ** 2
    exact, value = variable.exact, variable.centre + variable.scale * low
    mean = variable.centre + variable.scale * forecast.mean
    sd = variable.scale * np.maximum(forecast.sd, _LEAST_SD)
    if variable.log:
        return np.where(exact, crps_lognormal(np.exp(value), mean, sd), crps_lognormal_beyond(np.exp(value), mean, sd))
    return np.where(exact, crps_normal(value, mean, sd), crps_normal_beyond(value, mean, sd))


def crps_normal(value: Floats, mean: Floats, sd: Floats) -> Floats:
    """Continuous ranked probability score of a normal forecast [gneiting2005]."""
    z = (value - mean) / sd
    score: Floats = sd * (z * (2.0 * ndtr(z) - 1.0) + 2.0 * _density(z) - 1.0 / np.sqrt(np.pi))
    return score


def crps_lognormal(value: Floats, centre: Floats, sd: Floats) -> Floats:
    """Continuous ranked probability score of a forecast whose logarithm is normal [baran2015]."""
    z = (np.log(value) - centre) / sd
    mean = np.exp(centre + 0.5 * sd**2)
    score: Floats = value * (2.0 * ndtr(z) - 1.0) - 2.0 * mean * (ndtr(z - sd) + ndtr(sd / np.sqrt(2.0)) - 1.0)
    return score


def crps_normal_beyond(bound: Floats, mean: Floats, sd: Floats) -> Floats:
    """Score of a normal forecast when the value is known to lie beyond a bound: integral of F^2 up to it."""
    z = (bound - mean) / sd
    score: Floats = sd * (z * ndtr(z) ** 2 + 2.0 * _density(z) * ndtr(z) - ndtr(np.sqrt(2.0) * z) / np.sqrt(np.pi))
    return score


def crps_lognormal_beyond(bound: Floats, centre: Floats, sd: Floats) -> Floats:
    """The same score of a forecast whose logarithm is normal, by Gauss-Legendre quadrature up to the bound."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    start = np.minimum(bound, np.exp(centre - 6.0 * sd))
    half = (bound - start) / 2.0
    x = start[:, None] + half[:, None] * (nodes + 1.0)
    score: Floats = half * (ndtr((np.log(x) - centre[:, None]) / sd[:, None]) ** 2 @ weights)
    return score


def _density(z: Floats) -> Floats:
    """Density of the standard normal distribution."""
    density: Floats = np.exp(-(z**2) / 2.0) / np.sqrt(2.0 * np.pi)
    return density


def tabulate_residuals(
    fields: Mapping[str, FittedField], by_site: Mapping[str, Forecast], insertions: gpd.GeoDataFrame
) -> pd.DataFrame:
    """Readings, and their forecasts from all other sites, one row each (columns of `Surfaces.residuals`).

    Parameters
    ----------
    fields : Mapping
        Fitted to these insertions.
    by_site : Mapping
        Their forecasts.
    insertions : gpd.GeoDataFrame
        In the order of the domain.
    """
    tables = [
        _tabulate(field.variable, by_site[name], insertions.iloc[field.variable.rows]) for name, field in fields.items()
    ]
    return pd.concat(tables, ignore_index=True)


def _tabulate(variable: Variable, forecast: Forecast, insertions: gpd.GeoDataFrame) -> pd.DataFrame:
    observed, predicted, sd, interval = _in_units(variable, forecast)
    exact = variable.exact | variable.binary
    return pd.DataFrame(
        {
            "variable": variable.name,
            "site": insertions["site"].to_numpy(str),
            "insertion": insertions["insertion"].to_numpy(str),
            "x_m": insertions.geometry.x.to_numpy(),
            "y_m": insertions.geometry.y.to_numpy(),
            "observed_low": observed[0],
            "observed_high": observed[1],
            "predicted": predicted,
            "sd": sd,
            "predicted_low": interval[0],
            "predicted_high": interval[1],
            "residual": np.where(exact, predicted - observed[0], np.nan),
            "crps": score_readings(variable, forecast),
            "unit": variable.unit,
        }
    )


def _in_units(variable: Variable, forecast: Forecast) -> tuple[tuple[Floats, Floats], Floats, Floats, Floats]:
    """Observed ends, forecast, its standard deviation and its central 90 % in the variable's own units.

    Of a logarithm the forecast is the median and the standard deviation that of the lognormal law; of a sign the chance
    of a pan, with no interval.
    """
    if variable.binary:
        chance = ndtr(forecast.mean / forecast.sd)
        present = np.isinf(variable.observations.high).astype(float)
        nothing = np.full((2, len(chance)), np.nan)
        return (present, present), chance, np.sqrt(chance * (1.0 - chance)), nothing
    ends = tuple(
        variable.centre + variable.scale * end for end in (variable.observations.low, variable.observations.high)
    )
    mean, sd = variable.centre + variable.scale * forecast.mean, variable.scale * forecast.sd
    interval = np.stack([mean - _HALF_90 * sd, mean + _HALF_90 * sd])
    if not variable.log:
        return (ends[0], ends[1]), mean, sd, interval
    spread = np.exp(mean + 0.5 * sd**2) * np.sqrt(np.expm1(sd**2))
    return (np.exp(ends[0]), np.exp(ends[1])), np.exp(mean), spread, np.exp(interval)
