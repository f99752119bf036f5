"""The table of models and the verdict in words."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.geostat.covariance import covariance_between
from hardpan.geostat.parameters import EFFECTIVE, MICRO, NOISE, RANGE, SILL, STRETCH, correlation_of
from hardpan.geostat.reml import Fit
from hardpan.geostat.residuals import reml_curve, residual_variogram
from hardpan.surfaces.domain import Layout
from hardpan.surfaces.variables import Field

_LATTICE = 400
"""Places at which the gain of further sites is worked out."""

_MOST_SITES = 300
"""Further sites beyond which no one would go on probing."""


def describe_models(fields: Mapping[str, Field], layout: Layout) -> pd.DataFrame:
    """Give one row a variable (columns of `Surfaces.models`); variances in mm2, of a logarithm for the peak."""
    return pd.DataFrame([_describe(name, field, layout) for name, field in fields.items()])


def describe_variograms(fields: Mapping[str, Field]) -> pd.DataFrame:
    """Give the residuals' variograms beside the models fitted to them (columns of `Surfaces.variograms`)."""
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


def _describe(name: str, field: Field, layout: Layout) -> dict[str, object]:
    variable, fit = field.variable, field.fit
    spatial = bool(fit.model.free[SILL])
    theta, error = np.exp(fit.theta), fit.standard_errors
    structures = correlation_of(fit.model.family, fit.theta).structures
    longest = structures[0].length_m * EFFECTIVE[fit.model.family]
    square = variable.scale**2
    names = list(layout.trend_names) + ["strength of the pan"] * field.on_strength
    return {
        "variable": name,
        "family": fit.model.family if spatial else "none",
        "range_m": longest if spatial else np.nan,
        "ratio": structures[0].ratio,
        "heading_deg": structures[0].heading_deg if structures[0].ratio < 1 else np.nan,
        "short_share": structures[1].sill if len(structures) > 1 else 0.0,
        "short_range_m": longest * theta[STRETCH] if len(structures) > 1 else np.nan,
        "sill": square * theta[SILL],
        "micro": square * theta[MICRO],
        "noise": square * theta[NOISE],
        "range_se_m": longest * error[RANGE] if spatial else np.nan,
        "sill_se": square * theta[SILL] * error[SILL] if spatial else np.nan,
        "loglik": fit.value,
        "aic": fit.aic,
        "n": len(variable.readings.site),
        "n_censored": 0 if variable.binary else int(np.sum(~variable.exact)),
        "identified": fit.identified,
        "trend": " + ".join(names),
        "verdict": _in_words(fit, spatial=spatial),
    }


def _in_words(fit: Fit, *, spatial: bool) -> str:
    if not spatial:
        return "no spatial structure fitted: mean of the soil type"
    theta = np.exp(fit.theta)
    share = theta[SILL] / (theta[SILL] + theta[MICRO])
    if not fit.identified:
        return "the range is not identified; maps average over those that are possible"
    words = f"{100 * share:.0f} % of the field's variance fades over {theta[RANGE]:.0f} m, the rest within a site"
    structures = correlation_of(fit.model.family, fit.theta).structures
    if structures[0].ratio < 1:
        words += f"; {1 / structures[0].ratio:.1f} times farther along {structures[0].heading_deg:.0f}° than across"
    if len(structures) > 1:
        words += f"; {100 * structures[1].sill:.0f} % of it within {theta[RANGE] * theta[STRETCH]:.0f} m"
    return words


def verdict_of(
    scores: pd.DataFrame, fields: Mapping[str, Field], layout: Layout, bottom_sd_mm: Floats, precision_mm: float
) -> str:
    """Give one or two sentences: is the map of the bottom better than plain yardsticks, and would more probes help.

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
    return f"{compared}. {_more_probes(fields['bottom'], layout, bottom_sd_mm, precision_mm)}"


def _more_probes(field: Field, layout: Layout, bottom_sd_mm: Floats, precision_mm: float) -> str:
    now = float(np.sqrt(np.mean(bottom_sd_mm**2)))
    reached = precision_by_sites(field, layout, now, precision_mm)
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


def precision_by_sites(field: Field, layout: Layout, now_mm: float, enough_mm: float) -> Floats:
    """Give the standard deviation of the map (mm) over the paddock with 0, 1, 2 ... further sites of three insertions.

    It ends when `enough_mm` is reached. Each further site goes where the variance is largest; what it takes away is
    worked out with the most typical covariance parameters, and taken off the map's `now_mm` in proportion.
    """
    model, free = field.mixture.model, field.mixture.model.free
    away = field.mixture.theta[:, free] - field.mixture.weight @ field.mixture.theta[:, free]
    spread = np.maximum(field.mixture.weight @ away**2, 1e-12)  # none where all points share a value
    typical = int(np.argmin(np.sum(away**2 / spread, axis=1)))
    theta, precision = field.mixture.theta[typical], field.mixture.posterior.precision[typical]
    if not model.free[SILL]:
        return np.array([now_mm])
    sill, micro, noise = (float(np.exp(theta[which])) for which in (SILL, MICRO, NOISE))
    some = slice(None, None, max(1, len(layout.nodes.xy_m) // _LATTICE))
    xy, trend = layout.nodes.xy_m[some], layout.nodes.trend[some]
    usual_strength = model.trend[:, trend.shape[1] :].mean(axis=0)
    trend = np.column_stack([trend, np.tile(usual_strength, (len(xy), 1))])
    shape = field.mixture.shape(float(np.exp(theta[RANGE])))
    onto = sill * covariance_between(shape, xy, model.xy_m)
    left = trend - onto @ precision @ model.trend
    covariance = sill * covariance_between(shape, xy, xy) - onto @ precision @ onto.T
    covariance += left @ field.mixture.posterior.beta_cov[typical] @ left.T
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
