"""Effects of zones, each drawn to their mean by as much as they differ less than their errors."""

from collections.abc import Mapping

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.geostat import Effect

_SPREADS = np.linspace(0.0, 4.0, 81)
"""True spreads of the effects that are averaged over, in standard errors of one zone."""


def pool(by_zone: Mapping[int, Effect], zone_cov: Floats) -> dict[int, Effect]:
    """Effects of zones under a common mean and spread.

    The true effects are normal about a mean with a spread; both are integrated out, with a flat prior on the mean and a
    half-normal one of two standard errors on the spread, which two or three zones can hardly tell [gelman2006].

    Parameters
    ----------
    zone_cov : (zones, zones)
        Covariance of the errors of the estimates.

    Returns
    -------
    Zone to effect, with the degrees of freedom of the zone's own
    """
    estimates = np.array([effect.estimate for effect in by_zone.values()])
    scale = float(np.sqrt(np.mean(np.diag(zone_cov))))
    ones, one = np.ones(len(estimates)), np.eye(len(estimates))
    weights, means, variances = [], [], []
    for spread in _SPREADS:
        true = (spread * scale) ** 2 * one
        w = np.linalg.inv(zone_cov + true)
        known = float(ones @ w @ ones)
        middle = float(ones @ w @ estimates) / known
        off = estimates - middle
        log_weight = 0.5 * np.linalg.slogdet(w)[1] - 0.5 * np.log(known) - 0.5 * off @ w @ off - spread**2 / 8.0
        keep = true @ w  # share of its own distance from the mean that a zone keeps
        left = (one - keep) @ ones
        weights.append(log_weight)
        means.append(middle + keep @ off)
        variances.append(np.diag(true - keep @ true) + left**2 / known)
    share = np.exp(np.array(weights) - max(weights))
    share /= share.sum()
    mean = share @ np.array(means)
    variance = share @ (np.array(variances) + (np.array(means) - mean) ** 2)
    return {
        zone: Effect(estimate=float(mean[at]), se=float(np.sqrt(variance[at])), df=effect.df)
        for at, (zone, effect) in enumerate(by_zone.items())
    }
