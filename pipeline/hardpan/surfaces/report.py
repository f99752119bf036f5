"""The cross-check of the models, the verdict on the map, and its error jointly over places as far apart as sites."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat import covariance_between, reml_curve, residual_variogram
from hardpan.records.advice import MapVerdict
from hardpan.records.surfaces import ErrorCovariance, MapErrors
from hardpan.surfaces.beforehand import in_units
from hardpan.surfaces.domain import Domain
from hardpan.surfaces.variables import FittedField, Unread

_LATTICE = 400
"""Places at which the gain of further sites is worked out."""

_LEAST_GAIN = 0.02
"""A map that scores better by no more than this share is called no better."""

_MOST_SITES, _MOST_PER_HA, _FEW = 300, 4.0, 5
"""Further sites beyond which no one would go on probing: so many in all, so many a hectare with those that are there (a
grid of 50 m), but a few in any case."""

MOST_PLACES = 400
"""Places over the paddock: their covariance is a matrix of 400 x 400, and 80 ha have one every 45 m."""


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


def map_errors(fields: Mapping[str, FittedField], domain: Domain) -> MapErrors:
    """Places of a few nodes each, and the covariance of the errors of pan and bottom between them."""
    nodes = domain.nodes
    place = _squares(nodes.xy_m, nodes.soil, domain.node_m)
    count = np.bincount(place)

    def mean(values: Floats) -> Floats:
        return np.stack([np.bincount(place, weights=column) / count for column in values.T], axis=1)

    xy, trend = mean(nodes.xy_m), mean(nodes.trend)
    return MapErrors(
        place_of_node=place,
        xy_m=xy,
        covariances={
            name: error_covariance(field, xy, trend) for name, field in fields.items() if name in {"pan", "bottom"}
        },
    )


def error_covariance(field: FittedField, xy_m: Floats, trend: Floats) -> ErrorCovariance:
    """Covariance of the errors of universal kriging at places (m, 2) with trend columns (m, p).

    With the most typical covariance parameters of the mixture, in the variable's unit squared: sill C(h) less what the
    sites tell, plus what their not knowing the trend adds.
    """
    mixture, square = field.mixture, field.variable.scale**2
    away = mixture.parameters - mixture.weight @ mixture.parameters
    spread = np.maximum(mixture.weight @ away**2, 1e-12)  # none where all points share a value
    typical = int(np.argmin(np.sum(away**2 / spread, axis=1)))
    precision, shape = mixture.posterior.precision[typical], mixture.correlations[mixture.which[typical]]
    sill, micro, noise = (float(of[typical]) for of in (mixture.sill, mixture.micro, mixture.noise))
    usual_strength = mixture.trend[:, trend.shape[1] :].mean(axis=0)
    trend = np.column_stack([trend, np.tile(usual_strength, (len(xy_m), 1))])
    onto = sill * covariance_between(shape, xy_m, mixture.xy_m)
    left = trend - onto @ precision @ mixture.trend
    covariance = sill * covariance_between(shape, xy_m, xy_m) - onto @ precision @ onto.T
    covariance += left @ mixture.posterior.beta_cov[typical] @ left.T
    return ErrorCovariance(covariance=square * covariance, site=square * micro, insertion=square * noise)


def _squares(xy_m: Floats, soil: Ints, node_m: float) -> Ints:
    """Place of each node: squares of one soil type, as small as few enough are."""
    side = 1
    while True:
        key = np.column_stack([np.floor(xy_m / (side * node_m)), soil])
        place = np.unique(key, axis=0, return_inverse=True)[1].ravel()
        if place.max() < MOST_PLACES or side * node_m > np.ptp(xy_m, axis=0).max() + node_m:
            return np.asarray(place, dtype=np.int64)
        side += 1
