"""Kriging in its dual form: predictions as linear and quadratic forms in covariances and trend values of a place.

With c the covariances of a place with the n data and x its p trend values, a kriged mean is x'b + c'a and a second
moment is a quadratic form in (c, x); so are those of a mixture of covariances that share their correlation. A map is
then these forms evaluated at its cells, whatever they came from.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.geostat.covariance import (
    Covariance,
    Structure,
    anisotropy_matrix,
    block_covariance,
    block_quadrature,
    block_variance,
    correlation,
    covariance_at,
)
from hardpan.geostat.mixture import Mixture

SINGLE_FROM = 1e-5
"""Tolerance from which single precision will do: it halves the work, and its rounding is a millionth of the sill."""

_NEAR_BLOCKS = 3.0
"""Nearer than this many sides a block's mean covariance with a datum is integrated; farther it is that of its middle,
within (side / length)^2 / 24."""

_ROWS = 128
"""Columns of one block of a triangular product: wide enough to run at full speed."""

Solve = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""Mean and second moment (m,) at places (m, 2) with trend values (m, p), nothing compressed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DualForm:
    """Mean c'linear + x'trend, and second moment constant + c'quadratic c + 2 x'cross c + x'square x."""

    covariance: Covariance
    """Whose c is: structures only."""
    xy_m: Floats
    """(n, 2) data."""
    linear: Floats
    """(n,)."""
    trend: Floats
    """(p,)."""
    quadratic: Floats
    """(n, n), symmetric."""
    cross: Floats
    """(p, n)."""
    square: Floats
    """(p, p)."""
    constant: float
    norm: float
    """Bound on the largest absolute eigenvalue of what the variance is quadratic in."""
    condition: float
    """Bound on the condition number of the data's covariance."""


def dual_forms(mixture: Mixture, block_m: float | None, *, with_micro: bool) -> list[DualForm]:
    """Mean and second moment of a mixture's field as dual forms, one for each correlation: they add up.

    Parameters
    ----------
    mixture : Mixture
        The field given its observations.
    block_m : float | None
        Side of the blocks the field is averaged over; points when left out.
    with_micro : bool
        Whether the variance holds that of the micro-scale.

    Examples
    --------
    One datum of 2 with noise 1 of a field of variance 1 and known mean 0: mean c 2 / 2, variance 1 - c^2 / 2.

    >>> from hardpan import geostat
    >>> one = geostat.Structure(family="exponential", sill=1.0, length_m=10.0)
    >>> seen = geostat.Observations(site=np.zeros(1, int), low=np.full(1, 2.0), high=np.full(1, 2.0), error=np.zeros(1))
    >>> known = {"trend": np.empty((1, 0)), "trend_precision": np.empty(0)}
    >>> covariance = geostat.Covariance(structures=(one,), noise=1.0)
    >>> (form,) = dual_forms(geostat.condition_on(covariance, np.zeros((1, 2)), seen, **known), None, with_micro=True)
    >>> form.linear, form.quadratic - np.outer(form.linear, form.linear)
    (array([1.]), array([[-0.5]]))
    """
    n, found = len(mixture.xy_m), mixture.posterior
    wx = found.precision @ mixture.trend
    cross = -np.einsum("knp,kpq->knq", wx, found.beta_cov) * mixture.sill[:, None, None]
    field = (-found.precision + wx @ found.beta_cov @ wx.swapaxes(1, 2)) * (mixture.sill**2)[:, None, None]
    linear = np.concatenate([found.weights * mixture.sill[:, None], found.beta], axis=1)
    quadratic = np.concatenate(
        [np.concatenate([field, cross], axis=2), np.concatenate([cross.swapaxes(1, 2), found.beta_cov], axis=2)],
        axis=1,
    )
    quadratic += linear[:, :, None] * linear[:, None, :]
    condition = _condition(mixture)
    forms = []
    for j, shape in enumerate(mixture.correlations):
        weight = np.where(mixture.which == j, mixture.weight, 0.0)
        line, square = weight @ linear, np.tensordot(weight, quadratic, axes=1)
        # one form alone: what compression does to the square of the mean it does to that of the second moment too
        bounded = np.tensordot(weight, field, axes=1) if len(mixture.weight) == 1 else square[:n, :n]
        constant = float(weight @ mixture.sill) * block_variance(shape, block_m)
        forms.append(
            DualForm(
                covariance=shape,
                xy_m=mixture.xy_m,
                linear=line[:n],
                trend=line[n:],
                quadratic=square[:n, :n],
                cross=square[n:, :n],
                square=square[n:, n:],
                constant=constant + float(weight @ mixture.micro) * with_micro,
                norm=float(np.abs(bounded).sum(axis=0).max(initial=0.0)),
                condition=condition,
            )
        )
    return forms


def _condition(mixture: Mixture) -> float:
    """Bound on the condition number of the data's covariance: trace times largest column sum of the inverse."""
    precision = mixture.observations.sum_by_site(mixture.posterior.tau, len(mixture.xy_m))
    seen = precision > 0
    noise = np.sum(np.where(seen, 1.0 / np.where(seen, precision, 1.0), 0.0), axis=1)
    trace = (mixture.sill + mixture.micro) * seen.sum(axis=1) + noise
    return float(np.max(np.abs(mixture.posterior.precision).sum(axis=1).max(axis=1, initial=0.0) * trace))


def largest_error(form: DualForm, tolerance: float) -> float:
    """Error of one covariance that changes no moment of a field of unit variance by more than `tolerance`.

    The mean changes by at most that times the sum of absolute dual weights, a variance c'Q c by about
    2 |d'Q c| <= 2 |d| |Q|^1/2 |Q^1/2 c| with the last factor near 1.
    """
    weight = float(np.abs(form.linear).sum(initial=1e-300))
    return tolerance / max(weight, 2.0 * float(np.sqrt(len(form.xy_m) * form.norm)))


def direct_solver(forms: Sequence[DualForm], block_m: float | None, tolerance: float) -> Solve:
    """Function of places and trend values that gives the forms' sum: mean and second moment.

    Parameters
    ----------
    forms : Sequence[DualForm]
        Of the same data.
    block_m : float | None
        Side of the blocks about the places; points when left out.
    tolerance : float
        From 1e-5 on in single precision, and blocks are integrated near data only.
    """
    single = tolerance >= SINGLE_FROM
    kind = np.dtype(np.float32 if single else np.float64)
    lines = [np.concatenate([form.linear, form.trend]).astype(kind)[:, None] for form in forms]
    squares = [_joined(form).astype(kind) for form in forms]
    n = len(forms[0].xy_m)

    def solve(places: Floats, trend: Floats) -> tuple[Floats, Floats]:
        with_data = _Distances(forms, places, block_m) if single else None
        u = np.empty((len(places), len(lines[0])), dtype=kind)
        u[:, n:] = trend
        mean, second = np.zeros(len(places)), np.zeros(len(places))
        for form, line, square in zip(forms, lines, squares, strict=True):
            if with_data is None:
                u[:, :n] = block_covariance(form.covariance, form.xy_m, places, block_m).T
            else:
                with_data.write_covariance(form.covariance, u[:, :n])
            mean += (u @ line)[:, 0]
            second += form.constant + _quadratic(square, u)
        return mean, second

    return solve


class _Distances:
    """Distances of places with the data, shared by covariances that differ in length only; single precision."""

    def __init__(self, forms: Sequence[DualForm], places: Floats, block_m: float | None) -> None:
        xy_m = forms[0].xy_m
        metrics = {_metric(part): part for form in forms for part in form.covariance.structures}
        self.away_m: dict[tuple[float, float], NDArray[np.float32]] = {}
        for key, part in metrics.items():
            metric = anisotropy_matrix(replace(part, length_m=1.0))
            away_m = cdist((places - xy_m[0]) @ metric, (xy_m - xy_m[0]) @ metric)
            self.away_m[key] = away_m.astype(np.float32)
        closest = np.min([*self.away_m.values()], axis=0) if self.away_m else np.empty((0, 0))
        self.near = np.nonzero(closest < _NEAR_BLOCKS * (block_m or 0.0))
        nodes, self.weights = block_quadrature(block_m)
        self.offsets_m = (places[self.near[0]] - xy_m[self.near[1]])[:, None] + nodes

    def write_covariance(self, covariance: Covariance, into: NDArray[np.float32]) -> None:
        """Write the covariance (m, n) of every place with every datum."""
        into[:] = 0.0
        for part in covariance.structures:
            r = self.away_m[_metric(part)] / np.float32(part.length_m)
            rho = correlation(part.family, r)  # type: ignore[arg-type]  # keeps its kind
            into += np.multiply(rho, np.float32(part.sill), out=r)
        into[self.near] = covariance_at(covariance, self.offsets_m) @ self.weights


def _metric(structure: Structure) -> tuple[float, float]:
    return structure.ratio, structure.heading_deg


def _joined(form: DualForm) -> Floats:
    """The quadratic form in (c, x) together, shape (n + p, n + p)."""
    above = np.concatenate([form.quadratic, form.cross.T], axis=1)
    return np.concatenate([above, np.concatenate([form.cross, form.square], axis=1)])


def _quadratic(square: NDArray[Any], u: NDArray[Any]) -> Floats:
    """Values u'Su (m,) of a symmetric form: half the products where the matrix is large."""
    size = len(square)
    if size <= 2 * _ROWS:
        return np.asarray(np.einsum("ij,ij->i", u @ square, u))
    total = np.zeros(len(u))
    for first in range(0, size, _ROWS):
        part = slice(first, first + _ROWS)
        total += np.einsum("ij,ij->i", u[:, part] @ square[part, part], u[:, part])
        if first:
            total += 2.0 * np.einsum("ij,ij->i", u[:, :first] @ square[:first, part], u[:, part])
    return total
