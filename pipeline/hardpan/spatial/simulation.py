"""Conditional draws of the field, joint over the nodes."""

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from hardpan.core.arrays import Floats
from hardpan.spatial.covariance import covariance_between
from hardpan.spatial.support import covariance_with_data
from hardpan.spatial.system import System, solve_weights


def draw_conditional(  # noqa: PLR0917
    system: System, values: Floats, targets_xy: Floats, target_drift: Floats, n_draws: int, seed: int
) -> Floats:
    """Give draws (n_draws, k) of the field at k points, given the data; trend uncertainty included.

    `values` (n,), or (n, r) with r = n_draws: each draw then goes with its own values.
    """
    beta, weights = solve_weights(system, values)
    c = covariance_with_data(system, targets_xy, None)
    mean = target_drift @ beta + c.T @ weights
    u = solve_triangular(system.factor, c, lower=True, check_finite=False)
    trend = solve_triangular(system.triangle, target_drift.T - system.whitened.T @ u, trans=1, check_finite=False)
    spread = covariance_between(system.covariance, targets_xy, targets_xy) - u.T @ u + trend.T @ trend
    diagonal = np.diag_indices_from(spread)
    spread[diagonal] += system.covariance.micro + 1e-10 * max(float(spread[diagonal].mean()), 1e-300)
    normal = np.random.default_rng(seed).standard_normal((len(targets_xy), n_draws))
    draws: Floats = (mean.reshape(len(targets_xy), -1) + cholesky(spread, lower=True) @ normal).T
    return draws
