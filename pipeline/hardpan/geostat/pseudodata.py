"""Readings of more sites than one system can hold: bounds turned into Gaussian data patch by patch.

The sites are cut along a curve that fills the plane, and every patch is conditioned together with the sites nearest to
it, as `hardpan.geostat.censored` does for all at once: what lies behind these is screened. Only the patch's own factors
are kept.
"""

import numpy as np
from scipy.spatial import cKDTree

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat.censored import Readings, condition
from hardpan.geostat.covariance import Family
from hardpan.geostat.parameters import NOISE, field_covariance

_PATCH, _RIM = 200, 24
"""Sites of a patch, and neighbours of each that are looked at with it."""

_BITS = 16


def along_curve(xy_m: Floats) -> Ints:
    """Give an order (n,) in which neighbours in the list are near in the plane: bits of x and y by turns."""
    low, span = xy_m.min(axis=0), max(float(np.ptp(xy_m, axis=0).max()), 1e-9)
    cell = ((xy_m - low) / span * (2**_BITS - 1)).astype(np.int64)
    code = np.zeros(len(xy_m), dtype=np.int64)
    for bit in range(_BITS):
        code |= ((cell[:, 0] >> bit) & 1) << (2 * bit) | ((cell[:, 1] >> bit) & 1) << (2 * bit + 1)
    return np.lexsort((xy_m[:, 1], xy_m[:, 0], code))


def gaussian_data(family: Family, xy_m: Floats, theta: Floats, readings: Readings) -> tuple[Floats, Floats]:
    """Give precision and total (n,) of Gaussian data at each site that say what its readings say; 0 where it has none.

    Parameters
    ----------
    family, theta : Family, Floats
        The covariance, (8,) parameters.
    xy_m : Floats
        (n, 2) sites.
    readings : Readings
        About the trend; their field has an unknown mean.
    """
    tau = 1.0 / (np.exp(theta[NOISE]) + readings.error)
    nu = np.where(readings.exact, tau * readings.low, 0.0)
    if not readings.exact.all():
        tree, order = cKDTree(xy_m), along_curve(xy_m)
        for patch in np.array_split(order, -(-len(xy_m) // _PATCH)):
            own = np.isin(readings.site, patch)
            if not readings.exact[own].all():
                tau[own], nu[own] = _fit_patch(family, xy_m, theta, readings, patch=patch, tree=tree, own=own)
    precision, total = readings.at_sites(np.stack([tau, nu]), len(xy_m))
    return precision, total


def _fit_patch(
    family: Family, xy_m: Floats, theta: Floats, readings: Readings, *, patch: Ints, tree: cKDTree, own: Bools
) -> tuple[Floats, Floats]:
    """Give the factors of the patch's own readings."""
    # a few neighbours of each site of the patch: together a rim round it
    sites = np.union1d(patch, tree.query(xy_m[patch], k=[*range(1, min(_RIM, len(xy_m)) + 1)])[1])
    used = np.isin(readings.site, sites)
    part = Readings(
        site=np.searchsorted(sites, readings.site[used]),
        low=readings.low[used],
        high=readings.high[used],
        error=readings.error[used],
    )
    found = condition(
        field_covariance(family, xy_m[sites], theta[None]),
        np.exp(theta[NOISE : NOISE + 1]),
        part,
        trend=np.ones((len(sites), 1)),
        slack=np.zeros(1),
    )
    keep = own[used]
    return found.tau[0, keep], found.nu[0, keep]
