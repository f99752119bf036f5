"""Kriging of places one by one, exactly: points or blocks, any number of right-hand sides."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from hardpan.core.arrays import Floats
from hardpan.core.progress import Progress, silent
from hardpan.core.threads import run_tiles
from hardpan.geostat.support import covariance_with_data, support_variance
from hardpan.geostat.system import System, invert_factor, solve_weights, whiten

_TILE = 512
"""Targets solved at once: their right-hand sides for 500 data fill about 2 MB, the usual second-level cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """Kriged field."""

    mean: Floats
    """(m,) or (m, r); on a grid (ny, nx) or (ny, nx, r)."""
    variance: Floats | None
    """(m,) or (ny, nx): variance of field minus prediction, trend uncertainty included."""
    mean_error: float = 0.0
    """Bound on what the compression of far data changed in `mean`; 0 where nothing was compressed."""
    variance_error: float = 0.0
    """The same for `variance`."""


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
    factor_inverse = invert_factor(system) if variance else np.empty((0, 0))

    def solve_tile(tile: int) -> None:
        part = slice(tile * _TILE, (tile + 1) * _TILE)
        c = covariance_with_data(system, targets_xy[part], block_m)
        mean[part] += c.T @ weights
        if spread is not None:
            spread[part] = kriging_variance(system, factor_inverse, c, target_drift[part], prior)

    run_tiles(solve_tile, -(-len(targets_xy) // _TILE), threads=threads, progress=progress)
    return Prediction(mean=mean, variance=spread)


def kriging_variance(system: System, factor_inverse: Floats, c: Floats, target_drift: Floats, prior: float) -> Floats:
    """Give the variance (m,) from covariances (n, m) with the data."""
    u = whiten(factor_inverse, c)
    trend = solve_triangular(system.triangle, target_drift.T - system.whitened.T @ u, trans=1, check_finite=False)
    spread: Floats = np.maximum(prior - np.einsum("ij,ij->j", u, u) + np.einsum("ij,ij->j", trend, trend), 0.0)
    return spread
