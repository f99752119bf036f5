import tracemalloc

import numpy as np
import pytest

from hardpan.geostat import compression
from hardpan.geostat.covariance import Covariance, Structure
from hardpan.geostat.kriging import factorise, predict, predict_grid

FAMILIES = ("exponential", "spherical", "matern32", "matern52")


def paddock(family="exponential", n=150, **parts):
    rng = np.random.default_rng(8)
    xy, z = rng.uniform(0, 800, (n, 2)), rng.standard_normal(n)
    structure = Structure(family=family, sill=0.9, length_m=120, ratio=0.7, heading_deg=20)
    return factorise(Covariance(structures=(structure,), **(parts or {"noise": 0.1})), xy, np.ones((n, 1))), z


def axes(cell_m=4.0):
    x = np.arange(cell_m / 2, 800, cell_m)
    return x, x[::-1], np.broadcast_to(1.0, (len(x), len(x), 1))


def exactly(system, z, x, y, block_m=None):
    X, Y = np.meshgrid(x, y)
    return predict(system, z, np.column_stack([X.ravel(), Y.ravel()]), np.ones((X.size, 1)), block_m=block_m)


@pytest.mark.parametrize("block_m", [None, 4.0])
@pytest.mark.parametrize("family", FAMILIES)
def test_compression_stays_within_its_bound_and_the_bound_within_the_tolerance(monkeypatch, family, block_m):
    monkeypatch.setattr(compression, "_exact_cost", lambda _: np.inf)
    system, z = paddock(family)
    x, y, drift = axes()
    grid = predict_grid(system, z, x, y, None, drift, block_m=block_m, tolerance=1e-6)
    exact = exactly(system, z, x, y, block_m)
    assert np.abs(grid.mean.ravel() - exact.mean).max() <= grid.mean_error + 1e-13
    assert np.abs(grid.variance.ravel() - exact.variance).max() <= grid.variance_error
    assert grid.mean_error <= 1e-6 * max(1.0, np.std(z))
    assert grid.variance_error <= 2e-6  # of a sill of 0.9; rounding of the inverse is added to the tolerance
    assert grid.variance_error > 0


def test_tolerance_zero_is_exact():
    system, z = paddock()
    x, y, drift = axes(8.0)
    grid, exact = predict_grid(system, z, x, y, None, drift, tolerance=0), exactly(system, z, x, y)
    assert (grid.mean_error, grid.variance_error) == (0, 0)
    assert grid.mean.ravel() == pytest.approx(exact.mean, abs=1e-12)
    assert grid.variance.ravel() == pytest.approx(exact.variance, abs=1e-12)


def test_a_cell_at_a_site_knows_the_micro_scale_there(monkeypatch):
    monkeypatch.setattr(compression, "_exact_cost", lambda _: np.inf)
    x, y, drift = axes()
    rng = np.random.default_rng(1)
    xy, z = rng.uniform(0, 800, (100, 2)), rng.standard_normal(100)
    xy[0] = x[50], y[60]
    structure = Structure(family="exponential", sill=0.9, length_m=120)
    system = factorise(Covariance(structures=(structure,), micro=0.3), xy, np.ones((100, 1)))
    grid = predict_grid(system, z, x, y, None, drift)
    assert grid.mean[60, 50] == pytest.approx(z[0], abs=1e-9)
    assert grid.variance[60, 50] == pytest.approx(0, abs=1e-9)
    assert grid.variance[60, 51] > 0.3


def test_many_right_hand_sides_are_what_each_alone_is():
    system, z = paddock()
    x, y, drift = axes(10.0)
    many = predict_grid(system, np.column_stack([z, 2 * z + 1, -z]), x, y, None, drift, variance=False)
    alone = predict_grid(system, z, x, y, None, drift)
    assert many.variance is None
    assert many.mean[..., 1] == pytest.approx(2 * alone.mean + 1, abs=1e-5)
    assert many.mean[..., 2] == pytest.approx(-alone.mean, abs=1e-5)


def test_memory_is_that_of_the_result_not_of_data_times_cells():
    system, z = paddock(n=300)
    x, y, drift = axes(1.0)  # 640,000 cells: 5 MB a map, data times cells 1.5 GB
    tracemalloc.start()
    predict_grid(system, z, x, y, None, drift, threads=2)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 60e6


def test_progress_rises_to_one():
    system, z = paddock()
    x, y, drift = axes()
    told = []
    predict_grid(system, z, x, y, None, drift, threads=2, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1


def test_unevenly_spaced_rows_are_solved_exactly(monkeypatch):
    monkeypatch.setattr(compression, "_exact_cost", lambda _: np.inf)
    system, z = paddock()
    x, y = np.arange(0, 800, 4.0), np.cumsum(np.linspace(1, 8, 150))
    grid = predict_grid(system, z, x, y, None, np.ones((150, 200, 1)))
    assert grid.mean_error == 0
    assert grid.mean.ravel() == pytest.approx(exactly(system, z, x, y).mean, abs=1e-12)


def test_simple_kriging_has_no_trend_columns():
    rng = np.random.default_rng(8)
    xy, z = rng.uniform(0, 800, (100, 2)), rng.standard_normal(100)
    structure = Structure(family="matern52", sill=0.9, length_m=60)
    system = factorise(Covariance(structures=(structure,), noise=0.1), xy, np.empty((100, 0)))
    x = np.arange(0, 800, 4.0)
    grid = predict_grid(system, z, x, x, None, np.empty((200, 200, 0)))
    X, Y = np.meshgrid(x, x)
    points = predict(system, z, np.column_stack([X.ravel(), Y.ravel()]), np.empty((X.size, 0)))
    assert grid.mean.ravel() == pytest.approx(points.mean, abs=1e-6)
    assert grid.variance.ravel() == pytest.approx(points.variance, abs=1e-6)


def test_trend_missing_outside_the_mask_stays_there():
    system, z = paddock()
    x, y, drift = axes()
    mask = np.add.outer(y, x) < 900
    holed = np.where(mask[..., None], drift, np.nan)
    grid, whole = predict_grid(system, z, x, y, mask, holed), predict_grid(system, z, x, y, None, drift)
    assert np.array_equal(grid.mean[mask], whole.mean[mask])
    assert np.array_equal(grid.variance[mask], whole.variance[mask])
    assert np.isnan(grid.mean[~mask]).all()


def test_a_single_row_and_a_single_cell_are_grids():
    system, z = paddock()
    for x, y in ((np.array([100.0]), np.array([50.0])), (np.arange(0, 800, 2.0), np.array([50.0]))):
        grid = predict_grid(system, z, x, y, None, np.ones((len(y), len(x), 1)))
        assert grid.mean.ravel() == pytest.approx(exactly(system, z, x, y).mean, abs=1e-6)
