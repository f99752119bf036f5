"""How well sites will tell the depth of the pan before any is probed: kriging variance under a usual covariance."""

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat import EFFECTIVE_RANGE, Covariance, Family, Structure, condition, krige, observe
from hardpan.sites.effort import Scatter
from hardpan.sites.ground import Targets

MOST_PLACES = 400
"""Targets at which the variance is worked out; more change its mean by less than a millimetre."""

FAMILY: Family = "exponential"


def expected_sd_mm(
    targets: Targets, sites_xy: Floats, soil: Ints, *, scatter: Scatter, range_m: float, insertions: int
) -> float:
    """Root of the mean kriging variance of the pan's bottom over the targets, mm.

    Means of the soil types are estimated from the sites, those of soil types without a site are that of all; the
    variance about them is `scatter.between`, alike over `range_m`, and that of the mean of the `insertions` is added.

    Parameters
    ----------
    targets : Targets
        Ground to be known.
    sites_xy : (k, 2)
        At least one.
    soil : (k,)
        Soil type of each site.
    """
    seen = np.unique(soil)
    usual = seen[np.bincount(soil).take(seen).argmax()]

    def columns(of: Ints) -> Floats:
        known = np.where(np.isin(of, seen), of, usual)
        return np.asarray(known[:, None] == seen, dtype=np.float64)

    one = Structure(family=FAMILY, sill=scatter.between, length_m=range_m / EFFECTIVE_RANGE[FAMILY])
    error = np.full(len(sites_xy), scatter.within / insertions)
    data = observe(
        sites_xy[:, 0], sites_xy[:, 1], np.zeros(len(sites_xy)), error_variance=error, trend=columns(soil),
        constant=False,
    )  # fmt: skip
    some = np.unique(np.linspace(0, len(targets.ha) - 1, MOST_PLACES).round().astype(int))
    field = condition(data, Covariance(structures=(one,)))
    kriged = krige(field, targets.xy_m[some, 0], targets.xy_m[some, 1], trend=columns(targets.soil[some]))
    return float(np.sqrt(np.average(kriged.variance, weights=targets.ha[some])))
