import numpy as np
import pytest
import scipy.sparse
import scipy.spatial
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from hardpan.spatial.regions import (
    averaged,
    disc_of,
    first_cells,
    nearest_of,
    neighbours_of,
    pieces_of,
    smoothed,
    spread,
    sums_by,
    wide_enough,
)

labels = arrays(np.int64, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=st.integers(-1, 2))


def components(grid):
    """Four-connected components of equal label by a graph search, label -1 left out."""
    index = np.arange(grid.size).reshape(grid.shape)
    level = (grid[:, :-1] == grid[:, 1:]).ravel()
    upright = (grid[:-1] == grid[1:]).ravel()
    one = np.concatenate([index[:, :-1].ravel()[level], index[:-1].ravel()[upright]])
    other = np.concatenate([index[:, 1:].ravel()[level], index[1:].ravel()[upright]])
    links = scipy.sparse.coo_array((np.ones(one.size), (one, other)), shape=(grid.size, grid.size))
    return scipy.sparse.csgraph.connected_components(links, directed=False)[1].reshape(grid.shape)


@given(labels)
def test_pieces_are_the_components_of_a_graph_search(grid):
    pieces, expected = pieces_of(grid), components(grid)
    assert ((pieces == -1) == (grid == -1)).all()
    inner = grid != -1
    pairs = np.unique(np.stack([pieces[inner], expected[inner]]), axis=1)
    assert pairs.shape[1] == np.unique(pieces[inner]).size == np.unique(expected[inner]).size


@given(labels)
def test_pieces_are_numbered_in_reading_order(grid):
    first = first_cells(pieces_of(grid))
    assert (np.diff(first) > 0).all()


def test_neighbours_are_those_that_share_an_edge():
    grid = np.array([[0, 0, 1], [2, 2, 1], [-1, 2, 1]])
    found = neighbours_of(grid)
    pairs = set(zip(found.first.tolist(), found.second.tolist(), strict=True))
    assert pairs == {(0, 1), (1, 0), (0, 2), (2, 0), (1, 2), (2, 1)}


@pytest.mark.parametrize("width", [1, 2, 3, 4, 5, 8])
def test_a_disc_is_as_wide_as_asked(width):
    disc = disc_of(width)
    assert disc.any(axis=0).sum() == disc.any(axis=1).sum() == width
    assert (disc == disc.T).all()
    assert (disc == disc[::-1]).all()


@given(labels, st.integers(1, 4))
def test_what_is_wide_enough_is_covered_by_discs_inside_it(grid, width):
    wide, disc = wide_enough(grid, width), disc_of(width)
    covered = np.zeros(grid.shape, dtype=bool)
    for row in range(grid.shape[0] - width + 1):
        for column in range(grid.shape[1] - width + 1):
            window = grid[row : row + width, column : column + width][disc]
            if (window == window[0]).all() and window[0] != -1:
                covered[row : row + width, column : column + width] |= disc
    assert (wide == covered).all()


@given(labels)
def test_spreading_takes_the_nearest_label(grid):
    if (grid == -1).all():
        return
    known = np.argwhere(grid != -1)
    distance, _ = scipy.spatial.cKDTree(known).query(np.argwhere(grid < 2**62))
    taken = nearest_of(grid != -1).ravel()
    rows, columns = np.unravel_index(taken, grid.shape)
    cell_rows, cell_columns = np.indices(grid.shape)
    assert np.allclose(np.hypot(rows - cell_rows.ravel(), columns - cell_columns.ravel()), distance)
    assert (spread(grid).ravel() == grid.ravel()[taken]).all()


def test_smoothing_takes_off_a_lone_cell_and_keeps_straight_edges():
    grid = np.repeat([[0] * 6 + [1] * 6], 9, axis=0)
    spotted = grid.copy()
    spotted[4, 2] = 1
    assert (smoothed(spotted, np.zeros_like(grid), 3) == grid).all()


def test_smoothing_never_takes_a_label_from_across_a_kept_edge():
    within = np.repeat([[0] * 5 + [1] * 5], 8, axis=0)
    grid = np.where(within == 0, 0, 2)
    grid[3:5, 4] = 1
    smooth = smoothed(grid, within, 5)
    assert set(np.unique(smooth[within == 0])) <= {0, 1}
    assert (smooth[within == 1] == 2).all()


@given(labels)
def test_sums_by_piece_add_up_to_the_whole(grid):
    values = np.arange(grid.size, dtype=float).reshape(grid.shape)
    assert sums_by(pieces_of(grid), values).sum() == pytest.approx(values[grid != -1].sum())


@given(arrays(np.bool_, (6, 7), elements=st.booleans()), st.integers(1, 4))
def test_averages_are_those_of_the_cells_in_the_window(cells, width):
    values = np.random.default_rng(1).normal(size=np.count_nonzero(cells))
    grid = np.full(cells.shape, np.nan)
    grid[cells] = values
    half = (width | 1) // 2
    padded = np.pad(grid, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, (2 * half + 1, 2 * half + 1))
    expected = [np.nanmean(window) for window in windows[cells]]
    assert np.allclose(averaged(values, cells, width), expected)
