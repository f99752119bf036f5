"""Kriging of a field at points, over blocks and over grids, the one way from a posterior to a map; and left-out sites.

What is mapped is the field: trend, structures and micro-scale, never the noise. At a point the micro-scale counts in
the variance, and where the point is a site it is known as far as the observations tell it.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from hardpan.core.arrays import Floats, Ints
from hardpan.core.threads import Progress, silent
from hardpan.geostat.covariance import COINCIDENT_M
from hardpan.geostat.dual import dual_forms
from hardpan.geostat.grids import KrigingGrid, Moments, evaluate_grid, evaluate_places
from hardpan.geostat.mixture import Mixture

_LOST = 1e-10
"""Below this share of its precision where the trend is known a datum carries the trend by itself, up to rounding."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kriged:
    """Kriged field at m places, shape (m,), or over a grid, shape (ny, nx), NaN outside."""

    mean: Floats
    variance: Floats
    """Kriging variance: of the field minus the prediction, that of the trend included."""
    mean_error: float = 0.0
    """Bound on what compression of far data changed in `mean`; 0 where nothing was compressed."""
    variance_error: float = 0.0
    """The same for `variance`, and what rounding of an explicit inverse may have changed."""


def krige_places(  # noqa: PLR0917
    mixture: Mixture,
    xy_m: Floats,
    trend: Floats,
    block_m: float | None = None,
    tolerance: float = 0.0,
    threads: int = 1,
    progress: Progress = silent,
) -> Kriged:
    """Universal-kriging mean and variance at m points or over m square blocks, shape (m,).

    Parameters
    ----------
    mixture : Mixture
        The field given its observations.
    xy_m : Floats
        (m, 2) points or block centres.
    trend : Floats
        (m, p) trend columns at the points, or their block means.
    block_m : float | None
        Side of the blocks; points when left out. Micro-scale averages out over a block: it is not in its variance.
    tolerance : float
        Share of the field's spread that may be lost for speed; 0 for none.
    threads, progress
        Parts run in `threads` threads; the result does not depend on it.

    Examples
    --------
    Simple kriging from one datum of a field of variance 1: weight and variance are rho and 1 - rho^2.

    >>> from hardpan import geostat
    >>> one = geostat.Structure(family="exponential", sill=1.0, length_m=10.0)
    >>> data = geostat.observe([0.0], [0.0], [2.0], constant=False)
    >>> found = geostat.krige(geostat.condition(data, geostat.Covariance(structures=(one,))), [5.0], [0.0])
    >>> np.allclose([found.mean[0], found.variance[0]], [2 * np.exp(-0.5), 1 - np.exp(-1.0)])
    True
    """
    forms = dual_forms(mixture, block_m, with_micro=not block_m)
    moments = evaluate_places(forms, xy_m, trend, block_m, tolerance, threads, progress)
    kriged = _kriged(moments)
    if not block_m and len(xy_m):
        apart, site = cKDTree(mixture.xy_m).query(xy_m)
        hit = apart <= COINCIDENT_M
        _know_sites(mixture, kriged, (np.flatnonzero(hit),), site[hit])
    return kriged


def krige_cells(
    mixture: Mixture,
    grid: KrigingGrid,
    *,
    micro_in_blocks: bool = False,
    tolerance: float = 1e-6,
    threads: int = 1,
    progress: Progress = silent,
) -> Kriged:
    """Universal-kriging mean and variance over a grid, shape (ny, nx), NaN outside.

    Parameters
    ----------
    mixture : Mixture
        The field given its observations.
    grid : KrigingGrid
        Cells, points or blocks.
    micro_in_blocks : bool
        The blocks are no larger than a site: their variance holds the micro-scale.
    tolerance : float
        Share of the field's spread that compression may change; 0 solves every cell directly. The bound that was
        reached is in the result.
    threads, progress
        Tiles run in `threads` threads; the result does not depend on it.
    """
    forms = dual_forms(mixture, grid.block_m, with_micro=micro_in_blocks or not grid.block_m)
    kriged = _kriged(evaluate_grid(forms, grid, tolerance=tolerance, threads=threads, progress=progress))
    if not grid.block_m:
        column, row = _nearest(grid.x_m, mixture.xy_m[:, 0]), _nearest(grid.y_m, mixture.xy_m[:, 1])
        apart = np.hypot(grid.x_m[column] - mixture.xy_m[:, 0], grid.y_m[row] - mixture.xy_m[:, 1])
        hit = (apart <= COINCIDENT_M) & grid.inside[row, column]
        _know_sites(mixture, kriged, (row[hit], column[hit]), np.flatnonzero(hit))
    return kriged


def _kriged(moments: Moments) -> Kriged:
    return Kriged(
        mean=moments.mean,
        variance=np.maximum(moments.second - moments.mean**2, 0.0),
        mean_error=moments.mean_error,
        variance_error=moments.variance_error,
    )


def _know_sites(mixture: Mixture, kriged: Kriged, at: tuple[Ints, ...], site: Ints) -> None:
    """Write what is known of the sites at the places that are sites: there the micro-scale is that of the site."""
    if len(site):
        mean, variance = mixture.at_sites()
        kriged.mean[at], kriged.variance[at] = mean[site], np.maximum(variance[site], 0.0)


def _nearest(axis_m: Floats, at_m: Floats) -> Ints:
    """Index of the nearest of evenly spaced coordinates."""
    step = (axis_m[-1] - axis_m[0]) / max(len(axis_m) - 1, 1) or 1.0
    index: Ints = np.clip(np.round((at_m - axis_m[0]) / step), 0, len(axis_m) - 1).astype(np.int64)
    return index


def leave_out_sites(mixture: Mixture, folds: Ints) -> tuple[Floats, Floats]:
    """Leave-one-out (or leave-a-fold-out) mean and variance of the field, shape (n,), exact and without refitting.

    Every site is predicted without the observations of its whole fold. The covariance parameters and the factors of the
    other observations stay. NaN where the rest leaves the trend open.

    Parameters
    ----------
    folds : Ints
        (n,) fold of each site.

    Notes
    -----
    From the inverse of the kriging matrix [dubrule1983]: with Q = W - W X G X'W, z = N / T the sites' values (see
    `hardpan.geostat.censored`) and F the fold's sites with observations, the field there without them has mean
    z_F - Q_FF^-1 (Q z)_F and covariance Q_FF^-1 - T_F^-1.

    Examples
    --------
    Without structure every value is forecast by the mean of the others:

    >>> from hardpan import geostat
    >>> data = geostat.observe([0.0, 1.0, 2.0], [0.0, 0.0, 0.0], [1.0, 2.0, 6.0])
    >>> field = geostat.condition(data, geostat.Covariance(structures=(), noise=1.0))
    >>> geostat.leave_out(field).mean.round(6)
    array([4. , 3.5, 1.5])
    """
    found, trend = mixture.posterior, mixture.trend
    n = len(mixture.xy_m)
    precision, total = (mixture.observations.sum_by_site(factors, n) for factors in (found.tau, found.nu))
    wx = found.precision @ trend
    q = found.precision - (wx @ found.beta_cov) @ wx.swapaxes(1, 2)
    means, variances = found.mean.copy(), found.variance.copy()
    seen = precision[0] > 0
    size = np.bincount(folds)[folds]
    single = np.flatnonzero(seen & (size == 1))
    own, known = q[:, single, single], found.precision[:, single, single]
    own = np.where(own > _LOST * known, own, np.nan)
    means[:, single] = total[:, single] / precision[:, single] - found.weights[:, single] / own
    variances[:, single] = 1.0 / own - 1.0 / precision[:, single]
    for fold in np.unique(folds[seen & (size > 1)]):
        out = np.flatnonzero(folds == fold)
        means[:, out], variances[:, out] = _without(mixture, q, out, precision, total)
    return mixture.pool(means, variances)


def _without(mixture: Mixture, q: Floats, out: Ints, precision: Floats, total: Floats) -> tuple[Floats, Floats]:
    """Mean and variance (k, len(out)) at the sites of one fold without its observations."""
    found, seen = mixture.posterior, precision[0, out] > 0
    with_data, bare = out[seen], out[~seen]
    scale = np.sqrt(found.precision[:, with_data, with_data])
    both = scale[:, :, None] * scale[:, None, :]
    eigenvalues, vectors = np.linalg.eigh(q[:, with_data[:, None], with_data] / both)
    means, variances = np.full((len(q), len(out)), np.nan), np.full((len(q), len(out)), np.nan)
    if eigenvalues.min() <= _LOST:
        return means, variances
    inverse = (vectors / eigenvalues[:, None, :]) @ vectors.swapaxes(1, 2) / both
    error = np.einsum("kij,kj->ki", inverse, found.weights[:, with_data])
    means[:, seen] = total[:, with_data] / precision[:, with_data] - error
    variances[:, seen] = np.diagonal(inverse, axis1=1, axis2=2) - 1.0 / precision[:, with_data]
    if len(bare):  # S T = K W + (X - K W X) G X'W carries to sites without observations what the others lose
        k = mixture.site_covariances()
        wx = found.precision @ mixture.trend
        onto = (k @ found.precision + (mixture.trend - k @ wx) @ found.beta_cov @ wx.swapaxes(1, 2))[:, bare]
        onto = onto[:, :, with_data]
        means[:, ~seen] = found.mean[:, bare] - np.einsum("kij,kj->ki", onto, error)
        variances[:, ~seen] = found.variance[:, bare] + np.einsum("kij,kjl,kil->ki", onto, inverse, onto)
    return means, variances
