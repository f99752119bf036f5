"""The table of models and the verdict in words."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.spatial.mixed import MICRO, NOISE, RANGE, SILL, Fit
from hardpan.surfaces.variables import Variable


def describe_models(fits: Mapping[str, Fit], variables: Mapping[str, Variable]) -> pd.DataFrame:
    """Give one row a variable (columns of `Surfaces.models`)."""
    rows = []
    for name, fit in fits.items():
        variable = variables[name]
        theta, error = np.exp(fit.theta), fit.standard_errors
        square = variable.scale**2
        identified = bool(np.isfinite(error[RANGE]) and error[RANGE] < 1.0)
        rows.append(
            {
                "variable": name,
                "family": fit.model.family,
                "range_m": theta[RANGE] if fit.model.free[RANGE] else np.nan,
                "sill": square * theta[SILL],
                "micro": square * theta[MICRO],
                "noise": square * theta[NOISE],
                "range_se_m": theta[RANGE] * error[RANGE],
                "sill_se": square * theta[SILL] * error[SILL],
                "loglik": fit.value,
                "aic": fit.aic,
                "n": len(variable.readings.site),
                "n_censored": int(np.sum(~variable.exact)),
                "identified": identified,
                "trend": "",
                "verdict": "",
            }
        )
    return pd.DataFrame(rows)


def verdict_of(scores: pd.DataFrame) -> str:
    """Give one sentence on the map of the bottom against the yardsticks."""
    of = scores[(scores["variable"] == "bottom") & (scores["folds"] == "site")].set_index("method")["rmse"]
    map_mm, soil_mm = float(of["kriging"]), float(of["soil-type mean"])
    return (
        f"The map of the pan's bottom misses a site left out by {map_mm:.0f} mm, the soil type's mean by {soil_mm:.0f}."
    )
