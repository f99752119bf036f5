"""Weakly informative priors of covariance parameters, for values scaled to about unit variance; a choice of this tool.

Logarithm of the effective range normal about a quarter of the paddock's diagonal with standard deviation 1; standard
deviations of structure, micro-scale and noise exponential, as simpson2017 argues for, with 5 % above 1.5, 1 and 2.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.geostat.parameters import MICRO, NOISE, RANGE, SILL

PRIOR_LOG_RANGE_SD = 1.0
"""One standard deviation is a factor of 2.7 either way."""

PRIOR_RATE = {SILL: -np.log(0.05) / 1.5, MICRO: -np.log(0.05) / 1.0, NOISE: -np.log(0.05) / 2.0}
"""Rates of the exponential priors of the standard deviations."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """Log prior of range and variances, flat in the form; constants left out.

    Examples
    --------
    >>> from hardpan.geostat.parameters import isotropic
    >>> priors, theta = Priors(log_range=5.0), isotropic(np.array([[6.0, -np.inf, -np.inf, -np.inf]]))
    >>> log_density, gradient, _ = priors(theta)  # one standard deviation from its mean
    >>> log_density, gradient[:, RANGE]
    (array([-0.5]), array([-1.]))
    """

    log_range: float
    """Mean of the logarithm of the effective range (m)."""
    normal: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    """Variances whose logarithm is normal instead, with its mean and standard deviation: what repeats elsewhere say."""

    def __call__(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Log density (k,), gradient and minus the second derivatives (k, 8); parameters at -inf add nothing."""
        off = (theta[:, RANGE] - self.log_range) / PRIOR_LOG_RANGE_SD
        value, slope, information = -0.5 * off**2, np.zeros(theta.shape), np.zeros(theta.shape)
        slope[:, RANGE], information[:, RANGE] = -off / PRIOR_LOG_RANGE_SD, PRIOR_LOG_RANGE_SD**-2
        for which, (mean, spread) in self.normal.items():
            here = np.isfinite(theta[:, which])
            away = np.where(here, theta[:, which] - mean, 0.0) / spread
            value = value - 0.5 * away**2
            slope[:, which], information[:, which] = -away / spread, here / spread**2
        for which, rate in PRIOR_RATE.items():
            if which in self.normal:
                continue
            sd = np.exp(0.5 * theta[:, which])
            here = np.isfinite(theta[:, which])
            value = value + np.where(here, 0.5 * np.where(here, theta[:, which], 0.0) - rate * sd, 0.0)
            slope[:, which] = np.where(here, 0.5 - 0.5 * rate * sd, 0.0)
            information[:, which] = 0.25 * rate * sd
        return value, slope, information
