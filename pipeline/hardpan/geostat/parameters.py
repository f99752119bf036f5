"""Parameters of a fitted covariance on their search scale, derivatives of the covariance by them, and their priors.

A row theta of eight numbers. First the logarithms of effective range (m), sill, micro-scale variance and noise
variance. Two components of geometric anisotropy bend distances: h^2 = d' exp(Q) d with Q = [[a, b], [b, -a]], a and b
the strength of the anisotropy times cosine and sine of twice its direction; 0, 0 is isotropic, the range is the
geometric mean over all directions, and nothing is singular where the two axes are alike. The last two share out the
sill between the structure with that range and a shorter one of the same family (nested): logit of the shorter one's
share, logarithm of its range over the longer one's.

Priors are weakly informative, for values scaled to about unit variance, a choice of this tool: logarithm of the
effective range normal, of the paddock about a quarter of its diagonal; standard deviations of structure, micro-scale
and noise exponential, as simpson2017 argues for, with 5 % above 1.5, 1 and 2.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import brentq
from scipy.spatial.distance import cdist
from scipy.special import expit

from hardpan.core.arrays import Bools, Floats
from hardpan.geostat.covariance import (
    FAMILIES,
    Covariance,
    Family,
    Structure,
    anisotropy_matrix,
    correlation,
    covariance_between,
)

RANGE, SILL, MICRO, NOISE, ANISO_COS, ANISO_SIN, SHORT_SHARE, SHORT_RATIO = range(8)
"""Order of the parameters; those before `ANISO_COS` are range and variances, the others the form."""

N_PARAMETERS = 8

ISOTROPIC = np.array([0.0, 0.0, -np.inf, 0.0])
"""Form of a single isotropic structure: the last four parameters."""

_OF_CORRELATION = [RANGE, ANISO_COS, ANISO_SIN, SHORT_SHARE, SHORT_RATIO]
"""Parameters of the correlation; the others are variances."""

_LOG_VARIANCE = (np.log(1e-4), np.log(30.0))
"""Bounds of the variances, for values of about unit variance: from nothing visible to far beyond the data's spread."""

_FORM = ((-1.6, 1.6), (-1.6, 1.6), (-3.0, 3.0), (np.log(0.05), np.log(0.7)))
"""Bounds of the form: axes up to 5 : 1 (10 : 1 on the diagonals), a share of 5 to 95 %, ranges of 1 : 20 to 1 : 1.4."""

PRIOR_RANGE_FACTOR = 2.72
"""One standard deviation of the range is a factor of this either way."""

PRIOR_HIGH: Mapping[int, float] = {SILL: 1.5, MICRO: 1.0, NOISE: 2.0}
"""Standard deviations that are exceeded with a probability of 5 %."""


def _effective_range(family: Family) -> float:
    """Effective range over model length: where correlation falls to 5 %, or the range of a spherical."""
    if family == "spherical":
        return 1.0
    return float(brentq(lambda r: float(correlation(family, np.array([r]))[0]) - 0.05, 0.1, 20.0))


EFFECTIVE_RANGE: dict[Family, float] = {family: _effective_range(family) for family in FAMILIES}
"""Effective range in model lengths, e.g. 3.0 for the exponential."""


def isotropic(theta: Floats) -> Floats:
    """Parameters (..., 8) of isotropic single structures, from their first four (..., 4)."""
    return np.concatenate([theta, np.broadcast_to(ISOTROPIC, theta.shape)], axis=-1)


def parameter_bounds(range_m: tuple[float, float]) -> Floats:
    """Bounds (8, 2) of the search, for effective ranges (m) between the two given."""
    return np.array([np.log(range_m), _LOG_VARIANCE, _LOG_VARIANCE, _LOG_VARIANCE, *_FORM])


def to_correlation(family: Family, theta: Floats) -> Covariance:
    """Correlation model of a row (8,) of parameters: structures whose sills sum to 1, no micro-scale, no noise."""
    strength = float(np.hypot(theta[ANISO_COS], theta[ANISO_SIN]))
    heading = -0.5 * np.degrees(np.arctan2(theta[ANISO_SIN], theta[ANISO_COS])) % 180.0 if strength else 0.0
    length_m = float(np.exp(theta[RANGE] + 0.5 * strength)) / EFFECTIVE_RANGE[family]
    share = float(expit(theta[SHORT_SHARE]))
    parts = ((1.0 - share, 1.0), (share, float(np.exp(theta[SHORT_RATIO]))))
    return Covariance(
        structures=tuple(
            Structure(
                family=family,
                sill=sill,
                length_m=stretch * length_m,
                ratio=float(np.exp(-strength)),
                heading_deg=float(heading),
            )
            for sill, stretch in parts
            if sill > 0
        )
    )


def to_covariance(family: Family, theta: Floats) -> Covariance:
    """Covariance of a row (8,) of parameters.

    Examples
    --------
    >>> theta = isotropic(np.log([299.5732, 2.0, 0.1, 0.4]))
    >>> one = to_covariance("exponential", theta)
    >>> round(one.structures[0].length_m, 3), round(one.structures[0].sill, 3), round(one.micro, 3), round(one.noise, 3)
    (100.0, 2.0, 0.1, 0.4)
    """
    sill, micro, noise = (float(np.exp(theta[which])) for which in (SILL, MICRO, NOISE))
    parts = to_correlation(family, theta).structures
    return Covariance(
        structures=tuple(replace(part, sill=sill * part.sill) for part in parts if sill > 0), micro=micro, noise=noise
    )


def site_covariances(family: Family, xy_m: Floats, theta: Floats) -> Floats:
    """Covariance of the field between n sites, micro-scale included, shape (k, n, n), for parameters (k, 8)."""
    k = np.empty((len(theta), len(xy_m), len(xy_m)))
    _, first, which = np.unique(theta[:, _OF_CORRELATION], axis=0, return_index=True, return_inverse=True)
    for form, row in enumerate(first):
        shape = covariance_between(to_correlation(family, theta[row]), xy_m, xy_m)
        for of in np.flatnonzero(which.ravel() == form):
            np.multiply(shape, np.exp(theta[of, SILL]), out=k[of])
    sites = np.arange(len(xy_m))
    k[:, sites, sites] += np.exp(theta[:, MICRO])[:, None]
    return k


def correlation_derivatives(family: Family, xy_m: Floats, theta: Floats, free: Bools) -> dict[int, Floats]:
    """Derivatives (n, n) of the structured covariance over the sill, by parameter, at a row `theta` (8,).

    That by the logarithm of the sill is the correlation itself. Those by anisotropy come only where `free` (8,).
    """
    apart_m = xy_m - xy_m[0]  # small numbers keep the digits of map coordinates
    slopes, correlations = [], []
    for structure in to_correlation(family, theta).structures:
        scaled = apart_m @ anisotropy_matrix(structure)
        r = cdist(scaled, scaled)
        correlations.append(correlation(family, r.copy()))
        slopes.append(log_length_derivative(family, r, correlations[-1]))
    by: dict[int, Floats] = {SILL: correlations[0], RANGE: slopes[0]}
    if len(slopes) == 2:
        share = float(expit(theta[SHORT_SHARE]))
        by[SILL] = (1.0 - share) * correlations[0] + share * correlations[1]
        by[RANGE] = (1.0 - share) * slopes[0] + share * slopes[1]
        by[SHORT_SHARE] = share * (1.0 - share) * (correlations[1] - correlations[0])
        by[SHORT_RATIO] = share * slopes[1]
    if free[ANISO_COS] or free[ANISO_SIN]:
        by |= _anisotropy_derivatives(apart_m, theta[[ANISO_COS, ANISO_SIN]], by[RANGE])
    return by


def _anisotropy_derivatives(apart_m: Floats, components: Floats, by_range: Floats) -> dict[int, Floats]:
    """Derivatives by a and b of Q: d rho / dq = -(d rho / d log range) (dh^2 / dq) / 2 h^2."""
    size = float(np.hypot(*components))
    cosh, sinhc = np.cosh(size), np.sinh(size) / size if size > 1e-6 else 1.0
    curved = (cosh - sinhc) / size**2 if size > 1e-3 else 1.0 / 3.0
    x, y = (np.subtract.outer(axis, axis) for axis in apart_m.T)
    isotropic_square, squares = x * x + y * y, (x * x - y * y, 2.0 * x * y)
    lean = components[0] * squares[0] + components[1] * squares[1]
    square = np.maximum(cosh * isotropic_square + sinhc * lean, 1e-300)
    by = {}
    for which, q, own in zip((ANISO_COS, ANISO_SIN), components, squares, strict=True):
        moved = q * (sinhc * isotropic_square + curved * lean) + sinhc * own
        by[which] = -0.5 * by_range * moved / square
    return by


def log_length_derivative(family: Family, r: Floats, rho: Floats) -> Floats:
    """Derivative of the correlation `rho` at scaled distance r by the logarithm of the length: -r rho'(r)."""
    if family == "exponential":
        return r * rho
    if family == "spherical":
        return np.where(r < 1.0, 1.5 * r * (1.0 - r * r), 0.0)
    if family == "matern32":
        y: Floats = np.sqrt(3.0) * r
        return np.asarray(y * y / (1.0 + y) * rho)
    if family == "rational_quadratic":
        return np.asarray(2.0 * (r * rho) ** 2)
    y = np.sqrt(5.0) * r
    return np.asarray(y * y * (1.0 + y) / (3.0 + y * (3.0 + y)) * rho)


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
