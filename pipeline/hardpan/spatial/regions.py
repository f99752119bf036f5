"""Regions of a label raster: pieces, their neighbours, their width. Plain arrays, four-connected; -1 is outside."""

from dataclasses import dataclass

import numpy as np
import scipy.ndimage

from hardpan.core.arrays import Bools, Floats, Ints

OUTSIDE = -1
"""Label of cells that belong to no region."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbours:
    """Pairs of regions that share a border, each pair in both directions."""

    first: Ints
    """(n_pairs,): region."""
    second: Ints
    """(n_pairs,): region beside it."""


def pieces_of(labels: Ints) -> Ints:
    """Four-connected pieces of equal label, numbered 0, 1, ... in reading order of their first cell.

    Parameters
    ----------
    labels : (n_rows, n_cols)
        Any integers; -1 stays -1.

    Examples
    --------
    >>> pieces_of(np.array([[5, 5, 7], [5, -1, 5]]))
    array([[ 0,  0,  1],
           [ 0, -1,  2]])
    """
    pieces = np.full(labels.shape, OUTSIDE, dtype=np.int64)
    found = 0
    for label in np.unique(labels[labels != OUTSIDE]):
        parts, n_parts = scipy.ndimage.label(labels == label)
        pieces = np.where(parts > 0, parts + (found - 1), pieces)
        found += n_parts
    return in_reading_order(pieces)


def in_reading_order(labels: Ints) -> Ints:
    """The same regions numbered 0, 1, ... by their first cell, row by row; -1 stays -1."""
    values, first, index = np.unique(labels, return_index=True, return_inverse=True)
    inner = values != OUTSIDE
    number = np.full(values.size, OUTSIDE, dtype=np.int64)
    number[np.flatnonzero(inner)[np.argsort(first[inner])]] = np.arange(np.count_nonzero(inner))
    return np.asarray(number[index].reshape(labels.shape))


def neighbours_of(pieces: Ints) -> Neighbours:
    """Pairs of pieces that share a border."""
    n = int(pieces.max(initial=0)) + 1
    west, east = pieces[:, :-1].ravel(), pieces[:, 1:].ravel()
    north, south = pieces[:-1].ravel(), pieces[1:].ravel()
    one, other = np.concatenate([west, north]), np.concatenate([east, south])
    meet = (one != other) & (one != OUTSIDE) & (other != OUTSIDE)
    one, other = one[meet], other[meet]
    keys = np.unique(np.concatenate([one * n + other, other * n + one]))
    return Neighbours(first=keys // n, second=keys % n)


def wide_enough(labels: Ints, width_cells: int) -> Bools:
    """Cells that a disc of the width fits over without leaving their label (morphological opening).

    Labels are 0, 1, ..., and -1 outside.
    """
    disc = disc_of(width_cells)
    wide = np.zeros(labels.shape, dtype=np.bool_)
    for label, box in enumerate(scipy.ndimage.find_objects(labels - OUTSIDE)):
        if box is not None:
            wide[box] |= scipy.ndimage.binary_opening(labels[box] == label, disc)
    return wide


def smoothed(labels: Ints, within: Ints, width_cells: int) -> Ints:
    """Most frequent label in a disc around each cell (mode filter), never one from across `within`.

    The disc is an odd number of cells across, so that nothing shifts.

    Parameters
    ----------
    labels, within : (n_rows, n_cols)
        Regions, and the larger regions whose edges are kept; each label lies in one. A tie keeps the cell's label.
    """
    disc = disc_of(width_cells | 1).astype(np.int64)
    best, smooth = np.zeros(labels.shape, dtype=np.int64), labels.copy()
    for label in np.unique(labels[labels != OUTSIDE]):
        own = labels == label
        votes = 2 * scipy.ndimage.convolve(own.astype(np.int64), disc, mode="constant") + own
        wins = (votes > best) & (within == within[own][0])
        best, smooth = np.where(wins, votes, best), np.where(wins, label, smooth)
    return smooth


def averaged(values: Floats, cells: Bools, width_cells: int) -> Floats:
    """Mean of `values` over a square window around each of `cells`, of those cells only.

    Parameters
    ----------
    values : (n_cells,)
        Values of `cells` in reading order, none missing.
    cells : (n_rows, n_cols)
    width_cells : int
        The window is so wide, or one cell wider where that is even, so that nothing shifts.
    """
    window = width_cells | 1
    grid = np.zeros(cells.shape)
    grid[cells] = values
    total = scipy.ndimage.uniform_filter(grid, window, mode="constant")
    share = scipy.ndimage.uniform_filter(cells.astype(np.float64), window, mode="constant")
    return np.asarray(total[cells] / share[cells])


def disc_of(width_cells: int) -> Bools:
    """Cells of a disc `width_cells` across; 1 and 2 cells give squares."""
    offset = np.arange(width_cells) - (width_cells - 1) / 2.0
    return np.asarray(np.hypot(offset[:, None], offset) <= max(width_cells, 2) / 2.0)


def nearest_of(cells: Bools) -> Ints:
    """Flat index of the nearest of `cells` (at least one), for every cell of the grid."""
    row, column = scipy.ndimage.distance_transform_edt(~cells, return_distances=False, return_indices=True)
    return np.asarray(row.astype(np.int64) * cells.shape[1] + column)


def spread(labels: Ints) -> Ints:
    """Labels with every cell given that of the nearest labelled cell."""
    return np.asarray(labels.ravel()[nearest_of(labels != OUTSIDE)])


def sums_by(labels: Ints, values: Floats) -> Floats:
    """Sum of `values` in each label 0, 1, ...; cells of label -1 are left out."""
    inner = labels != OUTSIDE
    return np.asarray(np.bincount(labels[inner], weights=values[inner]), dtype=np.float64)


def first_cells(pieces: Ints) -> Ints:
    """Flat index of the first cell of each piece 0, 1, ..."""
    number, first = np.unique(pieces, return_index=True)
    return np.asarray(first[number != OUTSIDE], dtype=np.int64)
