"""The public functions on x, y and z: what kriging must do, whichever covariance is given."""

import numpy as np
import pytest

from hardpan import geostat
from hardpan.core.errors import HardpanError
from hardpan.geostat import Covariance, Structure


def paddock(n=40, seed=1, **parts):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 500, (n, 2)) + np.array([500_000.0, 6_300_000.0])
    covariance = Covariance(structures=(Structure(family="exponential", sill=0.9, length_m=100),), **parts)
    return covariance, xy, np.column_stack([np.ones(n), (xy[:, 0] - 500_250) / 250]), rng.standard_normal(n)


def posed(covariance, xy, drift, z, **options):
    return geostat.condition(geostat.observe(*xy.T, z, trend=drift, constant=False, **options), covariance)


def kriged(field, xy, drift, **options):
    return geostat.krige(field, *xy.T, trend=drift, **options)


def test_without_noise_the_map_goes_through_the_data():
    covariance, xy, drift, z = paddock(micro=0.1)
    at_data = kriged(posed(covariance, xy, drift, z), xy, drift)
    assert at_data.mean == pytest.approx(z, abs=1e-9)
    assert at_data.variance == pytest.approx(0, abs=1e-9)


def test_leaving_one_out_equals_refitting_without_it():
    covariance, xy, drift, z = paddock(micro=0.1, noise=0.2)
    left = geostat.leave_out(posed(covariance, xy, drift, z))
    for i in range(len(z)):
        rest = np.arange(len(z)) != i
        refit = kriged(posed(covariance, xy[rest], drift[rest], z[rest]), xy[i : i + 1], drift[i : i + 1])
        assert left.mean[i] == pytest.approx(refit.mean[0], abs=1e-9)
        assert left.variance[i] == pytest.approx(refit.variance[0] + 0.2, abs=1e-9)


def test_the_grid_equals_the_points_and_is_missing_outside_the_mask():
    covariance, xy, drift, z = paddock(noise=0.1)
    field = posed(covariance, xy, drift, z)
    x, y = 500_000 + np.arange(5, 500, 10.0), 6_300_500 - np.arange(5, 500, 10.0)
    X, Y = np.meshgrid(x, y)
    trend = np.stack([np.ones_like(X), (X - 500_250) / 250], axis=-1)
    mask = X + Y < 6_800_500
    grid = geostat.krige_grid(field, x, y, inside=mask, trend=trend, block_m=10.0, threads=2)
    points = kriged(field, np.column_stack([X[mask], Y[mask]]), trend[mask], block_m=10.0)
    assert grid.mean[mask] == pytest.approx(points.mean, abs=1e-6)
    assert grid.variance[mask] == pytest.approx(points.variance, abs=1e-6)
    assert np.isnan(grid.mean[~mask]).all()


def test_coincident_data_without_noise_act_as_their_average():
    covariance, xy, drift, z = paddock()
    xy[1], drift[1] = xy[0], drift[0]
    at = kriged(posed(covariance, xy, drift, z), xy[:1], drift[:1])
    assert at.mean[0] == pytest.approx((z[0] + z[1]) / 2, abs=1e-9)


def test_without_structure_the_map_is_the_trend():
    _, xy, drift, z = paddock()
    field = posed(Covariance(structures=(), noise=0.5), xy, drift, z)
    x = 500_000 + np.arange(0, 500, 2.0)
    trend = np.stack([np.ones((250, 250)), np.broadcast_to((x - 500_250) / 250, (250, 250))], axis=-1)
    grid = geostat.krige_grid(field, x, x + 5_800_000, trend=trend)
    line = np.linalg.lstsq(drift, z)[0]
    assert grid.mean == pytest.approx(trend @ line, abs=1e-9)


def test_one_datum_and_a_known_mean_are_enough():
    covariance, xy, _, z = paddock()
    field = geostat.condition(geostat.observe(*xy[:1].T, z[:1], constant=False), covariance)
    alone = geostat.krige(field, *xy[:2].T)
    shared = np.exp(-np.hypot(*(xy[0] - xy[1])) / 100)
    assert alone.mean == pytest.approx([z[0], z[0] * shared], abs=1e-9)
    assert alone.variance == pytest.approx([0, 0.9 * (1 - shared**2)], abs=1e-9)


def test_a_value_known_to_be_above_a_bound_raises_the_map():
    """One datum above its bound: the mean there is that of a normal law cut off below."""
    covariance = Covariance(structures=(), micro=1.0)
    data = geostat.observe([0.0], [0.0], [0.5], upper=[np.inf], error_variance=[1e-9], constant=False)
    kriged_there = geostat.krige(geostat.condition(data, covariance), [0.0], [0.0])
    upper_tail = 0.3085375387259869  # of the standard normal above 0.5
    mean = np.exp(-0.125) / np.sqrt(2 * np.pi) / upper_tail
    assert kriged_there.mean[0] == pytest.approx(mean, abs=1e-5)
    assert kriged_there.variance[0] == pytest.approx(1 + 0.5 * mean - mean**2, abs=1e-5)


def test_the_constant_of_the_trend_is_understood():
    covariance, xy, drift, z = paddock(micro=0.1, noise=0.1)
    said = kriged(posed(covariance, xy, drift, z), xy + 7, drift)
    data = geostat.observe(*xy.T, z + 1000, trend=drift[:, 1])
    meant = geostat.krige(geostat.condition(data, covariance), *(xy + 7).T, trend=drift[:, 1])
    assert meant.mean - 1000 == pytest.approx(said.mean, abs=1e-9)
    assert meant.variance == pytest.approx(said.variance, abs=1e-9)


def test_the_scale_of_a_trend_column_does_not_matter():
    covariance, xy, drift, z = paddock(noise=0.1)
    here = kriged(posed(covariance, xy, drift, z), xy + 7, drift)
    scales = np.array([1e-9, 1e9])
    there = kriged(posed(covariance, xy, drift * scales, z), xy + 7, drift * scales)
    assert there.mean == pytest.approx(here.mean, abs=1e-9)
    assert there.variance == pytest.approx(here.variance, abs=1e-9)


def test_covariates_must_be_given_at_the_targets_too():
    covariance, xy, drift, z = paddock(noise=0.1)
    with pytest.raises(HardpanError, match="2, as at the observations"):
        geostat.krige(posed(covariance, xy, drift, z), *xy.T)


def test_a_trend_that_the_data_do_not_tell_is_refused():
    covariance, xy, drift, z = paddock()
    with pytest.raises(HardpanError, match="not independent"):
        posed(covariance, xy, np.column_stack([drift, drift[:, 0]]), z)


def test_more_data_than_a_system_can_hold_are_refused():
    covariance, *_ = paddock()
    x = np.arange(8001.0)
    with pytest.raises(HardpanError, match="nearest data"):
        geostat.condition(geostat.observe(x, x, x), covariance)


def test_values_that_are_no_covariance_are_refused():
    _, xy, drift, z = paddock()
    negative = Covariance(structures=(Structure(family="exponential", sill=-1.0, length_m=100),))
    with pytest.raises(HardpanError, match="positive"):
        posed(negative, xy, drift, z)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"z": [1.0, np.nan, 2.0]}, "missing"),
        ({"x": [0.0, np.inf, 1.0]}, "infinite"),
        ({"z": [1.0, 2.0]}, "3 places, 2 values"),
        ({"upper": [2.0, 1.0, 9.0]}, "below its lower end"),
    ],
)
def test_observations_that_cannot_be_used_are_refused_in_one_line(change, says):
    given = {"x": [0.0, 1.0, 2.0], "y": [0.0, 0.0, 0.0], "z": [1.0, 3.0, 2.0]} | change
    with pytest.raises(HardpanError, match=says):
        geostat.observe(given["x"], given["y"], given["z"], upper=given.get("upper"))


def test_means_of_a_known_error_are_kriged_as_if_there_were_no_noise():
    rng = np.random.default_rng(2)
    x, y, z = rng.uniform(0, 300, 12), rng.uniform(0, 300, 12), rng.normal(5.0, 1.0, 12)
    error = rng.uniform(0.0, 0.4, 12)
    one = geostat.Structure(family="exponential", sill=1.0, length_m=80.0)
    noisy, plain = (geostat.Covariance(structures=(one,), micro=0.1, noise=noise) for noise in (0.7, 0.0))
    means = geostat.observe(x, y, z, error_variance=error, noisy=np.zeros(12))
    singles = geostat.observe(x, y, z, error_variance=error)
    found, expected = geostat.condition(means, noisy), geostat.condition(singles, plain)
    for ask in (lambda field: geostat.krige(field, [10.0, 150.0], [20.0, 90.0]), geostat.leave_out):
        np.testing.assert_allclose(ask(found).mean, ask(expected).mean)
        np.testing.assert_allclose(ask(found).variance, ask(expected).variance)
    with pytest.raises(HardpanError, match="one length"):
        geostat.observe(x, y, z, noisy=np.zeros(3))
