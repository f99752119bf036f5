"""What was estimated: covariances with standard errors, their posterior weights, coefficients of the trend."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.geostat import (
    EFFECTIVE_RANGE,
    MICRO,
    NOISE,
    SHORT_RATIO,
    SILL,
    Family,
    RemlFit,
    to_correlation,
)
from hardpan.surfaces.domain import Domain
from hardpan.surfaces.variables import FittedField, Variable

_STEP = 1e-4
"""Of a parameter, either way, for a derivative: its square is lost in the digits that a table shows."""

_QUANTITIES = ("range_m", "ratio", "heading_deg", "short_share", "short_range_m", "sill", "micro", "noise")


def describe_models(fields: Mapping[str, FittedField], domain: Domain) -> pd.DataFrame:
    """Fitted models, one row a variable (columns of `Surfaces.models`); variances in mm², of a logarithm for peaks."""
    return pd.DataFrame([_describe(name, field, domain) for name, field in fields.items()])


def weigh_covariances(fields: Mapping[str, FittedField]) -> pd.DataFrame:
    """Covariances that each map is averaged over, with their posterior weights (columns of `Surfaces.covariances`)."""
    tables = []
    for name, field in fields.items():
        mixture, square = field.mixture, field.variable.scale**2
        longest = [one.structures[0].length_m if one.structures else np.nan for one in mixture.correlations]
        range_m = EFFECTIVE_RANGE[field.fit.model.family] * np.array(longest)
        variances = {"sill": mixture.sill, "micro": mixture.micro, "noise": mixture.noise}
        tables.append(
            pd.DataFrame(
                {"variable": name, "weight": mixture.weight}
                | {"range_m": range_m[mixture.which] if mixture.is_spatial else np.nan}
                | {which: square * values for which, values in variances.items()}
            )
        )
    return pd.concat(tables, ignore_index=True)


def describe_trends(fields: Mapping[str, FittedField], domain: Domain) -> pd.DataFrame:
    """Coefficients of the trends with their standard errors (columns of `Surfaces.coefficients`).

    Averaged over the covariances, whose doubt the standard errors hold.
    """
    tables = []
    for name, field in fields.items():
        variable, found, weight = field.variable, field.mixture.posterior, field.mixture.weight
        value = weight @ found.beta
        variance = weight @ (np.diagonal(found.beta_cov, axis1=1, axis2=2) + found.beta**2) - value**2
        centre = np.where(np.arange(len(value)) == 0, variable.centre, 0.0)
        tables.append(
            pd.DataFrame(
                {
                    "variable": name,
                    "term": _terms(field, domain),
                    "value": centre + variable.scale * value,
                    "standard_error": variable.scale * np.sqrt(np.maximum(variance, 0.0)),
                    "unit": _unit(variable),
                }
            )
        )
    return pd.concat(tables, ignore_index=True)


def _terms(field: FittedField, domain: Domain) -> list[str]:
    return [*domain.trend_names, *["strength of the pan"] * field.on_strength]


def _unit(variable: Variable) -> str:
    """Unit the field is modelled in."""
    return f"log {variable.unit}" if variable.log else variable.unit


def _describe(name: str, field: FittedField, domain: Domain) -> dict[str, object]:
    variable, fit = field.variable, field.fit
    values, errors = (dict(zip(_QUANTITIES, row.tolist(), strict=True)) for row in _with_errors(fit, variable.scale**2))
    return {
        "variable": name,
        "family": fit.model.family if fit.is_spatial else "none",
        **values,
        **{_error_name(quantity): error for quantity, error in errors.items()},
        "loglik": fit.objective,
        "aic": fit.aic,
        "n": len(variable.observations.site),
        "n_censored": 0 if variable.binary else int(np.sum(~variable.exact)),
        "identified": field.knows_range,
        "trend": " + ".join(_terms(field, domain)),
    }


def _error_name(quantity: str) -> str:
    """Name of a quantity's standard error: the unit stays the last part."""
    stem, _, unit = quantity.rpartition("_")
    return f"{stem}_se_{unit}" if unit in {"m", "deg"} else f"{quantity}_se"


def _with_errors(fit: RemlFit, square: float) -> tuple[Floats, Floats]:
    """Quantities of a covariance, and their standard errors by their derivatives; NaN where fixed or not told."""
    spatial = fit.is_spatial
    slopes = np.zeros((len(_QUANTITIES), len(fit.theta)))
    for j in np.flatnonzero(fit.model.free):
        ahead, behind = fit.theta.copy(), fit.theta.copy()
        ahead[j], behind[j] = fit.theta[j] + _STEP, fit.theta[j] - _STEP
        ends = (_quantities(fit.model.family, theta, square, spatial=spatial) for theta in (ahead, behind))
        slopes[:, j] = np.nan_to_num(np.subtract(*ends)) / (2.0 * _STEP)
    variance = np.einsum("qi,ij,qj->q", slopes, fit.parameter_covariance, slopes)
    return _quantities(fit.model.family, fit.theta, square, spatial=spatial), np.sqrt(
        np.where(variance > 0, variance, np.nan)
    )


def _quantities(family: Family, theta: Floats, square: float, *, spatial: bool) -> Floats:
    """Values of `_QUANTITIES` at a row of parameters (8,)."""
    structures = to_correlation(family, theta).structures
    long, nested = structures[0], len(structures) > 1
    longest = long.length_m * EFFECTIVE_RANGE[family] if spatial else np.nan
    return np.array(
        [
            longest,
            long.ratio,
            long.heading_deg if long.ratio < 1 else np.nan,
            structures[1].sill if nested else 0.0,
            longest * np.exp(theta[SHORT_RATIO]) if nested else np.nan,
            *(square * np.exp(theta[[SILL, MICRO, NOISE]])),
        ]
    )
