"""Predictions as forms: what they are in the covariances with the data and the trend values of a place.

With c the covariances of a place with n data and x its p trend values, a kriged mean is linear in c and x, and a
kriging variance is a quadratic form in them; so are mean and second moment of a mixture of models that share their
correlations. A `Forms` holds r linear and v quadratic ones, whatever they came from.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.geostat.covariance import Covariance, correlation, evaluate, scaling
from hardpan.geostat.mixture import Mixture, range_parts
from hardpan.geostat.support import block_nodes, support_variance
from hardpan.geostat.system import System

Singles: TypeAlias = NDArray[np.float32]

Solve = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""Linear forms (m, r) and quadratic ones (m, v) at places (m, 2) with trend values (m, p), without compression."""

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
    n = len(mixture.model.xy_m)
    forms = []
    for part in range_parts(mixture):
        shape = mixture.shape(part.range_m)
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
                constant=np.array([part.micro + part.sill * support_variance(shape, block_m)]),
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


def light_solver(parts: Sequence[Forms], block_m: float | None) -> Solve:
    """Give what sums the forms of all parts, at places or over blocks about them.

    The parts have the same data, and covariances that differ in size only. In single precision: that halves the work,
    and its rounding is a millionth of the sill.
    """
    xy_m = parts[0].xy_m
    metric = scaling(replace(parts[0].covariance.structures[0], length_m=1.0))
    nodes, weights = block_nodes(block_m)
    linear = [np.concatenate([part.linear, part.trend]).astype(np.float32) for part in parts]
    squares = [np.stack([_joined(part, j) for j in range(len(part.quadratic))]) for part in parts]

    def solve(places: Floats, trend: Floats) -> tuple[Floats, Floats]:
        away_m = cdist((places - xy_m[0]) @ metric, (xy_m - xy_m[0]) @ metric).astype(np.float32)
        near = np.nonzero(away_m < _NEAR_BLOCKS * (block_m or 0.0))
        offsets = (places[near[0]] - xy_m[near[1]])[:, None] + nodes
        u = np.empty((len(places), len(linear[0])), dtype=np.float32)
        u[:, len(xy_m) :] = trend
        values = np.zeros((len(places), linear[0].shape[1]))
        seconds = np.zeros((len(places), len(squares[0])))
        for part, line, square in zip(parts, linear, squares, strict=True):
            u[:, : len(xy_m)] = _correlation_at(part.covariance, away_m)
            u[near] = evaluate(part.covariance, offsets) @ weights
            values += u @ line
            for j, form in enumerate(square):
                seconds[:, j] += part.constant[j] + np.einsum("ij,ij->i", u @ form, u)
        return values, seconds

    return solve


def _joined(part: Forms, j: int) -> Singles:
    """Give one quadratic form in (c, x) together."""
    above = np.concatenate([part.quadratic[j], part.cross[j].T], axis=1)
    below = np.concatenate([part.cross[j], part.square[j]], axis=1)
    return np.concatenate([above, below]).astype(np.float32)


def _correlation_at(covariance: Covariance, away_m: Singles) -> Singles:
    """Give the covariance at distances scaled to the longer axis."""
    total = np.zeros_like(away_m)
    for part in covariance.structures:
        shape = correlation(part.family, away_m / np.float32(part.length_m))  # type: ignore[arg-type]  # keeps its kind
        total += np.float32(part.sill) * shape
    return total
