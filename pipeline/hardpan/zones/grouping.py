"""Cells of one soil type into classes of like cells: by the pan's depth and strength, the clay and the covariates."""

import warnings
from typing import TYPE_CHECKING, Literal

import numpy as np
import scipy.sparse
import scipy.spatial
import threadpoolctl  # type: ignore[import-untyped]
import xarray as xr

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.surfaces import Surfaces
from hardpan.spatial.regions import OUTSIDE, averaged

if TYPE_CHECKING:
    from sklearn.mixture import GaussianMixture

Method = Literal["kmeans", "mixture", "ward"]

FIT_CELLS = 6000
"""Classes are fitted on at most about so many cells, evenly spread; more move class centres by less than a map errs."""
WARD_BLOCKS = 3000
"""Ward's tree is grown over at most about so many blocks of cells; its time rises faster than their number."""
STARTS = 4
"""Random starts of k-means and of the mixture; the best is kept."""
DECIMALS = 6
"""Features are rounded here, so that the last bits of a threaded matrix product cannot move a cell between zones."""


def cell_features(
    surfaces: Surfaces, covariates: xr.Dataset, source: Ints, cells: Bools, *, width_cells: int
) -> Floats:
    """Standardised features of the cells of one soil type, shape (n_cells, n_features).

    Each is centred, and divided by the root of its spread plus its mean prediction variance, so a map that is mostly
    uncertain weighs little. Depth and strength count by the probability that there is a pan at all; a covariate as far
    as it goes along with the pan's depth. A missing value is taken as the mean. Features are means over the width the
    machine can follow. One that does not vary is left out; at least one column is given (zeros if nothing varies).

    Parameters
    ----------
    source : (n_rows, n_cols)
        Flat index of the cell each cell takes its values from.
    cells : (n_rows, n_cols)
        Cells of the soil type.
    """
    at = source[cells]
    maps = {str(name): values.to_numpy().ravel()[at] for name, values in surfaces.maps.data_vars.items()}
    presence = np.nan_to_num(maps["pan_probability"])
    peak = maps["peak_kpa"]
    sure, always = np.zeros(at.size), np.ones(at.size)
    bottom = _scaled(maps["pan_bottom_mm"], maps["pan_bottom_sd_mm"] ** 2, presence)
    columns = [
        _scaled(presence, presence * (1.0 - presence), always),
        bottom,
        _scaled(maps["pan_top_mm"], maps["pan_top_sd_mm"] ** 2, presence),
        _scaled(np.log(peak), (maps["peak_sd_kpa"] / peak) ** 2, presence),
        _scaled(maps["clay_depth_mm"], sure, always),
    ]
    for values in covariates.data_vars.values():
        column = _scaled(values.to_numpy().ravel()[at], sure, always)
        columns.append(column * _alikeness(column, bottom))
    means = [averaged(column, cells, width_cells).round(DECIMALS) for column in columns]
    varying = [mean for mean in means if np.ptp(mean) > 0]
    return np.stack(varying or [np.zeros(at.size)], axis=1)


def expected_bottom_mm(surfaces: Surfaces) -> Floats:
    """How deep the pan is expected to reach, 0 where there is none and outside, shape (n_rows, n_cols)."""
    bottom = np.nan_to_num(surfaces.maps["pan_bottom_mm"].to_numpy())
    return np.asarray(np.nan_to_num(surfaces.maps["pan_probability"].to_numpy()) * bottom)


def _scaled(values: Floats, variance: Floats, weight: Floats) -> Floats:
    read = np.isfinite(values) & (weight > 0)
    if not read.any():
        return np.zeros_like(weight)
    centre = np.average(values[read], weights=weight[read])
    spread = np.average((values[read] - centre) ** 2, weights=weight[read])
    scale = np.sqrt(spread + np.mean(np.nan_to_num(variance[read])))
    return np.where(read, weight * (values - centre) / scale, 0.0) if scale > 0 else np.zeros_like(weight)


def _alikeness(one: Floats, other: Floats) -> float:
    """Size of the correlation, 0 where either does not vary."""
    scale = np.sqrt((one**2).sum() * (other**2).sum())
    return float(abs((one * other).sum()) / scale) if scale > 0 else 0.0


def group(features: Floats, cells: Bools, count: int, method: Method, *, seed: int) -> Ints:
    """Class (0, 1, ...) of each cell, `count` classes or as many as there are unlike cells.

    Parameters
    ----------
    features : (n_cells, n_features)
        Standardised, no missing values.
    cells : (n_rows, n_cols)
        Which cells of the grid the rows of `features` are, in reading order.
    """
    # loaded where used, and before the limit on threads, which only reaches libraries that are loaded
    from sklearn.cluster import KMeans

    sample = features[np.linspace(0, len(features) - 1, min(len(features), FIT_CELLS)).round().astype(np.int64)]
    count = min(count, len(np.unique(sample, axis=0)))
    if count < 2:
        return np.zeros(len(features), dtype=np.int64)
    with threadpoolctl.threadpool_limits(limits=1):  # sums in threads would differ in the last bit
        if method == "ward":
            classes = _ward(features, cells, count)
        elif method == "kmeans":
            classes = KMeans(count, n_init=STARTS, random_state=seed).fit(sample).predict(features)
        else:
            classes = _mixture(sample, count, seed).predict(features)
    return np.unique(classes, return_inverse=True)[1].astype(np.int64)


def _mixture(sample: Floats, count: int, seed: int) -> "GaussianMixture":
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.mixture import GaussianMixture

    model = GaussianMixture(count, covariance_type="diag", n_init=STARTS, random_state=seed, reg_covar=1e-3, tol=1e-2)
    with warnings.catch_warnings():  # the money joins classes afterwards, so a fit that is still moving does no harm
        warnings.simplefilter("ignore", ConvergenceWarning)
        return model.fit(sample)


def _ward(features: Floats, cells: Bools, count: int) -> Ints:
    """Classes by the cut of a contiguity-constrained tree."""
    from sklearn.cluster import ward_tree

    block_of_cell = _blocks(cells)
    size = np.bincount(block_of_cell)
    means = np.stack([np.bincount(block_of_cell, weights=column) for column in features.T], axis=1) / size[:, None]
    grid = np.full(cells.shape, OUTSIDE, dtype=np.int64)
    grid[cells] = block_of_cell
    children = ward_tree(means, connectivity=_links(grid, means))[0]
    return _cut(children, len(means), min(count, len(means)))[block_of_cell]


def _blocks(cells: Bools) -> Ints:
    side = max(1, int(np.ceil(np.sqrt(np.count_nonzero(cells) / WARD_BLOCKS))))
    row, column = np.nonzero(cells)
    return np.unique((row // side) * cells.shape[1] + column // side, return_inverse=True)[1]


def _links(grid: Ints, means: Floats) -> scipy.sparse.csr_matrix:
    """Which blocks touch; parts that touch nowhere are linked once, where they are most alike."""
    pairs = np.concatenate(
        [
            np.stack([grid[:, :-1].ravel(), grid[:, 1:].ravel()], axis=1),
            np.stack([grid[:-1].ravel(), grid[1:].ravel()], axis=1),
        ]
    )
    pairs = pairs[(pairs != OUTSIDE).all(axis=1)]
    shape = (len(means), len(means))
    links = scipy.sparse.csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=shape)
    n_parts, part = scipy.sparse.csgraph.connected_components(links, directed=False)
    for other in range(1, n_parts):
        joined, apart = np.flatnonzero(part < other), np.flatnonzero(part == other)
        distance, index = scipy.spatial.cKDTree(means[joined]).query(means[apart])
        nearest = int(np.argmin(distance))
        links += scipy.sparse.csr_matrix(([1.0], ([joined[index[nearest]]], [apart[nearest]])), shape=shape)
    return links + links.T


def _cut(children: Ints, n_leaves: int, count: int) -> Ints:
    """Class of each leaf when the last `count - 1` merges of the tree are undone."""
    parent = np.arange(2 * n_leaves - 1)
    for step, pair in enumerate(children[: n_leaves - count]):
        parent[pair] = n_leaves + step
    for node in range(parent.size - 1, -1, -1):
        parent[node] = parent[parent[node]]
    return parent[:n_leaves]
