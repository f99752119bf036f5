"""The usual paddock, 150 insertions and 5 m cells, through the numeric engine; run once untimed in the suite."""

import numpy as np
import pytest

from hardpan import geostat
from hardpan.geostat import Covariance, Structure

COVARIANCE = Covariance(structures=(Structure(family="exponential", sill=0.9, length_m=100),), micro=0.05, noise=0.05)


@pytest.fixture(scope="module")
def paddock():
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 1000, (150, 2))
    z = rng.standard_normal(150)
    return xy, z, geostat.condition(geostat.observe(*xy.T, z), COVARIANCE)


def test_grid_of_blocks(benchmark, paddock):
    x = np.arange(2.5, 1000, 5.0)
    found = benchmark(geostat.krige_grid, paddock[2], x, x, block_m=5.0, threads=2)
    assert found.variance.max() < 1


def test_leave_one_out(benchmark, paddock):
    assert np.isfinite(benchmark(geostat.leave_out, paddock[2]).mean).all()


def test_draws_on_a_coarse_grid(benchmark, paddock):
    x, y = np.meshgrid(np.arange(10, 1000, 20.0), np.arange(10, 1000, 20.0))
    draws = benchmark(geostat.simulate, paddock[2], x.ravel(), y.ravel(), 100, 1)
    assert draws.shape == (100, 2500)


def test_variogram(benchmark, paddock):
    xy, z, _ = paddock
    assert benchmark(geostat.empirical_variogram, xy, z).pairs.sum() > 1000
