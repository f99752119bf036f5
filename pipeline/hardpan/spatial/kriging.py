"""Universal kriging by one Cholesky factor: points, blocks, grids, many right-hand sides, exact leave-one-out.

The model is value = drift @ beta + structures + micro(site) + noise(insertion). What is mapped is the field: drift,
structures and micro-scale, never the noise. Micro-scale counts at a point (and is known at a site with data); over a
block it averages out, so it is neither in the block's variance nor in its covariance with the data.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import LinAlgError, cho_solve, cholesky, solve_triangular

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.core.progress import Progress, silent
from hardpan.spatial.covariance import Covariance, covariance_between, structured_sill, total_sill
from hardpan.spatial.tiles import run_tiles

COINCIDENT_M = 1e-6
"""Places closer than this are one place: well above the rounding of map coordinates, well below any survey."""

_TILE = 512
"""Targets solved at once: their right-hand sides for 500 data fill about 2 MB, the usual second-level cache."""

_QUADRATURE = 4
"""Gauss-Legendre nodes per side of a block, as in general geostatistics programs."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class System:
    """The kriging system of n data with p drift columns, factorised once."""

    covariance: Covariance
    xy_m: Floats
    """(n, 2)."""
    site: Ints
    """(n,) codes: data with one code share their micro-scale."""
    drift: Floats
    """(n, p)."""
    factor: Floats
    """(n, n) lower Cholesky factor L of the data covariance K."""
    whitened: Floats
    """(n, p) A = L^-1 X."""
    basis: Floats
    """(n, p) Q of A = Q R."""
    triangle: Floats
    """(p, p) R of A = Q R."""
    jitter: float
    """Added to the diagonal of K, 0 unless data coincide without noise."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """Kriged field."""

    mean: Floats
    """(m,) or (m, r); on a grid (ny, nx) or (ny, nx, r)."""
    variance: Floats | None
    """(m,) or (ny, nx): variance of field minus prediction, trend uncertainty included."""


def factorise(
    covariance: Covariance,
    xy_m: Floats,
    drift: Floats,
    *,
    site: Ints | None = None,
    error_variance: Floats | None = None,
) -> System:
    """Give the factorised system.

    Parameters
    ----------
    covariance : Covariance
        Of the field and of one insertion's noise.
    xy_m : Floats
        (n, 2) places.
    drift : Floats
        (n, p) trend columns; p = 0 is simple kriging with mean 0.
    site : Ints, optional
        (n,) codes of data that share their micro-scale; by default data at one place do.
    error_variance : Floats, optional
        (n,) variance added to the noise, per datum.

    Raises
    ------
    HardpanError
        The drift columns are not independent at these data, or the covariance is not positive definite.
    """
    site = _sites_by_place(xy_m) if site is None else np.asarray(site, dtype=np.int64)
    K = covariance_between(covariance, xy_m, xy_m)
    if covariance.micro:
        K += covariance.micro * (site[:, None] == site[None, :])
    K[np.diag_indices_from(K)] += covariance.noise + (0.0 if error_variance is None else error_variance)
    factor, jitter = _cholesky_with_jitter(K)
    whitened = solve_triangular(factor, drift, lower=True, check_finite=False)
    basis, triangle = np.linalg.qr(whitened)
    _refuse_dependent(triangle)
    return System(
        covariance=covariance,
        xy_m=xy_m,
        site=site,
        drift=drift,
        factor=factor,
        whitened=whitened,
        basis=basis,
        triangle=triangle,
        jitter=jitter,
    )


def _sites_by_place(xy_m: Floats) -> Ints:
    rounded = np.round((xy_m - xy_m.min(axis=0)) / COINCIDENT_M) if len(xy_m) else xy_m
    return np.unique(rounded, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)


def _cholesky_with_jitter(K: Floats) -> tuple[Floats, float]:
    """Give L and what was added to the diagonal.

    Data at one place without noise make K singular. The diagonal then gets the smallest of 1e-10, 1e-9 ... 1e-6 of
    its mean that makes every pivot clearly positive: coincident data then act as their average.
    """
    size = float(np.mean(np.diag(K))) if len(K) else 1.0
    diagonal = np.diag_indices_from(K)
    for share in (0.0, 1e-10, 1e-9, 1e-8, 1e-7, 1e-6):
        trial = K.copy()
        trial[diagonal] += share * size
        try:
            factor = cholesky(trial, lower=True, overwrite_a=True, check_finite=False)
        except LinAlgError:
            continue
        if len(K) == 0 or np.diag(factor).min() ** 2 > 1e-13 * size:
            return factor, share * size
    raise HardpanError(
        what="the covariance of the data is not positive definite",
        where="kriging",
        right="positive sills and lengths, finite coordinates",
        do="check the coordinates and the fitted covariance",
    )


def _refuse_dependent(triangle: Floats) -> None:
    pivots = np.abs(np.diag(triangle))
    if len(pivots) and not pivots.min() > 1e-10 * pivots.max():
        raise HardpanError(
            what="trend columns are not independent at the data",
            where="kriging",
            right="columns none of which is a sum of the others",
            do="leave out a soil type without data or one of two equal covariates",
        )


def solve_weights(system: System, values: Floats) -> tuple[Floats, Floats]:
    """Give trend coefficients (p, ...) and dual weights K^-1 (values - drift @ beta) of shape (n, ...)."""
    white = solve_triangular(system.factor, values, lower=True, check_finite=False)
    beta = solve_triangular(system.triangle, system.basis.T @ white, check_finite=False)
    residual = white - system.whitened @ beta
    return beta, solve_triangular(system.factor, residual, lower=True, trans=1, check_finite=False)


def block_nodes(block_m: float | None) -> tuple[Floats, Floats]:
    """Give quadrature offsets (q, 2) and weights (q,) of a square block; one node for a point."""
    if not block_m:
        return np.zeros((1, 2)), np.ones(1)
    nodes, weights = np.polynomial.legendre.leggauss(_QUADRATURE)
    x, y = np.meshgrid(nodes * block_m / 2, nodes * block_m / 2)
    return np.column_stack([x.ravel(), y.ravel()]), np.outer(weights, weights).ravel() / 4


def support_variance(covariance: Covariance, block_m: float | None) -> float:
    """Give the variance of the field over its support: structures and micro-scale at a point, C(B, B) of a block."""
    if not block_m:
        return total_sill(covariance)
    offsets, weights = block_nodes(block_m)
    return float(weights @ covariance_between(covariance, offsets, offsets) @ weights)


def covariance_with_data(system: System, targets_xy: Floats, block_m: float | None) -> Floats:
    """Give the covariance (n, m) of the data with the field at points or over blocks."""
    covariance = system.covariance
    if block_m:
        offsets, weights = block_nodes(block_m)
        c = np.zeros((len(system.xy_m), len(targets_xy)))
        for offset, weight in zip(offsets, weights, strict=True):
            c += weight * covariance_between(covariance, system.xy_m, targets_xy + offset)
        return c
    c = covariance_between(covariance, system.xy_m, targets_xy)
    if covariance.micro:
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


def predict(
    system: System,
    values: Floats,
    targets_xy: Floats,
    target_drift: Floats,
    *,
    variance: bool = True,
    block_m: float | None = None,
    threads: int = 1,
    progress: Progress = silent,
) -> Prediction:
    """Give the kriged field at m points or over m square blocks, exactly.

    Parameters
    ----------
    system : System
        From `factorise`.
    values : Floats
        (n,) or (n, r); no missing values.
    targets_xy : Floats
        (m, 2) points or block centres.
    target_drift : Floats
        (m, p) trend columns at the points, or their block means.
    variance : bool
        Also give the variance; without it the work is a factor n less.
    block_m : float, optional
        Side of the blocks; points when left out.
    threads, progress
        Tiles run in `threads` threads; the result does not depend on it.
    """
    beta, weights = solve_weights(system, values)
    mean = target_drift @ beta
    spread = np.empty(len(targets_xy)) if variance else None
    prior = support_variance(system.covariance, block_m)

    def solve_tile(tile: int) -> None:
        part = slice(tile * _TILE, (tile + 1) * _TILE)
        c = covariance_with_data(system, targets_xy[part], block_m)
        mean[part] += c.T @ weights
        if spread is not None:
            spread[part] = _variance(system, c, target_drift[part], prior)

    run_tiles(solve_tile, -(-len(targets_xy) // _TILE), threads=threads, progress=progress)
    return Prediction(mean=mean, variance=spread)


def _variance(system: System, c: Floats, target_drift: Floats, prior: float) -> Floats:
    u = solve_triangular(system.factor, c, lower=True, overwrite_b=True, check_finite=False)
    trend = solve_triangular(system.triangle, target_drift.T - system.whitened.T @ u, trans=1, check_finite=False)
    spread: Floats = np.maximum(prior - np.einsum("ij,ij->j", u, u) + np.einsum("ij,ij->j", trend, trend), 0.0)
    return spread


def predict_grid(  # noqa: PLR0917
    system: System,
    values: Floats,
    x_m: Floats,
    y_m: Floats,
    mask: Bools | None,
    drift: Floats,
    *,
    variance: bool = True,
    block_m: float | None = None,
    threads: int = 1,
    progress: Progress = silent,
) -> Prediction:
    """Give the kriged field on the cells of a regular grid, NaN where `mask` is false."""
    inside = np.ones((len(y_m), len(x_m)), dtype=bool) if mask is None else mask
    rows, columns = np.nonzero(inside)
    options: dict[str, Any] = {"variance": variance, "block_m": block_m, "threads": threads, "progress": progress}
    cells = predict(system, values, np.column_stack([x_m[columns], y_m[rows]]), drift[inside], **options)
    mean = np.full(inside.shape + values.shape[1:], np.nan)
    mean[inside] = cells.mean
    spread = np.full(inside.shape, np.nan) if variance else None
    if spread is not None and cells.variance is not None:
        spread[inside] = cells.variance
    return Prediction(mean=mean, variance=spread)


def leave_one_out(system: System, values: Floats, groups: Ints | None = None) -> tuple[Floats, Floats]:
    """Give mean and variance (n,) of every datum predicted without it, or without its whole group.

    Exact, from the inverse of the kriging matrix [dubrule1983]: with Q = K^-1 - K^-1 X (X'K^-1 X)^-1 X'K^-1 and F the
    group left out, the errors are Q_FF^-1 (Q z)_F and their covariance is Q_FF^-1. The variance is that of the datum,
    its own noise included. NaN where the trend cannot be found without the group.
    """
    inverse = cho_solve((system.factor, True), np.eye(len(values)), check_finite=False)
    half = solve_triangular(system.factor, system.basis, lower=True, trans=1, check_finite=False)
    Q = inverse - half @ half.T
    Qz = Q @ values
    if groups is None:
        groups = np.arange(len(values))
    mean, spread = np.full(len(values), np.nan), np.full(len(values), np.nan)
    for group in np.unique(groups):
        out = np.flatnonzero(groups == group)
        block = Q[np.ix_(out, out)]
        scale = np.diag(inverse)[out]
        values_, vectors = np.linalg.eigh(block / np.sqrt(np.outer(scale, scale)))
        if values_.min() < 1e-10:
            continue
        covariance = (vectors / values_) @ vectors.T / np.sqrt(np.outer(scale, scale))
        mean[out] = values[out] - covariance @ Qz[out]
        spread[out] = np.diag(covariance)
    return mean, spread
