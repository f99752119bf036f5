"""What kriging must do whatever the data: laws, not numbers."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from hardpan import geostat
from hardpan.geostat import Covariance, Structure, compression, covariance_between
from hardpan.geostat.covariance import block_quadrature

FAMILIES = ("exponential", "spherical", "matern32", "matern52")

structures = st.builds(
    Structure,
    family=st.sampled_from(FAMILIES),
    sill=st.floats(0.05, 5),
    length_m=st.floats(10, 600),
    ratio=st.floats(0.3, 1.0),
    heading_deg=st.floats(0, 180),
)
covariances = st.builds(
    Covariance,
    structures=st.lists(structures, min_size=1, max_size=3).map(tuple),
    micro=st.sampled_from([0.0, 0.1, 1.0]),
    noise=st.sampled_from([0.0, 0.05, 0.5]),
)
seeds = st.integers(0, 10_000)

LAWS = settings(deadline=None, derandomize=True, max_examples=40)  # the same cases on every machine


class Case:
    """Data at least 2 m apart: nearer ones without noise leave no digits for a comparison."""

    def __init__(self, seed, n=25):
        rng = np.random.default_rng(seed)
        lattice = rng.permutation(400)[:n]
        self.xy = np.column_stack([lattice % 20, lattice // 20]) * 20.0 + rng.uniform(0, 18, (n, 2))
        self.z = rng.standard_normal(n)
        self.targets = rng.uniform(0, 400, (40, 2))

    @staticmethod
    def drift(xy):
        return np.column_stack([np.ones(len(xy)), (xy[:, 0] - xy[:, 1]) / 400])


def posed(covariance, xy, drift, z, **options):
    return geostat.condition(geostat.observe(*xy.T, z, trend=drift, constant=False, **options), covariance)


def kriged(field, xy, drift, **options):
    return geostat.krige(field, *xy.T, trend=drift, **options)


def both(field, case, **options):
    return kriged(field, case.targets, case.drift(case.targets), **options)


@given(covariances, seeds)
@LAWS
def test_covariance_is_symmetric_and_no_combination_has_negative_variance(covariance, seed):
    xy = Case(seed).xy
    K = covariance_between(covariance, xy, xy)
    assert np.allclose(K, K.T, rtol=0, atol=1e-12)
    assert np.linalg.eigvalsh(K).min() >= -1e-9 * K.max()


@given(covariances, seeds)
@LAWS
def test_without_noise_the_map_is_exact_and_sure_at_the_data(covariance, seed):
    case = Case(seed)
    bare = Covariance(structures=covariance.structures, micro=covariance.micro)
    field = posed(bare, case.xy, case.drift(case.xy), case.z)
    at = kriged(field, case.xy, case.drift(case.xy))
    assert at.mean == pytest.approx(case.z, abs=1e-6)
    assert at.variance == pytest.approx(0, abs=1e-7 * bare.sill)


@given(covariances, seeds, st.floats(-1e6, 7e6), st.floats(-1e6, 7e6))
@LAWS
def test_moving_the_paddock_does_not_change_the_map(covariance, seed, east_m, north_m):
    case = Case(seed)
    drift, target_drift, move = case.drift(case.xy), case.drift(case.targets), np.array([east_m, north_m])
    here = kriged(posed(covariance, case.xy, drift, case.z), case.targets, target_drift)
    there = kriged(posed(covariance, case.xy + move, drift, case.z), case.targets + move, target_drift)
    assert there.mean == pytest.approx(here.mean, abs=1e-5)  # coordinates of millions of metres end at 1e-9 m
    assert there.variance == pytest.approx(here.variance, abs=1e-6)


@given(covariances, seeds, st.floats(0, 360))
@LAWS
def test_turning_the_paddock_with_its_anisotropy_does_not_change_the_map(covariance, seed, turn_deg):
    case = Case(seed)
    turn = np.deg2rad(turn_deg)
    clockwise = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    turned = Covariance(
        structures=tuple(
            replace(structure, heading_deg=structure.heading_deg + turn_deg) for structure in covariance.structures
        ),
        micro=covariance.micro,
        noise=covariance.noise,
    )
    drift, target_drift = case.drift(case.xy), case.drift(case.targets)
    here = kriged(posed(covariance, case.xy, drift, case.z), case.targets, target_drift)
    there = kriged(posed(turned, case.xy @ clockwise, drift, case.z), case.targets @ clockwise, target_drift)
    assert there.mean == pytest.approx(here.mean, abs=1e-6)
    assert there.variance == pytest.approx(here.variance, abs=1e-7)


@given(covariances, seeds)
@LAWS
def test_the_order_of_rows_does_not_matter(covariance, seed):
    case = Case(seed)
    order = np.random.default_rng(seed).permutation(len(case.z))
    here = both(posed(covariance, case.xy, case.drift(case.xy), case.z), case)
    case.xy, case.z = case.xy[order], case.z[order]
    there = both(posed(covariance, case.xy, case.drift(case.xy), case.z), case)
    assert there.mean == pytest.approx(here.mean, abs=1e-7)
    assert there.variance == pytest.approx(here.variance, abs=1e-8)


@given(covariances, seeds)
@example(Covariance(structures=(Structure(family="matern52", sill=1.0, length_m=286.0),)), 1)  # rounding by 4e-9
@LAWS
def test_variance_lies_between_nothing_and_the_field_plus_its_trend(covariance, seed):
    case = Case(seed)
    field = posed(covariance, case.xy, case.drift(case.xy), case.z)
    found = both(field, case)
    variance = found.variance
    information = np.linalg.inv(field.mixture.posterior.beta_cov[0]) / field.data.scale**2
    drift = case.drift(case.targets) / field.data.trend_scale
    trend = np.linalg.solve(np.linalg.cholesky(information), drift.T)
    # with the trend alone estimated the variance is sill + trend; simple kriging can only take away from the sill
    assert (variance >= 0).all()
    known = kriged(posed(covariance, case.xy, np.empty((25, 0)), case.z), case.targets, np.empty((40, 0)))
    assert (known.variance <= covariance.sill * (1 + 1e-12)).all()
    assert (variance >= known.variance - 1e-9 - found.variance_error - known.variance_error).all()
    assert (variance <= covariance.sill + (np.linalg.norm(trend, axis=0) + np.sqrt(covariance.sill)) ** 2).all()


@given(covariances, seeds)
@LAWS
def test_a_block_is_never_less_sure_than_the_points_in_it(covariance, seed):
    case = Case(seed)
    field = posed(covariance, case.xy, np.empty((25, 0)), case.z)
    centre, nothing = case.targets[:1], np.empty((16, 0))
    block = kriged(field, centre, nothing[:1], block_m=15.0).variance[0]
    offsets, weights = block_quadrature(15.0)
    points = kriged(field, centre + offsets, nothing).variance
    assert block <= weights @ points + 1e-9


@given(covariances, seeds, st.booleans())
@settings(LAWS, max_examples=15)
def test_leaving_out_equals_refitting(covariance, seed, by_group):
    case = Case(seed)
    groups = np.arange(25) // 4 if by_group else np.arange(25)
    drift = case.drift(case.xy)
    extra = np.linspace(0.01, 0.3, 25)
    left = geostat.leave_out(posed(covariance, case.xy, drift, case.z, error_variance=extra), groups)
    for group in range(0, groups.max() + 1, 3):
        rest, out = groups != group, groups == group
        refit = posed(covariance, case.xy[rest], drift[rest], case.z[rest], error_variance=extra[rest])
        alone = kriged(refit, case.xy[out], drift[out])
        assert left.mean[out] == pytest.approx(alone.mean, abs=1e-9)
        assert left.variance[out] == pytest.approx(alone.variance + covariance.noise + extra[out], abs=1e-9)


@pytest.mark.slow
@given(covariances, seeds, st.sampled_from([None, 4.0]))
@settings(LAWS, max_examples=20)
def test_the_compressed_grid_is_within_its_stated_error(covariance, seed, block_m):
    case = Case(seed, n=60)
    drift = case.drift(case.xy)
    field = posed(covariance, case.xy, drift, case.z)
    x = np.arange(1.0, 400, 4.0)
    y = x[::-1]
    X, Y = np.meshgrid(x, y)
    places = np.column_stack([X.ravel(), Y.ravel()])
    trend = case.drift(places)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compression, "_exact_cost", lambda _: np.inf)  # so few data would be solved exactly
        grid = geostat.krige_grid(field, x, y, trend=trend.reshape(100, 100, 2), block_m=block_m, tolerance=5e-6)
    event("exact" if grid.mean_error == 0 else "compressed")
    part = slice(None, None, 37)
    exact = kriged(field, places[part], trend[part], block_m=block_m)
    rounding = 1e-9 * (1 + np.abs(exact.mean).max())
    assert np.abs(grid.mean.ravel()[part] - exact.mean).max() <= grid.mean_error + rounding
    assert np.abs(grid.variance.ravel()[part] - exact.variance).max() <= grid.variance_error + 1e-9 * covariance.sill


@given(covariances, seeds)
@settings(LAWS, max_examples=10)
def test_threads_do_not_change_a_digit(covariance, seed):
    case = Case(seed, n=60)
    field = posed(covariance, case.xy, case.drift(case.xy), case.z)
    x = np.arange(1.0, 400, 4.0)
    trend = case.drift(np.stack(np.meshgrid(x, x), axis=-1).reshape(-1, 2)).reshape(100, 100, 2)
    one, three = (geostat.krige_grid(field, x, x, trend=trend, threads=t) for t in (1, 3))
    assert np.array_equal(one.mean, three.mean)
    assert np.array_equal(one.variance, three.variance)
    a, b = (both(field, case, threads=t) for t in (1, 3))
    assert np.array_equal(a.mean, b.mean)
    assert np.array_equal(a.variance, b.variance)
