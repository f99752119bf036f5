"""Every reading beside what the map forecasts of it without its site."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from hardpan.core.arrays import Floats
from hardpan.surfaces.forecasts import Forecast, score_readings
from hardpan.surfaces.variables import FittedField, Variable

_HALF_90 = float(ndtri(0.95))


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
