"""The table of models and the verdict in words."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.geostat import (
    EFFECTIVE_RANGE,
    MICRO,
    NOISE,
    RANGE,
    SHORT_RATIO,
    SILL,
    RemlFit,
    covariance_between,
    reml_curve,
    residual_variogram,
    to_correlation,
)
from hardpan.surfaces.domain import Domain
from hardpan.surfaces.variables import FittedField

_LATTICE = 400
"""Places at which the gain of further sites is worked out."""

_MOST_SITES = 300
"""Further sites beyond which no one would go on probing."""


def describe_models(fields: Mapping[str, FittedField], domain: Domain) -> pd.DataFrame:
    """Fitted models, one row a variable (columns of `Surfaces.models`); variances in mm², of a logarithm for peaks."""
    return pd.DataFrame([_describe(name, field, domain) for name, field in fields.items()])


def describe_variograms(fields: Mapping[str, FittedField]) -> pd.DataFrame:
    """Variograms of the residuals beside the models fitted to them (columns of `Surfaces.variograms`)."""
    rows = [pd.DataFrame(columns=["variable", "lag_m", "semivariance", "pairs", "model", "reml"])]
    for name, field in fields.items():
        residuals = None if field.variable.binary else residual_variogram(field.fit.model)
        if residuals is None:
            continue
        square, points = field.variable.scale**2, residuals.points
        rows.append(
            pd.DataFrame(
                {
                    "variable": name,
                    "lag_m": points.distance_m,
                    "semivariance": square * points.semivariance,
                    "pairs": points.pairs,
                    "model": square * residuals.curve(),
                    "reml": square * reml_curve(residuals, field.fit.model, field.fit.theta),
                }
            )
        )
    return pd.concat(rows[1:] or rows, ignore_index=True)


def _describe(name: str, field: FittedField, domain: Domain) -> dict[str, object]:
    variable, fit = field.variable, field.fit
    spatial = bool(fit.model.free[SILL])
    theta, error = np.exp(fit.theta), fit.standard_errors
    structures = to_correlation(fit.model.family, fit.theta).structures
    longest = structures[0].length_m * EFFECTIVE_RANGE[fit.model.family]
    square = variable.scale**2
    names = list(domain.trend_names) + ["strength of the pan"] * field.on_strength
    return {
        "variable": name,
        "family": fit.model.family if spatial else "none",
        "range_m": longest if spatial else np.nan,
        "ratio": structures[0].ratio,
        "heading_deg": structures[0].heading_deg if structures[0].ratio < 1 else np.nan,
        "short_share": structures[1].sill if len(structures) > 1 else 0.0,
        "short_range_m": longest * theta[SHORT_RATIO] if len(structures) > 1 else np.nan,
        "sill": square * theta[SILL],
        "micro": square * theta[MICRO],
        "noise": square * theta[NOISE],
        "range_se_m": longest * error[RANGE] if spatial else np.nan,
        "sill_se": square * theta[SILL] * error[SILL] if spatial else np.nan,
        "loglik": fit.objective,
        "aic": fit.aic,
        "n": len(variable.observations.site),
        "n_censored": 0 if variable.binary else int(np.sum(~variable.exact)),
        "identified": fit.identified,
        "trend": " + ".join(names),
        "verdict": _in_words(fit, spatial=spatial),
    }


def _in_words(fit: RemlFit, *, spatial: bool) -> str:
    if not spatial:
        return "no spatial structure fitted: mean of the soil type"
    theta = np.exp(fit.theta)
    share = theta[SILL] / (theta[SILL] + theta[MICRO])
    if not fit.identified:
        return "the range is not identified; maps average over those that are possible"
    words = f"{100 * share:.0f} % of the field's variance fades over {theta[RANGE]:.0f} m, the rest within a site"
    structures = to_correlation(fit.model.family, fit.theta).structures
    if structures[0].ratio < 1:
        words += f"; {1 / structures[0].ratio:.1f} times farther along {structures[0].heading_deg:.0f}° than across"
    if len(structures) > 1:
        words += f"; {100 * structures[1].sill:.0f} % of it within {theta[RANGE] * theta[SHORT_RATIO]:.0f} m"
    return words


def verdict_of(
    scores: pd.DataFrame, fields: Mapping[str, FittedField], domain: Domain, bottom_sd_mm: Floats, precision_mm: float
) -> str:
    """Verdict in one or two sentences: is the map of the bottom better than plain yardsticks, would more probes help.

    `bottom_sd_mm` (n_cells,) is the standard deviation of the mapped bottom.
    """
    if "bottom" not in fields:
        return "No insertion met a pan, so there is nothing to map but its absence."
    of = scores[(scores["variable"] == "bottom") & (scores["folds"] == "site")].set_index("method")["crps"]
    ours = float(of["kriging"])
    best = min(("soil-type mean", "inverse distance"), key=lambda method: float(of[method]))
    gain = 1.0 - ours / float(of[best])
    compared = (
        f"The map of the pan's bottom forecasts a site left out {100 * gain:.0f} % better than the best plain yardstick"
        f" ({best})"
        if gain > 0.02
        else f"The map of the pan's bottom is no better than a plain yardstick ({best}) at a site left out"
    )
    return f"{compared}. {_more_probes(fields['bottom'], domain, bottom_sd_mm, precision_mm)}"


def _more_probes(field: FittedField, domain: Domain, bottom_sd_mm: Floats, precision_mm: float) -> str:
    now = float(np.sqrt(np.mean(bottom_sd_mm**2)))
    reached = precision_by_sites(field, domain, now, precision_mm)
    if now <= precision_mm:
        return f"Its standard deviation is {now:.0f} mm over the paddock, within the {precision_mm:.0f} mm asked for."
    more = len(reached) - 1
    if reached[-1] > precision_mm:
        return (
            f"Its standard deviation is {now:.0f} mm over the paddock; {more} more sites would bring"
            f" {reached[-1]:.0f} mm, not the {precision_mm:.0f} mm asked for."
        )
    sites = "site" if more == 1 else "sites"
    return (
        f"Its standard deviation is {now:.0f} mm over the paddock; about {more} more {sites} would bring it to"
        f" {precision_mm:.0f} mm."
    )


def precision_by_sites(field: FittedField, domain: Domain, now_mm: float, enough_mm: float) -> Floats:
    """Standard deviation of the map (mm) over the paddock with 0, 1, 2 ... further sites of three insertions.

    It ends when `enough_mm` is reached. Each further site goes where the variance is largest; what it takes away is
    worked out with the most typical covariance parameters, and taken off the map's `now_mm` in proportion.
    """
    mixture = field.mixture
    if not mixture.is_spatial:
        return np.array([now_mm])
    away = mixture.parameters - mixture.weight @ mixture.parameters
    spread = np.maximum(mixture.weight @ away**2, 1e-12)  # none where all points share a value
    typical = int(np.argmin(np.sum(away**2 / spread, axis=1)))
    precision, shape = mixture.posterior.precision[typical], mixture.correlations[mixture.which[typical]]
    sill, micro, noise = (float(of[typical]) for of in (mixture.sill, mixture.micro, mixture.noise))
    some = slice(None, None, max(1, len(domain.nodes.xy_m) // _LATTICE))
    xy, trend = domain.nodes.xy_m[some], domain.nodes.trend[some]
    usual_strength = mixture.trend[:, trend.shape[1] :].mean(axis=0)
    trend = np.column_stack([trend, np.tile(usual_strength, (len(xy), 1))])
    onto = sill * covariance_between(shape, xy, mixture.xy_m)
    left = trend - onto @ precision @ mixture.trend
    covariance = sill * covariance_between(shape, xy, xy) - onto @ precision @ onto.T
    covariance += left @ mixture.posterior.beta_cov[typical] @ left.T
    own = micro + noise / 3.0
    before = float(np.mean(np.diag(covariance))) + micro
    reached = [now_mm]
    while reached[-1] > enough_mm and len(reached) <= _MOST_SITES:
        at = int(np.argmax(np.diag(covariance)))
        column = covariance[:, at]
        covariance = covariance - np.outer(column, column) / (column[at] + own)
        after = max(float(np.mean(np.diag(covariance))), 0.0) + micro
        reached.append(now_mm * np.sqrt(after / before))
    return np.array(reached)
