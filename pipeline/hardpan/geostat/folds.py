"""Exact leave-one-out and leave-a-group-out from one factorisation."""

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.core.threads import one_blas_thread
from hardpan.geostat.system import System, invert_factor

_LOST = 1e-10
"""Below this share of its precision in K^-1 alone a datum carries the trend by itself, up to rounding."""


def leave_one_out(system: System, values: Floats, groups: Ints | None = None) -> tuple[Floats, Floats]:
    """Give mean and variance (n,) of every datum predicted without it, or without its whole group.

    Exact, from the inverse of the kriging matrix [dubrule1983]: with Q = K^-1 - K^-1 X (X'K^-1 X)^-1 X'K^-1 and F the
    group left out, the errors are Q_FF^-1 (Q z)_F and their covariance is Q_FF^-1. The variance is that of the datum,
    its own noise included. NaN where the trend cannot be found without the group.

    Parameters
    ----------
    system : System
        From `factorise`.
    values : Floats
        (n,); no missing values.
    groups : Ints, optional
        (n,) codes, e.g. of sites or spatial blocks; every datum by itself when left out.
    """
    with one_blas_thread():
        if groups is None or len(np.unique(groups)) == len(groups):
            return _leave_single(system, values)
        return _leave_groups(system, values, groups)


def _precisions(system: System) -> tuple[Floats, Floats, Floats]:
    """Give L^-1, L^-T Q_A (n, p), and the root of K^-1's diagonal: what a datum says where the trend is known."""
    root = invert_factor(system)
    return root, root.T @ system.basis, np.sqrt(np.einsum("ij,ij->j", root, root))


def _leave_single(system: System, values: Floats) -> tuple[Floats, Floats]:
    root, half, scale = _precisions(system)
    precision = scale**2 - np.einsum("ij,ij->i", half, half)
    precision = np.where(precision > _LOST * scale**2, precision, np.nan)
    errors = root.T @ (root @ values) - half @ (half.T @ values)
    return values - errors / precision, 1.0 / precision


def _leave_groups(system: System, values: Floats, groups: Ints) -> tuple[Floats, Floats]:
    root, half, scale = _precisions(system)
    Q = root.T @ root - half @ half.T
    Qz = Q @ values
    mean, spread = np.full(len(values), np.nan), np.full(len(values), np.nan)
    order = np.argsort(groups, kind="stable")
    for out in np.split(order, np.flatnonzero(np.diff(groups[order])) + 1):
        both = np.outer(scale[out], scale[out])
        size, axes = np.linalg.eigh(Q[np.ix_(out, out)] / both)
        if size.min() > _LOST:
            covariance = (axes / size) @ axes.T / both
            mean[out] = values[out] - covariance @ Qz[out]
            spread[out] = np.diag(covariance)
    return mean, spread
