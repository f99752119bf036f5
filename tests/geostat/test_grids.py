import tracemalloc

import numpy as np
import pytest

from hardpan import geostat
from hardpan.geostat import compression
from hardpan.geostat.covariance import Covariance, Structure

FAMILIES = ("exponential", "spherical", "matern32", "matern52")


def paddock(family="exponential", n=150, **parts):
    rng = np.random.default_rng(8)
    xy, z = rng.uniform(0, 800, (n, 2)), rng.standard_normal(n)
    structure = Structure(family=family, sill=0.9, length_m=120, ratio=0.7, heading_deg=20)
    covariance = Covariance(structures=(structure,), **(parts or {"noise": 0.1}))
    return geostat.condition(geostat.observe(*xy.T, z), covariance), z


def axes(cell_m=4.0):
    x = np.arange(cell_m / 2, 800, cell_m)
    return x, x[::-1]


def exactly(field, x, y, block_m=None):
    X, Y = np.meshgrid(x, y)
    return geostat.krige(field, X.ravel(), Y.ravel(), block_m=block_m)


@pytest.mark.parametrize("block_m", [None, 4.0])
@pytest.mark.parametrize("family", FAMILIES)
def test_compression_stays_within_its_bound_and_the_bound_within_the_tolerance(monkeypatch, family, block_m):
    monkeypatch.setattr(compression, "_exact_cost", lambda _: np.inf)
    field, z = paddock(family)
    x, y = axes()
    grid = geostat.krige_grid(field, x, y, block_m=block_m, tolerance=1e-6)
    exact = exactly(field, x, y, block_m)
    assert np.abs(grid.mean.ravel() - exact.mean).max() <= grid.mean_error + 1e-13
    assert np.abs(grid.variance.ravel() - exact.variance).max() <= grid.variance_error
    assert grid.mean_error <= 1e-6 * max(1.0, np.std(z))
    assert grid.variance_error <= 2e-6  # of a sill of 0.9; rounding of the inverse is added to the tolerance
    assert grid.variance_error > 0


def test_tolerance_zero_is_exact():
    field, _ = paddock()
    x, y = axes(8.0)
    grid, exact = geostat.krige_grid(field, x, y, tolerance=0), exactly(field, x, y)
    assert grid.mean_error == 0
    assert grid.variance_error < 1e-10  # rounding
    assert grid.mean.ravel() == pytest.approx(exact.mean, abs=1e-12)
    assert grid.variance.ravel() == pytest.approx(exact.variance, abs=1e-12)


def test_a_cell_at_a_site_knows_the_micro_scale_there(monkeypatch):
    monkeypatch.setattr(compression, "_exact_cost", lambda _: np.inf)
    x, y = axes()
    rng = np.random.default_rng(1)
    xy, z = rng.uniform(0, 800, (100, 2)), rng.standard_normal(100)
    xy[0] = x[50], y[60]
    structure = Structure(family="exponential", sill=0.9, length_m=120)
    field = geostat.condition(geostat.observe(*xy.T, z), Covariance(structures=(structure,), micro=0.3))
    grid = geostat.krige_grid(field, x, y)
    assert grid.mean[60, 50] == pytest.approx(z[0], abs=1e-9)
    assert grid.variance[60, 50] == pytest.approx(0, abs=1e-9)
    assert grid.variance[60, 51] > 0.3


def test_memory_is_that_of_the_result_not_of_data_times_cells():
    field, _ = paddock(n=300)
    x, y = axes(1.0)  # 640,000 cells: 5 MB a map, data times cells 1.5 GB
    tracemalloc.start()
    geostat.krige_grid(field, x, y, threads=2)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 60e6


def test_progress_rises_to_one():
    field, _ = paddock()
    x, y = axes()
    told = []
    geostat.krige_grid(field, x, y, threads=2, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1


def test_unevenly_spaced_rows_are_solved_exactly(monkeypatch):
    monkeypatch.setattr(compression, "_exact_cost", lambda _: np.inf)
    field, _ = paddock()
    x, y = np.arange(0, 800, 4.0), np.cumsum(np.linspace(1, 8, 150))
    grid = geostat.krige_grid(field, x, y)
    assert grid.mean_error == 0
    assert grid.mean.ravel() == pytest.approx(exactly(field, x, y).mean, abs=1e-12)


def test_simple_kriging_has_no_trend_columns():
    rng = np.random.default_rng(8)
    xy, z = rng.uniform(0, 800, (100, 2)), rng.standard_normal(100)
    structure = Structure(family="matern52", sill=0.9, length_m=60)
    data = geostat.observe(*xy.T, z, constant=False)
    field = geostat.condition(data, Covariance(structures=(structure,), noise=0.1))
    x = np.arange(0, 800, 4.0)
    grid = geostat.krige_grid(field, x, x)
    X, Y = np.meshgrid(x, x)
    points = geostat.krige(field, X.ravel(), Y.ravel())
    assert grid.mean.ravel() == pytest.approx(points.mean, abs=1e-6)
    assert grid.variance.ravel() == pytest.approx(points.variance, abs=1e-6)


def test_trend_missing_outside_the_mask_stays_there():
    rng = np.random.default_rng(8)
    xy, z = rng.uniform(0, 800, (150, 2)), rng.standard_normal(150)
    covariance = Covariance(structures=(Structure(family="exponential", sill=0.9, length_m=120),), noise=0.1)
    field = geostat.condition(geostat.observe(*xy.T, z, trend=xy[:, 0]), covariance)
    x, y = axes()
    east = np.broadcast_to(x, (len(y), len(x)))
    mask = np.add.outer(y, x) < 900
    holed = np.where(mask, east, np.nan)
    grid = geostat.krige_grid(field, x, y, inside=mask, trend=holed)
    whole = geostat.krige_grid(field, x, y, inside=mask, trend=east)
    assert np.array_equal(grid.mean[mask], whole.mean[mask])
    assert np.array_equal(grid.variance[mask], whole.variance[mask])
    assert np.isnan(grid.mean[~mask]).all()


def test_a_single_row_and_a_single_cell_are_grids():
    field, _ = paddock()
    for x, y in ((np.array([100.0]), np.array([50.0])), (np.arange(0, 800, 2.0), np.array([50.0]))):
        grid = geostat.krige_grid(field, x, y)
        assert grid.mean.ravel() == pytest.approx(exactly(field, x, y).mean, abs=1e-6)
