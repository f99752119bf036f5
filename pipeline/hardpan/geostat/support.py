"""What a prediction stands for: the field at a point, or its mean over a square block."""

from functools import cache

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.geostat.covariance import Covariance, covariance_between, structured_sill, total_sill
from hardpan.geostat.system import COINCIDENT_M, System

_QUADRATURE = 4
"""Gauss-Legendre nodes per side of a block, as in general geostatistics programs."""


@cache
def axis_quadrature(block_m: float | None) -> Floats:
    """Give offsets and weights (2, q) along one side of a block; one node for a point."""
    if not block_m:
        return np.array([[0.0], [1.0]])
    nodes, weights = np.polynomial.legendre.leggauss(_QUADRATURE)
    return np.array([nodes * block_m / 2, weights / 2])


@cache
def block_nodes(block_m: float | None) -> tuple[Floats, Floats]:
    """Give quadrature offsets (q, 2) and weights (q,) of a square block; one node for a point."""
    along, weights = axis_quadrature(block_m)
    x, y = np.meshgrid(along, along)
    return np.column_stack([x.ravel(), y.ravel()]), np.outer(weights, weights).ravel()


def support_variance(covariance: Covariance, block_m: float | None) -> float:
    """Give the variance of the field over its support: structures and micro-scale at a point, C(B, B) of a block."""
    if not block_m:
        return total_sill(covariance)
    offsets, weights = block_nodes(block_m)
    return float(weights @ covariance_between(covariance, offsets, offsets) @ weights)


def covariance_with_support(covariance: Covariance, xy_m: Floats, targets_xy: Floats, block_m: float | None) -> Floats:
    """Give the structured covariance (n, m) of places with the field at points or over blocks."""
    if not block_m:
        return covariance_between(covariance, xy_m, targets_xy)
    c = np.zeros((len(xy_m), len(targets_xy)))
    for offset, weight in zip(*block_nodes(block_m), strict=True):
        c += weight * covariance_between(covariance, xy_m, targets_xy + offset)
    return c


def covariance_with_data(system: System, targets_xy: Floats, block_m: float | None) -> Floats:
    """Give the covariance (n, m) of the data with the field at points or over blocks, micro-scale included."""
    c = covariance_with_support(system.covariance, system.xy_m, targets_xy, block_m)
    if system.covariance.micro and not block_m:
        _add_micro(c, system, targets_xy)
    return c


def _add_micro(c: Floats, system: System, targets_xy: Floats) -> None:
    """Add the micro-scale where a target lies at the place of a datum, for all data of that site."""
    near = structured_sill(system.covariance) * (1 - 1e-3)
    for datum, target in zip(*np.nonzero(c >= near), strict=True):
        if np.hypot(*(system.xy_m[datum] - targets_xy[target])) <= COINCIDENT_M:
            rows = system.site == system.site[datum]
            c[rows, target] = (
                covariance_between(system.covariance, system.xy_m[rows], targets_xy[target : target + 1])[:, 0]
                + system.covariance.micro
            )
