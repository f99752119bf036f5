"""What the map does not know, jointly over places as far apart as new sites would be."""

from collections.abc import Mapping

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat import covariance_between
from hardpan.records.surfaces import ErrorCovariance, MapErrors
from hardpan.surfaces.domain import Domain
from hardpan.surfaces.variables import FittedField

MOST_PLACES = 400
"""Places over the paddock: their covariance is a matrix of 400 x 400, and 80 ha have one every 45 m."""


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
