"""Means over sites with intervals that know where the sites lie."""

import numpy as np
from scipy.special import stdtrit

from hardpan.core.arrays import Floats
from hardpan.geostat import EFFECTIVE_RANGE, Covariance, Family, Structure, covariance_between
from hardpan.records.after import Mean

_FAMILY: Family = "exponential"

BLOCK_POINTS = 150
"""Points that stand for a zone; more change the factor by less than 2 %."""


def site_mean(values: Floats, xy: Floats, block: Floats, *, range_m: float, micro: float, level: float) -> Mean:
    """Mean of values at sites for the whole zone, with Student's interval on n - 1 degrees of freedom.

    Parameters
    ----------
    values : (n_sites,)
        One value a site: insertions of one site are averaged before.
    xy : (n_sites, 2)
        Where the sites lie, m.
    block : (n_points, 2)
        Points spread over the zone.
    range_m : float
        Distance at which correlation has faded to 5 %; 0: none.
    micro : float
        Share of the variance that does not depend on distance.

    Notes
    -----
    With an exponential correlation R the sample mean differs from the mean of the zone by a variance of
    s2 (1'R1 / n2 - 2 mean R(site, zone) + mean R(zone, zone)), and the sample's variance is expected to be
    s2 (n - 1'R1 / n) / (n - 1): sites huddled in a corner of the zone say less of it than their own spread suggests,
    sites spread over it at least as much. The standard error is never put below that of independent sites.
    """
    n = len(values)
    mean = float(np.mean(values))
    if n < 2:
        return Mean(value=mean, low=-np.inf, high=np.inf, sites=n, sd=np.nan)
    sd = float(np.std(values, ddof=1))
    error = sd * np.sqrt(max(1.0 / n, _extension(xy, block, range_m, micro)))
    half = float(stdtrit(n - 1, (1.0 + level) / 2.0)) * error
    return Mean(value=mean, low=mean - half, high=mean + half, sites=n, sd=sd)


def _extension(xy: Floats, block: Floats, range_m: float, micro: float) -> float:
    """Variance of the mean of sites about that of the zone over the variance expected within the sample."""
    n = len(xy)
    if range_m <= 0 or not len(block):
        return 1.0 / n
    structure = Structure(family=_FAMILY, sill=1.0 - micro, length_m=range_m / EFFECTIVE_RANGE[_FAMILY])
    shape = Covariance(structures=(structure,))
    among = covariance_between(shape, xy, xy)
    np.fill_diagonal(among, 1.0)
    to_block = covariance_between(shape, xy, block).mean()
    within = covariance_between(shape, block, block).mean()
    expected = (n - among.sum() / n) / (n - 1.0)
    return float((among.sum() / n**2 - 2.0 * to_block + within) / max(expected, 1e-9))
