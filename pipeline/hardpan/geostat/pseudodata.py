"""Gaussian pseudo-data for intervals at more sites than one system can hold, patch by patch.

The sites are cut along a curve that fills the plane, and every patch is conditioned together with the sites nearest to
it, as `hardpan.geostat.censored` does for all at once: what lies behind these is screened. Only the factors of the
patch's own observations are kept.
"""

import numpy as np
from scipy.spatial import cKDTree

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat.censored import gaussian_posterior
from hardpan.geostat.covariance import Covariance, covariance_between
from hardpan.geostat.observations import Observations

_PATCH, _RIM = 200, 24
"""Sites of a patch, and neighbours of each that are looked at with it."""

_BITS = 16


def morton_order(xy_m: Floats) -> Ints:
    """Order (n,) along a space-filling curve: neighbours in it are near in the plane (bits of x and y by turns).

    Examples
    --------
    >>> morton_order(np.array([[0.0, 0.0], [9.0, 9.0], [1.0, 0.0], [9.0, 8.0]]))
    array([0, 2, 3, 1])
    """
    low, span = xy_m.min(axis=0), max(float(np.ptp(xy_m, axis=0).max()), 1e-9)
    cell = ((xy_m - low) / span * (2**_BITS - 1)).astype(np.int64)
    code = np.zeros(len(xy_m), dtype=np.int64)
    for bit in range(_BITS):
        code |= ((cell[:, 0] >> bit) & 1) << (2 * bit) | ((cell[:, 1] >> bit) & 1) << (2 * bit + 1)
    return np.lexsort((xy_m[:, 1], xy_m[:, 0], code))


def gaussian_pseudodata(covariance: Covariance, xy_m: Floats, observations: Observations) -> tuple[Floats, Floats]:
    """Precision, and precision times mean, of a Gaussian datum at each site that says what its observations say.

    Shapes (n,); 0 where a site has none.

    Parameters
    ----------
    covariance : Covariance
        Of the field about its trend, and of one observation's noise.
    xy_m : Floats
        (n, 2) sites.
    observations : Observations
        About the trend; their field has an unknown mean.
    """
    tau = 1.0 / observations.variance(covariance.noise)
    nu = np.where(observations.exact, tau * observations.low, 0.0)
    if not observations.exact.all():
        tree, order = cKDTree(xy_m), morton_order(xy_m)
        for patch in np.array_split(order, -(-len(xy_m) // _PATCH)):
            own = np.isin(observations.site, patch)
            if not observations.exact[own].all():
                tau[own], nu[own] = _fit_patch(covariance, xy_m, observations, patch=patch, tree=tree, own=own)
    precision, total = observations.sum_by_site(np.stack([tau, nu]), len(xy_m))
    return precision, total


def _fit_patch(
    covariance: Covariance, xy_m: Floats, observations: Observations, *, patch: Ints, tree: cKDTree, own: Bools
) -> tuple[Floats, Floats]:
    """Factors of the patch's own observations."""
    # a few neighbours of each site of the patch: together a rim round it
    sites = np.union1d(patch, tree.query(xy_m[patch], k=[*range(1, min(_RIM, len(xy_m)) + 1)])[1])
    part, used = observations.at_sites(np.isin(np.arange(len(xy_m)), sites))
    k = covariance_between(covariance, xy_m[sites], xy_m[sites])
    k[np.diag_indices_from(k)] += covariance.micro
    noise, mean = np.array([covariance.noise]), np.ones((len(sites), 1))
    found = gaussian_posterior(k[None], noise, part, trend=mean, trend_precision=np.zeros(1))
    keep = own[used]
    return found.tau[0, keep], found.nu[0, keep]
