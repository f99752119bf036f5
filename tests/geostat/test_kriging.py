import numpy as np
import pytest

from hardpan.core.errors import HardpanError
from hardpan.geostat.covariance import Covariance, Structure
from hardpan.geostat.kriging import factorise, leave_one_out, predict, predict_grid
from hardpan.geostat.simulation import draw_conditional


def paddock(n=40, seed=1, **parts):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 500, (n, 2)) + np.array([500_000.0, 6_300_000.0])
    covariance = Covariance(structures=(Structure(family="exponential", sill=0.9, length_m=100),), **parts)
    return covariance, xy, np.column_stack([np.ones(n), (xy[:, 0] - 500_250) / 250]), rng.standard_normal(n)


def test_without_noise_the_map_goes_through_the_data():
    covariance, xy, drift, z = paddock(micro=0.1)
    system = factorise(covariance, xy, drift)
    at_data = predict(system, z, xy, drift)
    assert at_data.mean == pytest.approx(z, abs=1e-9)
    assert at_data.variance == pytest.approx(0, abs=1e-9)


def test_leaving_one_out_equals_refitting_without_it():
    covariance, xy, drift, z = paddock(micro=0.1, noise=0.2)
    mean, variance = leave_one_out(factorise(covariance, xy, drift), z)
    for i in range(len(z)):
        rest = np.arange(len(z)) != i
        refit = predict(factorise(covariance, xy[rest], drift[rest]), z[rest], xy[i : i + 1], drift[i : i + 1])
        assert mean[i] == pytest.approx(refit.mean[0], abs=1e-9)
        assert variance[i] == pytest.approx(refit.variance[0] + 0.2, abs=1e-9)


def test_the_grid_equals_the_points_and_is_missing_outside_the_mask():
    covariance, xy, drift, z = paddock(noise=0.1)
    system = factorise(covariance, xy, drift)
    x, y = 500_000 + np.arange(5, 500, 10.0), 6_300_500 - np.arange(5, 500, 10.0)
    X, Y = np.meshgrid(x, y)
    grid_drift = np.stack([np.ones_like(X), (X - 500_250) / 250], axis=-1)
    mask = X + Y < 6_800_500
    grid = predict_grid(system, z, x, y, mask, grid_drift, block_m=10.0, threads=2)
    points = predict(system, z, np.column_stack([X[mask], Y[mask]]), grid_drift[mask], block_m=10.0)
    assert grid.mean[mask] == pytest.approx(points.mean, abs=1e-6)
    assert grid.variance[mask] == pytest.approx(points.variance, abs=1e-6)
    assert np.isnan(grid.mean[~mask]).all()


def test_draws_keep_the_kriged_mean_and_variance():
    covariance, xy, drift, z = paddock(micro=0.05, noise=0.1)
    system = factorise(covariance, xy, drift)
    targets, target_drift = xy[:10] + 15, drift[:10]
    kriged = predict(system, z, targets, target_drift)
    draws = draw_conditional(system, z, targets, target_drift, 20_000, 7)
    assert draws.mean(axis=0) == pytest.approx(kriged.mean, abs=5 * np.sqrt(kriged.variance.max() / 20_000))
    assert draws.var(axis=0) == pytest.approx(kriged.variance, rel=0.06)


def test_coincident_data_without_noise_act_as_their_average():
    covariance, xy, drift, z = paddock()
    xy[1], drift[1] = xy[0], drift[0]
    system = factorise(covariance, xy, drift)
    at = predict(system, z, xy[:1], drift[:1])
    assert at.mean[0] == pytest.approx((z[0] + z[1]) / 2, abs=1e-4)
    assert system.jitter > 0


def test_without_structure_the_map_is_the_trend():
    _, xy, drift, z = paddock()
    system = factorise(Covariance(structures=(), noise=0.5), xy, drift)
    x = 500_000 + np.arange(0, 500, 2.0)
    grid_drift = np.stack([np.ones((250, 250)), np.broadcast_to((x - 500_250) / 250, (250, 250))], axis=-1)
    grid = predict_grid(system, z, x, x + 5_800_000, None, grid_drift)
    line = np.linalg.lstsq(drift, z)[0]
    assert grid.mean == pytest.approx(grid_drift @ line, abs=1e-9)


def test_one_datum_and_a_known_mean_are_enough():
    covariance, xy, _, z = paddock()
    alone = predict(factorise(covariance, xy[:1], np.empty((1, 0))), z[:1], xy[:2], np.empty((2, 0)))
    shared = np.exp(-np.hypot(*(xy[0] - xy[1])) / 100)
    assert alone.mean == pytest.approx([z[0], z[0] * shared], abs=1e-9)
    assert alone.variance == pytest.approx([0, 0.9 * (1 - shared**2)], abs=1e-9)


def test_insertions_of_one_site_a_step_apart_share_their_micro_scale():
    covariance, xy, drift, z = paddock(micro=0.3, noise=0.1)
    xy[1] = xy[0] + [0.5, 0.0]
    site = np.arange(len(z))
    site[1] = 0
    K = factorise(covariance, xy, drift, site=site)
    apart = factorise(covariance, xy, drift)
    gap = (K.factor @ K.factor.T - apart.factor @ apart.factor.T)[:2, :2]
    assert gap == pytest.approx(np.array([[0, 0.3], [0.3, 0]]), abs=1e-12)


def test_a_trend_that_the_data_do_not_tell_is_refused():
    covariance, xy, drift, _ = paddock()
    with pytest.raises(HardpanError, match="not independent"):
        factorise(covariance, xy, np.column_stack([drift, drift[:, 0]]))


def test_the_scale_of_a_trend_column_does_not_matter():
    covariance, xy, drift, z = paddock(noise=0.1)
    here = predict(factorise(covariance, xy, drift), z, xy + 7, drift)
    scales = np.array([1e-9, 1e9])
    there = predict(factorise(covariance, xy, drift * scales), z, xy + 7, drift * scales)
    assert there.mean == pytest.approx(here.mean, abs=1e-9)
    assert there.variance == pytest.approx(here.variance, abs=1e-9)


def test_more_data_than_a_system_can_hold_are_refused():
    covariance, *_ = paddock()
    with pytest.raises(HardpanError, match="nearest data"):
        factorise(covariance, np.zeros((8001, 2)), np.ones((8001, 1)))


def test_values_that_are_no_covariance_are_refused():
    _, xy, drift, _ = paddock()
    negative = Covariance(structures=(Structure(family="exponential", sill=-1.0, length_m=100),))
    with pytest.raises(HardpanError, match="positive definite"):
        factorise(negative, xy, drift)
