"""Every site predicted without its own readings, exactly and without refitting."""

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat.mixture import Mixture
from hardpan.geostat.parameters import field_covariance

_OPEN = 1e11
"""Condition of I - S T beyond which nothing is left that fixes a flat trend: five digits short of double precision."""


def leave_out(mixture: Mixture, folds: Ints) -> tuple[Floats, Floats]:
    """Give mean and variance (n,) of the field at every site, without the readings of the site's whole fold.

    With S the field's covariance given all readings, m its mean, and T, N precision and total of the readings' factors
    of the fold, what is left when the fold's readings are taken away is (I - S T)^-1 S and (I - S T)^-1 (m - S N). The
    covariance parameters and the factors of the other readings stay. NaN where the rest leaves the trend open.

    Parameters
    ----------
    folds : Ints
        (n,) fold of each site.
    """
    model, found = mixture.model, mixture.posterior
    k = field_covariance(model.family, model.xy_m, mixture.theta)
    precision, total = (model.readings.at_sites(factors, k.shape[-1]) for factors in (found.tau, found.nu))
    left = model.trend - k @ (found.precision @ model.trend)
    covariance = k - k @ (found.precision @ k) + left @ found.beta_cov @ left.swapaxes(1, 2)
    means, variances = np.empty(found.mean.shape), np.empty(found.mean.shape)
    for fold in np.unique(folds):
        out = np.flatnonzero(folds == fold)
        s = covariance[:, out[:, None], out]
        without = np.eye(len(out)) - s * precision[:, None, out]
        moved = found.mean[:, out] - np.einsum("kij,kj->ki", s, total[:, out])
        if np.linalg.cond(without).max() > _OPEN:
            means[:, out], variances[:, out] = np.nan, np.nan
            continue
        solved = np.linalg.solve(without, np.concatenate([s, moved[:, :, None]], axis=2))
        means[:, out] = solved[:, :, -1]
        variances[:, out] = np.diagonal(solved[:, :, :-1], axis1=1, axis2=2)
    mean = mixture.weight @ means
    return mean, mixture.weight @ (variances + means**2) - mean**2
