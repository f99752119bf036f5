"""Block kriging against an independent joint law of the points in a block: scikit-learn's Gaussian process.

The mean over a block of the process given the data has, by the covariances of its points, a mean and a variance. This
is the way the maps of the pan are made: cells as blocks, at the tolerance of the maps.
"""

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from hardpan import geostat
from hardpan.geostat import Covariance, KrigingGrid, Structure, condition_on, krige_cells, krige_nearest

SILL, LENGTH_M, NOISE, BLOCK_M = 0.9, 100.0, 0.1, 10.0
X_M = np.arange(25.0, 75.0, BLOCK_M)
COVARIANCE = Covariance(structures=(Structure(family="exponential", sill=SILL, length_m=LENGTH_M),), noise=NOISE)

QUADRATURE = 2e-3
"""Four nodes a side there, sixteen midpoints here, and a covariance that is not smooth at a datum. A variance of
blocks that are taken for their middle is off by seven times as much and more."""


@pytest.fixture(scope="module")
def joint():
    """Data, and mean and variance over each block from the joint law of 16 x 16 points in it."""
    rng = np.random.default_rng(4)
    xy, z = rng.uniform(0, 100, (40, 2)), rng.standard_normal(40)
    model = GaussianProcessRegressor(ConstantKernel(SILL) * Matern(LENGTH_M, nu=0.5), alpha=NOISE, optimizer=None)
    model.fit(xy, z)
    inner = (np.arange(16) + 0.5) / 16 * BLOCK_M - BLOCK_M / 2
    points = np.stack(np.meshgrid(inner, inner), axis=-1).reshape(-1, 2)
    mean, variance = np.empty((5, 5)), np.empty((5, 5))
    for row, y in enumerate(X_M):
        for column, x in enumerate(X_M):
            centre, spread = model.predict(points + np.array([x, y]), return_cov=True)
            mean[row, column], variance[row, column] = centre.mean(), spread.mean()
    return xy, z, mean, variance


@pytest.mark.parametrize("tolerance", [0.0, 1e-4], ids=["double", "as maps"])
def test_cells_as_blocks_have_the_mean_and_variance_of_their_points(joint, tolerance):
    xy, z, mean, variance = joint
    field = geostat.condition(geostat.observe(*xy.T, z, constant=False), COVARIANCE)
    grid = KrigingGrid(x_m=X_M, y_m=X_M, inside=np.ones((5, 5), dtype=bool), trend=np.empty((5, 5, 0)), block_m=BLOCK_M)
    kriged = krige_cells(field.mixture, grid, tolerance=tolerance)
    scale = field.data.scale
    # as maps are made, blocks far from a datum are taken for their middle: (side / length)^2 / 24 of each covariance
    taken = (BLOCK_M / LENGTH_M) ** 2 / 24 * SILL * scale * np.abs(field.mixture.posterior.weights / scale**2).sum()
    assert scale * kriged.mean == pytest.approx(mean, abs=QUADRATURE + (taken if tolerance else 0.0))
    assert scale**2 * kriged.variance == pytest.approx(variance, abs=QUADRATURE)


def test_micro_scale_of_a_site_as_large_as_a_cell_stays(joint):
    xy, z, _, _ = joint
    with_micro = Covariance(structures=COVARIANCE.structures, micro=0.25, noise=NOISE)
    seen = geostat.Observations(site=np.arange(40), low=z, high=z, error=np.zeros(40))
    mixture = condition_on(with_micro, xy, seen, trend=np.empty((40, 0)), trend_precision=np.empty(0))
    grid = KrigingGrid(x_m=X_M, y_m=X_M, inside=np.ones((5, 5), dtype=bool), trend=np.empty((5, 5, 0)), block_m=BLOCK_M)
    fades, stays = (krige_cells(mixture, grid, micro_in_blocks=stays, tolerance=0.0) for stays in (False, True))
    assert stays.mean == pytest.approx(fades.mean)
    assert stays.variance == pytest.approx(fades.variance + 0.25)


def test_blocks_from_the_nearest_data_have_them_too(joint):
    xy, z, mean, variance = joint
    places = np.stack(np.meshgrid(X_M, X_M), axis=-1).reshape(-1, 2)
    none = np.empty((40, 0)), np.empty((25, 0))
    kriged = krige_nearest(COVARIANCE, xy, none[0], z, places, none[1], neighbours=40, block_m=BLOCK_M)
    assert kriged.mean == pytest.approx(mean.ravel(), abs=QUADRATURE)
    assert kriged.variance == pytest.approx(variance.ravel(), abs=QUADRATURE)
