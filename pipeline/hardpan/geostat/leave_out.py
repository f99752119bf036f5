"""Every site predicted without its own observations, exactly and without refitting."""

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat.mixture import Mixture

_LOST = 1e-10
"""Below this share of its precision where the trend is known a datum carries the trend by itself, up to rounding."""


def leave_out_sites(mixture: Mixture, folds: Ints) -> tuple[Floats, Floats]:
    """Leave-one-out (or leave-a-fold-out) mean and variance of the field, shape (n,), exact and without refitting.

    Every site is predicted without the observations of its whole fold. The covariance parameters and the factors of the
    other observations stay. NaN where the rest leaves the trend open.

    Parameters
    ----------
    folds : Ints
        (n,) fold of each site.

    Notes
    -----
    From the inverse of the kriging matrix [dubrule1983]: with Q = W - W X G X'W, z = N / T the sites' values (see
    `hardpan.geostat.censored`) and F the fold's sites with observations, the field there without them has mean
    z_F - Q_FF^-1 (Q z)_F and covariance Q_FF^-1 - T_F^-1.

    Examples
    --------
    Without structure every value is forecast by the mean of the others:

    >>> from hardpan import geostat
    >>> data = geostat.observe([0.0, 1.0, 2.0], [0.0, 0.0, 0.0], [1.0, 2.0, 6.0])
    >>> field = geostat.condition(data, geostat.Covariance(structures=(), noise=1.0))
    >>> geostat.leave_out(field).mean.round(6)
    array([4. , 3.5, 1.5])
    """
    found, trend = mixture.posterior, mixture.trend
    n = len(mixture.xy_m)
    precision, total = (mixture.observations.sum_by_site(factors, n) for factors in (found.tau, found.nu))
    wx = found.precision @ trend
    q = found.precision - (wx @ found.beta_cov) @ wx.swapaxes(1, 2)
    means, variances = found.mean.copy(), found.variance.copy()
    seen = precision[0] > 0
    size = np.bincount(folds)[folds]
    single = np.flatnonzero(seen & (size == 1))
    own, known = q[:, single, single], found.precision[:, single, single]
    own = np.where(own > _LOST * known, own, np.nan)
    means[:, single] = total[:, single] / precision[:, single] - found.weights[:, single] / own
    variances[:, single] = 1.0 / own - 1.0 / precision[:, single]
    for fold in np.unique(folds[seen & (size > 1)]):
        out = np.flatnonzero(folds == fold)
        means[:, out], variances[:, out] = _without(mixture, q, out, precision, total)
    return mixture.pool(means, variances)


def _without(mixture: Mixture, q: Floats, out: Ints, precision: Floats, total: Floats) -> tuple[Floats, Floats]:
    """Mean and variance (k, len(out)) at the sites of one fold without its observations."""
    found, seen = mixture.posterior, precision[0, out] > 0
    with_data, bare = out[seen], out[~seen]
    scale = np.sqrt(found.precision[:, with_data, with_data])
    both = scale[:, :, None] * scale[:, None, :]
    eigenvalues, vectors = np.linalg.eigh(q[:, with_data[:, None], with_data] / both)
    means, variances = np.full((len(q), len(out)), np.nan), np.full((len(q), len(out)), np.nan)
    if eigenvalues.min() <= _LOST:
        return means, variances
    inverse = (vectors / eigenvalues[:, None, :]) @ vectors.swapaxes(1, 2) / both
    error = np.einsum("kij,kj->ki", inverse, found.weights[:, with_data])
    means[:, seen] = total[:, with_data] / precision[:, with_data] - error
    variances[:, seen] = np.diagonal(inverse, axis1=1, axis2=2) - 1.0 / precision[:, with_data]
    if len(bare):  # S T = K W + (X - K W X) G X'W carries to sites without observations what the others lose
        k = mixture.site_covariances()
        wx = found.precision @ mixture.trend
        onto = (k @ found.precision + (mixture.trend - k @ wx) @ found.beta_cov @ wx.swapaxes(1, 2))[:, bare]
        onto = onto[:, :, with_data]
        means[:, ~seen] = found.mean[:, bare] - np.einsum("kij,kj->ki", onto, error)
        variances[:, ~seen] = found.variance[:, bare] + np.einsum("kij,kjl,kil->ki", onto, inverse, onto)
    return means, variances
