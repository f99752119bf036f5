"""The usual paddock, 150 insertions and 5 m cells, through the numeric engine; run once untimed in the suite."""

import numpy as np
import pytest

from hardpan.geostat.covariance import Covariance, Structure
from hardpan.geostat.kriging import factorise, leave_one_out, predict_grid
from hardpan.geostat.simulation import draw_conditional
from hardpan.geostat.variogram import empirical_variogram

COVARIANCE = Covariance(structures=(Structure(family="exponential", sill=0.9, length_m=100),), micro=0.05, noise=0.05)


@pytest.fixture(scope="module")
def paddock():
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 1000, (150, 2))
    return xy, rng.standard_normal(150), factorise(COVARIANCE, xy, np.ones((150, 1)))


def test_grid_of_blocks(benchmark, paddock):
    _, z, system = paddock
    x = np.arange(2.5, 1000, 5.0)
    found = benchmark(predict_grid, system, z, x, x, None, np.ones((200, 200, 1)), block_m=5.0, threads=2)
    assert found.variance.max() < 1


def test_leave_one_out(benchmark, paddock):
    _, z, system = paddock
    assert np.isfinite(benchmark(leave_one_out, system, z)).all()


def test_draws_on_a_coarse_grid(benchmark, paddock):
    _, z, system = paddock
    x, y = np.meshgrid(np.arange(10, 1000, 20.0), np.arange(10, 1000, 20.0))
    nodes = np.column_stack([x.ravel(), y.ravel()])
    assert benchmark(draw_conditional, system, z, nodes, np.ones((2500, 1)), 100, 1).shape == (100, 2500)


def test_variogram(benchmark, paddock):
    xy, z, _ = paddock
    assert benchmark(empirical_variogram, xy, z).pairs.sum() > 1000
