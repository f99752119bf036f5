"""The cross-check of the models and the verdict on the map."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.geostat import reml_curve, residual_variogram
from hardpan.records.advice import MapVerdict
from hardpan.surfaces.beforehand import in_units
from hardpan.surfaces.domain import Domain
from hardpan.surfaces.errors import error_covariance
from hardpan.surfaces.variables import FittedField, Unread

_LATTICE = 400
"""Places at which the gain of further sites is worked out."""

_LEAST_GAIN = 0.02
"""A map that scores better by no more than this share is called no better."""

_MOST_SITES, _MOST_PER_HA, _FEW = 300, 4.0, 5
"""Further sites beyond which no one would go on probing: so many in all, so many a hectare with those that are there (a
grid of 50 m), but a few in any case."""


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


def verdict_of(
    scores: pd.DataFrame,
    fields: Mapping[str, FittedField],
    domain: Domain,
    bottom_sd_mm: Floats,
    *,
    precision_mm: float,
    unread: Unread,
) -> MapVerdict | None:
    """Whether the map of the bottom is better than plain yardsticks, and whether more probes would help.

    `bottom_sd_mm` (n_cells,) is the standard deviation of the mapped bottom. None where no pan was met.
    """
    if "bottom" not in fields:
        return None
    of = scores[(scores["variable"] == "bottom") & (scores["folds"] == "site")].set_index("method")["crps"]
    best = min(("soil-type mean", "inverse distance"), key=lambda method: float(of[method]))
    now = float(np.sqrt(np.mean(bottom_sd_mm**2)))
    variable = fields["bottom"].variable
    if not variable.exact.any():
        # bounds alone reward the forecast that lies deepest, so no map can be told from another
        unseen_mm = float(in_units(variable).low.max())
        return MapVerdict(
            yardstick=best, gain=np.nan, better=False, sd_mm=now, asked_mm=precision_mm, unseen_mm=unseen_mm
        )
    gain = 1.0 - float(of["kriging"]) / float(of[best])
    reached = precision_by_sites(fields["bottom"], domain, now, precision_mm)
    return MapVerdict(
        yardstick=best,
        gain=gain,
        better=gain > _LEAST_GAIN,
        sd_mm=now,
        asked_mm=precision_mm,
        more_sites=len(reached) - 1,
        reached_mm=float(reached[-1]),
        unread_share=unread.share if unread.is_much else 0.0,
        deepest_mm=unread.deepest_mm,
    )


def precision_by_sites(field: FittedField, domain: Domain, now_mm: float, enough_mm: float) -> Floats:
    """Standard deviation of the map (mm) over the paddock with 0, 1, 2 ... further sites of three insertions.

    It ends when `enough_mm` is reached. Each further site goes where the variance is largest; what it takes away is
    worked out with the most typical covariance parameters, and taken off the map's `now_mm` in proportion.
    """
    if not field.mixture.is_spatial:
        return np.array([now_mm])
    some = slice(None, None, max(1, len(domain.nodes.xy_m) // _LATTICE))
    error = error_covariance(field, domain.nodes.xy_m[some], domain.nodes.trend[some])
    covariance, micro = error.covariance, error.site
    own = micro + error.insertion / 3.0
    before = float(np.mean(np.diag(covariance))) + micro
    reached, most = [now_mm], most_further_sites(domain)
    while reached[-1] > enough_mm and len(reached) <= most:
        at = int(np.argmax(np.diag(covariance)))
        column = covariance[:, at]
        covariance = covariance - np.outer(column, column) / (column[at] + own)
        after = max(float(np.mean(np.diag(covariance))), 0.0) + micro
        reached.append(now_mm * np.sqrt(after / before))
    return np.array(reached)


def most_further_sites(domain: Domain) -> int:
    """Further sites that anyone would walk to."""
    dense = _MOST_PER_HA * domain.frame.cell_area_ha * int(domain.inside.sum())
    return int(np.clip(np.ceil(dense) - len(domain.sites.xy_m), _FEW, _MOST_SITES))
