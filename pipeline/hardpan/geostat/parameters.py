"""The parameters of a fitted covariance: what each of the eight numbers means, and how the covariance moves with it.

Logarithms of effective range, sill, micro-scale variance and noise variance come first. Two more bend distances
(geometric anisotropy): h^2 = d' exp(Q) d with Q = [[along, aslant], [aslant, -along]], so that 0, 0 is isotropic, the
range is the geometric mean over all directions, and nothing is singular where the two axes are alike. The last two
share out the sill between the structure with that range and a shorter one of the same family (nested): logit of the
shorter one's share, logarithm of its range over the longer.
"""

from dataclasses import replace
from typing import get_args

import numpy as np
from scipy.optimize import brentq
from scipy.spatial.distance import cdist
from scipy.special import expit

from hardpan.core.arrays import Bools, Floats
from hardpan.geostat.covariance import Covariance, Family, Structure, correlation, covariance_between, scaling

RANGE, SILL, MICRO, NOISE, ALONG, ASLANT, SHARE, STRETCH = range(8)
"""Order of the parameters; those before `ALONG` say how large, the others which form."""

N = 8

ISOTROPIC = np.array([0.0, 0.0, -np.inf, 0.0])
"""The form of one structure, the same in every direction."""

_SHAPING = [RANGE, ALONG, ASLANT, SHARE, STRETCH]
"""All that the correlation between two places hangs on."""

FAMILIES: tuple[Family, ...] = get_args(Family)

_LOG_VARIANCE = (np.log(1e-4), np.log(30.0))
"""Bounds of the variances, for values of about unit variance: from nothing visible to far beyond the data's spread."""

_FORM = ((-1.6, 1.6), (-1.6, 1.6), (-3.0, 3.0), (np.log(0.05), np.log(0.7)))
"""Bounds of the form: axes up to 5 : 1 (10 : 1 aslant), a share of 5 to 95 %, ranges between 1 : 20 and 1 : 1.4."""


def _effective(family: Family) -> float:
    """Give the effective range over the model length: where correlation is 5 %, or the range of a spherical."""
    if family == "spherical":
        return 1.0
    return float(brentq(lambda r: float(correlation(family, np.array([r]))[0]) - 0.05, 0.1, 20.0))


EFFECTIVE: dict[Family, float] = {family: _effective(family) for family in FAMILIES}
"""Effective range in model lengths."""


def plain(theta: Floats) -> Floats:
    """Give parameters (..., 8) of isotropic single structures from their first four (..., 4)."""
    return np.concatenate([theta, np.broadcast_to(ISOTROPIC, theta.shape)], axis=-1)


def parameter_bounds(range_m: tuple[float, float]) -> Floats:
    """Give the bounds (8, 2) of the parameters for ranges between the two given."""
    return np.array([np.log(range_m), _LOG_VARIANCE, _LOG_VARIANCE, _LOG_VARIANCE, *_FORM])


def correlation_of(family: Family, theta: Floats) -> Covariance:
    """Give the structures that a row (8,) of parameters stands for, with a sill of 1 together."""
    bend = float(np.hypot(theta[ALONG], theta[ASLANT]))
    heading = -0.5 * np.degrees(np.arctan2(theta[ASLANT], theta[ALONG])) % 180.0 if bend else 0.0
    length_m = float(np.exp(theta[RANGE] + 0.5 * bend)) / EFFECTIVE[family]
    share = float(expit(theta[SHARE]))
    parts = ((1.0 - share, 1.0), (share, float(np.exp(theta[STRETCH]))))
    return Covariance(
        structures=tuple(
            Structure(
                family=family,
                sill=sill,
                length_m=stretch * length_m,
                ratio=float(np.exp(-bend)),
                heading_deg=float(heading),
            )
            for sill, stretch in parts
            if sill > 0
        )
    )


def covariance_of(family: Family, theta: Floats) -> Covariance:
    """Give the covariance that a row (8,) of parameters stands for."""
    sill, micro, noise = (float(np.exp(theta[which])) for which in (SILL, MICRO, NOISE))
    parts = correlation_of(family, theta).structures
    return Covariance(
        structures=tuple(replace(part, sill=sill * part.sill) for part in parts if sill > 0), micro=micro, noise=noise
    )


def field_covariance(family: Family, xy_m: Floats, theta: Floats) -> Floats:
    """Give the covariance (k, n, n) of the field between sites for parameters (k, 8)."""
    k = np.empty((len(theta), len(xy_m), len(xy_m)))
    _, first, which = np.unique(theta[:, _SHAPING], axis=0, return_index=True, return_inverse=True)
    for form, row in enumerate(first):
        shape = covariance_between(correlation_of(family, theta[row]), xy_m, xy_m)
        for of in np.flatnonzero(which.ravel() == form):
            np.multiply(shape, np.exp(theta[of, SILL]), out=k[of])
    sites = np.arange(len(xy_m))
    k[:, sites, sites] += np.exp(theta[:, MICRO])[:, None]
    return k


def correlation_slopes(family: Family, xy_m: Floats, theta: Floats, free: Bools) -> dict[int, Floats]:
    """Give the derivatives (n, n) of the structures' covariance, over the sill, by the sill and what shapes them.

    That by the logarithm of the sill is the correlation itself. Those by form are given where `free` (8,).
    """
    apart_m = xy_m - xy_m[0]  # small numbers keep the digits of map coordinates
    slopes, shapes = [], []
    for structure in correlation_of(family, theta).structures:
        scaled = apart_m @ scaling(structure)
        r = cdist(scaled, scaled)
        shapes.append(correlation(family, r.copy()))
        slopes.append(correlation_slope(family, r, shapes[-1]))
    by: dict[int, Floats] = {SILL: shapes[0], RANGE: slopes[0]}
    if len(slopes) == 2:
        share = float(expit(theta[SHARE]))
        by[SILL] = (1.0 - share) * shapes[0] + share * shapes[1]
        by[RANGE] = (1.0 - share) * slopes[0] + share * slopes[1]
        by[SHARE] = share * (1.0 - share) * (shapes[1] - shapes[0])
        by[STRETCH] = share * slopes[1]
    if free[ALONG] or free[ASLANT]:
        by |= _bending(apart_m, theta[[ALONG, ASLANT]], by[RANGE])
    return by


def _bending(apart_m: Floats, bend: Floats, by_range: Floats) -> dict[int, Floats]:
    """Give the derivatives by the bend of distances: d rho / dq = -(d rho / d log range) (dh^2 / dq) / 2 h^2."""
    size = float(np.hypot(*bend))
    even, odd = np.cosh(size), np.sinh(size) / size if size > 1e-6 else 1.0
    turn = (even - odd) / size**2 if size > 1e-3 else 1.0 / 3.0
    x, y = (np.subtract.outer(axis, axis) for axis in apart_m.T)
    plain_square, squares = x * x + y * y, (x * x - y * y, 2.0 * x * y)
    lean = bend[0] * squares[0] + bend[1] * squares[1]
    bent_square = np.maximum(even * plain_square + odd * lean, 1e-300)
    by = {}
    for which, q, own in zip((ALONG, ASLANT), bend, squares, strict=True):
        moved = q * (odd * plain_square + turn * lean) + odd * own
        by[which] = -0.5 * by_range * moved / bent_square
    return by


def correlation_slope(family: Family, r: Floats, rho: Floats) -> Floats:
    """Give the derivative of the correlation `rho` at scaled distance r by the logarithm of the length: -r rho'(r)."""
    if family == "exponential":
        return r * rho
    if family == "spherical":
        return np.where(r < 1.0, 1.5 * r * (1.0 - r * r), 0.0)
    if family == "matern32":
        y: Floats = np.sqrt(3.0) * r
        return np.asarray(y * y / (1.0 + y) * rho)
    y = np.sqrt(5.0) * r
    return np.asarray(y * y * (1.0 + y) / (3.0 + y * (3.0 + y)) * rho)
