"""The kriging system of data with a trend: one Cholesky factor, used by every kind of prediction."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, cholesky, solve_triangular
from scipy.linalg.lapack import dtrtri

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.core.threads import one_blas_thread
from hardpan.geostat.covariance import Covariance, covariance_between

COINCIDENT_M = 1e-6
"""Places closer than this are one place: well above the rounding of map coordinates, well below any survey."""
_MOST = 8000
"""Data of one system: its matrix then takes 512 MB."""

_ROWS = 128
"""Rows of one block of L^-1: its share of the product is large enough to run at full speed."""


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
    noise: Floats
    """(n,) variance of each datum about the field."""
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
        The drift columns are not independent at these data, the covariance is not positive definite, or there are more
        than 8,000 data.
    """
    if len(xy_m) > _MOST:
        raise HardpanError(
            what=f"{len(xy_m)} data are too many for one kriging system",
            where="kriging",
            right=f"at most {_MOST}",
            do="krige from the nearest data instead",
        )
    site = _sites_by_place(xy_m) if site is None else np.asarray(site, dtype=np.int64)
    noise = np.full(len(xy_m), covariance.noise) + (0.0 if error_variance is None else error_variance)
    K = covariance_between(covariance, xy_m, xy_m)
    if covariance.micro:
        K += covariance.micro * (site[:, None] == site[None, :])
    K[np.diag_indices_from(K)] += noise
    with one_blas_thread():
        factor, jitter = _cholesky_with_jitter(K)
        whitened = solve_triangular(factor, drift, lower=True, check_finite=False)
        basis, triangle = np.linalg.qr(whitened)
    _refuse_dependent(triangle)
    return System(
        covariance=covariance,
        xy_m=xy_m,
        site=site,
        drift=drift,
        noise=noise,
        factor=factor,
        whitened=whitened,
        basis=basis,
        triangle=triangle,
        jitter=jitter,
    )


def _sites_by_place(xy_m: Floats) -> Ints:
    if not len(xy_m):
        return np.empty(0, dtype=np.int64)
    rounded = np.round((xy_m - xy_m.min(axis=0)) / COINCIDENT_M)
    codes: Ints = np.unique(rounded[:, 0] + 1j * rounded[:, 1], return_inverse=True)[1].astype(np.int64)
    return codes


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
    left = np.abs(np.diag(triangle))  # of each column once those before it are taken out
    if not np.all(left > 1e-10 * np.linalg.norm(triangle, axis=0)):
        raise HardpanError(
            what="trend columns are not independent at the data",
            where="kriging",
            right="columns none of which is a sum of the others",
            do="leave out a soil type without data or one of two equal covariates",
        )


def solve_weights(system: System, values: Floats) -> tuple[Floats, Floats]:
    """Give trend coefficients (p, ...) and dual weights K^-1 (values - drift @ beta) of shape (n, ...)."""
    with one_blas_thread():
        white = solve_triangular(system.factor, values, lower=True, check_finite=False)
        beta = solve_triangular(system.triangle, system.basis.T @ white, check_finite=False)
        residual = white - system.whitened @ beta
        return beta, solve_triangular(system.factor, residual, lower=True, trans=1, check_finite=False)


def invert_factor(system: System) -> Floats:
    """Give L^-1 (n, n), lower triangular."""
    with one_blas_thread():
        return _invert_lower(system.factor)


def _invert_lower(L: Floats) -> Floats:
    """Give L^-1 by halves: [A 0; B C]^-1 = [A^-1 0; -C^-1 B A^-1 C^-1], which is mostly matrix products."""
    if len(L) <= _ROWS:
        small: Floats = dtrtri(L, lower=1)[0]
        return small
    half = len(L) // 2
    inverse = np.zeros_like(L)
    inverse[:half, :half] = _invert_lower(L[:half, :half])
    inverse[half:, half:] = _invert_lower(L[half:, half:])
    inverse[half:, :half] = -inverse[half:, half:] @ (L[half:, :half] @ inverse[:half, :half])
    return inverse


def whiten(factor_inverse: Floats, c: Floats) -> Floats:
    """Give L^-1 c, by products of row blocks: these use every thread, a triangular solve does not."""
    white = np.empty((len(factor_inverse), c.shape[1]))
    for first in range(0, len(white), _ROWS):
        last = first + _ROWS
        np.matmul(factor_inverse[first:last, :last], c[:last], out=white[first:last])
    return white
