"""Exact leave-one-out and leave-a-group-out from one factorisation."""

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.spatial.system import System, invert_factor


def leave_one_out(system: System, values: Floats, groups: Ints | None = None) -> tuple[Floats, Floats]:
    """Give mean and variance (n,) of every datum predicted without it, or without its whole group.

    Exact, from the inverse of the kriging matrix [dubrule1983]: with Q = K^-1 - K^-1 X (X'K^-1 X)^-1 X'K^-1 and F the
    group left out, the errors are Q_FF^-1 (Q z)_F and their covariance is Q_FF^-1. The variance is that of the datum,
    its own noise included. NaN where the trend cannot be found without the group.
    """
    root = invert_factor(system)
    inverse = root.T @ root
    half = root.T @ system.basis
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
