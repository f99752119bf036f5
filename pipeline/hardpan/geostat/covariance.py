"""Stationary covariance in the plane, at points and averaged over square blocks.

Nested structures, site micro-scale and noise of one observation are kept apart: structures and micro-scale are the
field that is mapped, noise never is. What a prediction stands for, its support, is a point or a square block.
"""

from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats

Family = Literal["exponential", "spherical", "matern32", "matern52", "rational_quadratic"]

FAMILIES: tuple[Family, ...] = get_args(Family)

LOCAL: tuple[Family, ...] = FAMILIES[:4]
"""Families that are chosen among: far apart the correlation falls off exponentially or is none. That of the rational
quadratic falls with the square of the distance, so that it passes for a trend; it is fitted where it is asked for."""

COINCIDENT_M = 1e-6
"""Places closer than this are one place: well above the rounding of map coordinates, well below any survey."""

_QUADRATURE = 4
"""Gauss-Legendre nodes per side of a block, as in general geostatistics programs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """One spatially correlated part of a field.

    With r = h / length_m: exponential exp(-r) (Matérn of smoothness 1/2); spherical 1 - 1.5 r + 0.5 r^3 for r < 1;
    matern32 (1 + sqrt(3) r) exp(-sqrt(3) r); matern52 (1 + sqrt(5) r + 5/3 r^2) exp(-sqrt(5) r); rational_quadratic
    1 / (1 + r^2).
    """

    family: Family
    sill: float
    """Partial sill (variance)."""
    length_m: float
    """Model length along the major axis, not the effective range."""
    ratio: float = 1.0
    """Minor over major length (geometric anisotropy), in (0, 1]."""
    heading_deg: float = 0.0
    """Major axis, clockwise from north."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Covariance:
    """Sum of structures, plus micro-scale variance shared within a site, plus noise of each observation."""

    structures: tuple[Structure, ...]
    micro: float = 0.0
    """Micro-scale variance: shared by the observations of one site and by nothing else; part of the field."""
    noise: float = 0.0
    """Variance of one observation about the field (measurement and repeat)."""

    @property
    def structured_sill(self) -> float:
        """Variance of the spatially correlated parts together."""
        return float(sum(structure.sill for structure in self.structures))

    @property
    def sill(self) -> float:
        """Variance of the field at a point: structures and micro-scale, without noise."""
        return self.structured_sill + self.micro


def anisotropy_matrix(structure: Structure) -> Floats:
    """Transformation M, shape (2, 2), such that the norm of `offset @ M` is the scaled distance r = h / length."""
    heading = np.deg2rad(structure.heading_deg)
    major = np.array([np.sin(heading), np.cos(heading)])
    minor = np.array([np.cos(heading), -np.sin(heading)])
    return np.column_stack([major / structure.length_m, minor / (structure.length_m * structure.ratio)])


def correlation(family: Family, r: Floats) -> Floats:
    """Correlation rho(r) at scaled distances of any shape; `r` is overwritten.

    Examples
    --------
    >>> correlation("spherical", np.array([0.0, 0.5, 1.0, 2.0]))
    array([1.    , 0.3125, 0.    , 0.    ])
    """
    if family == "spherical":
        np.minimum(r, 1.0, out=r)
        return 1.0 - r * (1.5 - 0.5 * r * r)
    if family == "exponential":
        return np.exp(np.negative(r, out=r), out=r)
    if family == "rational_quadratic":
        return 1.0 / (1.0 + r * r)
    if family == "matern32":
        r *= np.sqrt(3.0)
        return (1.0 + r) * np.exp(-r)
    r *= np.sqrt(5.0)
    return (1.0 + r * (1.0 + r / 3.0)) * np.exp(-r)


def covariance_at(covariance: Covariance, offsets_m: Floats) -> Floats:
    """Structured covariance C(h) at offsets (..., 2), shape (...), without micro-scale and noise."""
    return covariance_between(covariance, offsets_m.reshape(-1, 2), np.zeros((1, 2))).reshape(offsets_m.shape[:-1])


def covariance_between(covariance: Covariance, a_xy: Floats, b_xy: Floats) -> Floats:
    """Structured covariance of places (n, 2) with places (m, 2), shape (n, m); no micro-scale, no noise.

    Examples
    --------
    >>> one = Covariance(structures=(Structure(family="exponential", sill=2.0, length_m=100.0),), micro=0.5)
    >>> covariance_between(one, np.array([[0.0, 0.0]]), np.array([[0.0, 0.0], [60.0, 80.0]])).round(4)
    array([[2.    , 0.7358]])
    """
    # distances are taken about one of the places so that map coordinates of millions of metres keep their digits
    origin = b_xy[0] if len(b_xy) else np.zeros(2)
    total: Floats | None = None
    for structure in covariance.structures:
        matrix = anisotropy_matrix(structure)
        part = correlation(structure.family, cdist((a_xy - origin) @ matrix, (b_xy - origin) @ matrix))
        part *= structure.sill
        total = part if total is None else total + part
    return np.zeros((len(a_xy), len(b_xy))) if total is None else total


@cache
def axis_quadrature(block_m: float | None) -> Floats:
    """Gauss-Legendre offsets (m) and weights along one side of a block, shape (2, q); one node for a point."""
    if not block_m:
        return np.array([[0.0], [1.0]])
    nodes, weights = np.polynomial.legendre.leggauss(_QUADRATURE)
    return np.array([nodes * block_m / 2, weights / 2])


@cache
def block_quadrature(block_m: float | None) -> tuple[Floats, Floats]:
    """Gauss-Legendre offsets (q, 2) in m and weights (q,) of a square block of side `block_m`; one node for a point."""
    along, weights = axis_quadrature(block_m)
    x, y = np.meshgrid(along, along)
    return np.column_stack([x.ravel(), y.ravel()]), np.outer(weights, weights).ravel()


def block_variance(covariance: Covariance, block_m: float | None) -> float:
    """Structured variance of the field over its support: the sill at a point, C(B, B) of a block B.

    Examples
    --------
    >>> one = Covariance(structures=(Structure(family="spherical", sill=1.0, length_m=50.0),))
    >>> block_variance(one, None), block_variance(one, 20.0) < 1.0
    (1.0, True)
    """
    offsets, weights = block_quadrature(block_m)
    return float(weights @ covariance_between(covariance, offsets, offsets) @ weights)


def block_covariance(covariance: Covariance, xy_m: Floats, blocks_xy: Floats, block_m: float | None) -> Floats:
    """Structured covariance C(x, B) of places (n, 2) with points or blocks (m, 2), shape (n, m)."""
    if not block_m:
        return covariance_between(covariance, xy_m, blocks_xy)
    c = np.zeros((len(xy_m), len(blocks_xy)))
    for offset, weight in zip(*block_quadrature(block_m), strict=True):
        c += weight * covariance_between(covariance, xy_m, blocks_xy + offset)
    return c
