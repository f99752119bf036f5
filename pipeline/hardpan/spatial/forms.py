"""Predictions as forms: what they are in the covariances with the data and the trend values of a place.

With c the covariances of a place with n data and x its p trend values, a kriged mean is linear in c and x, and a
kriging variance is a quadratic form in them; so are mean and second moment of a mixture of models that share their
correlations. A `Forms` holds r linear and v quadratic ones, whatever they came from.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.spatial.covariance import Covariance, correlation, covariance_between, evaluate, scaling
from hardpan.spatial.posterior import Mixture, range_parts
from hardpan.spatial.support import block_nodes
from hardpan.spatial.system import System

_NEAR_BLOCKS = 3.0
"""Nearer than this many sides a block's mean covariance with a datum is integrated; farther it is that of its middle,
within (side / length)^2 / 24."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forms:
    """r linear forms c'linear + x'trend, and v quadratic ones constant + c'quadratic c + 2 x'cross c + x'square x."""

    covariance: Covariance
    """Whose c is: structures only."""
    xy_m: Floats
    """(n, 2) data."""
    linear: Floats
    """(n, r)."""
    trend: Floats
    """(p, r)."""
    quadratic: Floats
    """(v, n, n), symmetric."""
    cross: Floats
    """(v, p, n)."""
    square: Floats
    """(v, p, p)."""
    constant: Floats
    """(v,)."""
    norm: float
    """Bound on the largest absolute eigenvalue of any quadratic."""
    prior: float
    """Variance of the field over its support."""

    def linear_only(self) -> "Forms":
        """Give the linear forms alone."""
        none = {name: getattr(self, name)[:0] for name in ("quadratic", "cross", "square", "constant")}
        return replace(self, **none)


def kriging_forms(system: System, beta: Floats, weights: Floats, factor_inverse: Floats, prior: float) -> Forms:
    """Give kriged means and the kriging variance of a system whose L^-1 is `factor_inverse`.

    The variance is prior - c'K^-1 c + (x - X'K^-1 c)' G (x - X'K^-1 c) with G the covariance of the trend.
    """
    inverse = factor_inverse.T @ factor_inverse
    pull = factor_inverse.T @ system.whitened
    g = np.asarray(np.linalg.inv(system.triangle.T @ system.triangle), dtype=np.float64)
    norm = float(np.abs(inverse).sum(axis=0).max(initial=0.0))
    return Forms(
        covariance=system.covariance,
        xy_m=system.xy_m,
        linear=weights,
        trend=beta,
        quadratic=(pull @ g @ pull.T - inverse)[None],
        cross=-(g @ pull.T)[None],
        square=g[None],
        constant=np.array([prior]),
        norm=min(norm, 1.0 / system.covariance.noise) if system.covariance.noise > 0 else norm,
        prior=prior,
    )


def mixture_forms(mixture: Mixture, block_m: float | None) -> list[Forms]:
    """Give mean and second moment of a mixture's field, one part for each of its ranges: they add up."""
    nodes, weights = block_nodes(block_m)
    n = len(mixture.model.xy_m)
    forms = []
    for part in range_parts(mixture):
        shape = mixture.shape(part.range_m)
        within = float(weights @ covariance_between(shape, nodes, nodes) @ weights)
        field = part.quadratic[:n, :n]
        forms.append(
            Forms(
                covariance=shape,
                xy_m=mixture.model.xy_m,
                linear=part.linear[:n, None],
                trend=part.linear[n:, None],
                quadratic=field[None],
                cross=part.quadratic[None, n:, :n],
                square=part.quadratic[None, n:, n:],
                constant=np.array([part.micro + part.sill * within]),
                norm=float(np.abs(field).sum(axis=0).max(initial=0.0)),
                prior=1.0,
            )
        )
    return forms


def largest_error(forms: Forms, tolerance: float) -> float:
    """Give the error of one covariance that moves no form of a field of unit variance by more than `tolerance`.

    A linear form moves by at most that times the sum of its absolute weights, a quadratic one by about
    2 |d' Q c| <= 2 |d| |Q|^1/2 |Q^1/2 c| with the last factor near 1.
    """
    weight = float(np.abs(forms.linear).sum(axis=0).max(initial=1e-300))
    return tolerance / max(weight, 2.0 * float(np.sqrt(len(forms.xy_m) * forms.norm)))


def solve_forms(parts: Sequence[Forms], block_m: float | None, places: Floats, trend: Floats) -> tuple[Floats, Floats]:
    """Give the sums over parts of the forms (m, r) and (m, v), at places or over blocks about them.

    The parts have the same data, and covariances that differ in size only. In single precision: that halves the work,
    and its rounding is a millionth of the sill.
    """
    first = parts[0]
    metric = scaling(replace(first.covariance.structures[0], length_m=1.0))
    away_m = cdist((places - first.xy_m[0]) @ metric, (first.xy_m - first.xy_m[0]) @ metric).astype(np.float32)
    near = np.nonzero(away_m < _NEAR_BLOCKS * (block_m or 0.0))
    nodes, weights = block_nodes(block_m)
    offsets = (places[near[0]] - first.xy_m[near[1]])[:, None] + nodes
    x = trend.astype(np.float32)
    linear = np.zeros((len(places), first.linear.shape[1]))
    squares = np.zeros((len(places), len(first.quadratic)))
    for part in parts:
        c = np.zeros_like(away_m)
        for structure in part.covariance.structures:
            size, length_m = np.float32(structure.sill), np.float32(structure.length_m)
            c += size * correlation(structure.family, away_m / length_m)
        c[near] = evaluate(part.covariance, offsets) @ weights
        u = np.concatenate([c, x], axis=1)
        linear += u @ np.concatenate([part.linear, part.trend]).astype(np.float32)
        for j in range(len(part.quadratic)):
            upper = np.concatenate([part.quadratic[j], 2.0 * part.cross[j]])
            lower = np.concatenate([np.zeros((len(c.T), len(x.T))), part.square[j]])
            pulled = u @ np.concatenate([upper, lower], axis=1).astype(np.float32)
            squares[:, j] += part.constant[j] + np.einsum("ij,ij->i", pulled, u)
    return linear, squares
