"""Weakly informative priors of covariance parameters, for values scaled to about unit variance; a choice of this tool.

Logarithm of the effective range normal, of the paddock about a quarter of its diagonal; standard deviations of
structure, micro-scale and noise exponential, as simpson2017 argues for, with 5 % above 1.5, 1 and 2.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.geostat.parameters import MICRO, NOISE, RANGE, SILL

PRIOR_RANGE_FACTOR = 2.72
"""One standard deviation of the range is a factor of this either way."""

PRIOR_HIGH: Mapping[int, float] = {SILL: 1.5, MICRO: 1.0, NOISE: 2.0}
"""Standard deviations that are exceeded with a probability of 5 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """Log prior of range and variances, flat in the form; constants left out.

    Examples
    --------
    >>> from hardpan.geostat.parameters import isotropic
    >>> priors = Priors(log_range=5.0, range_factor=np.e)
    >>> theta = isotropic(np.array([[6.0, -np.inf, -np.inf, -np.inf]]))
    >>> log_density, gradient, _ = priors(theta)  # one standard deviation from its mean
    >>> log_density, gradient[:, RANGE]
    (array([-0.5]), array([-1.]))
    """

    log_range: float
    """Mean of the logarithm of the effective range (m)."""
    range_factor: float = PRIOR_RANGE_FACTOR
    """Factor of one standard deviation about it."""
    high: Mapping[int, float] = field(default_factory=lambda: PRIOR_HIGH)
    """Standard deviations that are exceeded with a probability of 5 %, by variance."""
    normal: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    """Variances whose logarithm is normal instead, with its mean and standard deviation: what repeats elsewhere say."""

    def __call__(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Log density (k,), gradient and minus the second derivatives (k, 8); parameters at -inf add nothing."""
        spread_of_range = np.log(self.range_factor)
        off = (theta[:, RANGE] - self.log_range) / spread_of_range
        value, slope, information = -0.5 * off**2, np.zeros(theta.shape), np.zeros(theta.shape)
        slope[:, RANGE], information[:, RANGE] = -off / spread_of_range, spread_of_range**-2
        for which, (mean, spread) in self.normal.items():
            here = np.isfinite(theta[:, which])
            away = np.where(here, theta[:, which] - mean, 0.0) / spread
            value = value - 0.5 * away**2
            slope[:, which], information[:, which] = -away / spread, here / spread**2
        for which, high in self.high.items():
            if which in self.normal:
                continue
            rate = -np.log(0.05) / high
            sd = np.exp(0.5 * theta[:, which])
            here = np.isfinite(theta[:, which])
            value = value + np.where(here, 0.5 * np.where(here, theta[:, which], 0.0) - rate * sd, 0.0)
            slope[:, which] = np.where(here, 0.5 - 0.5 * rate * sd, 0.0)
            information[:, which] = 0.25 * rate * sd
        return value, slope, information
