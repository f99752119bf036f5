import numpy as np
import pytest

from hardpan import geostat
from hardpan.core.errors import HardpanError
from hardpan.geostat import Covariance, Structure, krige_nearest, neighbourhood

NESTED = Covariance(
    structures=(
        Structure(family="exponential", sill=0.5, length_m=60, ratio=0.5, heading_deg=30),
        Structure(family="spherical", sill=0.3, length_m=200),
        Structure(family="matern32", sill=0.2, length_m=40),
        Structure(family="matern52", sill=0.1, length_m=90),
    ),
    micro=0.05,
    noise=0.1,
)


def dense(n=300, m=400, seed=3):
    rng = np.random.default_rng(seed)
    xy, targets = rng.uniform(0, 400, (n, 2)), rng.uniform(0, 400, (m, 2))
    targets[:5] = xy[:5]
    trend = [np.column_stack([np.ones(len(a)), a[:, 0] / 200]) for a in (xy, targets)]
    return xy, trend[0], rng.standard_normal(n) + xy[:, 0] / 100, targets, trend[1]


def globally(xy, drift, z, targets, target_drift):
    field = geostat.condition(geostat.observe(*xy.T, z, trend=drift, constant=False), NESTED)
    return geostat.krige(field, *targets.T, trend=target_drift)


def test_with_all_data_as_neighbours_it_is_global_kriging():
    xy, drift, z, targets, target_drift = dense(n=60)
    here = krige_nearest(NESTED, xy, drift, z, targets, target_drift, neighbours=60)
    there = globally(xy, drift, z, targets, target_drift)
    assert here.mean == pytest.approx(there.mean, abs=1e-10)
    assert here.variance == pytest.approx(there.variance, abs=1e-10)


@pytest.mark.slow
@pytest.mark.parametrize("block_m", [None, 10.0])
@pytest.mark.parametrize("strict", [True, False])
def test_compiled_and_plain_loops_agree(monkeypatch, strict, block_m):
    pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    xy, drift, z, targets, target_drift = dense()
    both = []
    for worth in (0, 10**12):
        monkeypatch.setattr(neighbourhood, "_WORTH_COMPILING", worth)
        both.append(
            krige_nearest(
                NESTED, xy, drift, z, targets, target_drift, neighbours=16, strict=strict, block_m=block_m, threads=2
            )
        )
    assert both[0].mean == pytest.approx(both[1].mean, abs=1e-9)
    assert both[0].variance == pytest.approx(both[1].variance, abs=1e-9)


def test_strict_takes_exactly_the_nearest():
    xy, drift, z, targets, target_drift = dense(m=30)
    local = krige_nearest(NESTED, xy, drift, z, targets, target_drift, neighbours=12, strict=True)
    for t in range(30):
        near = np.argsort(np.hypot(*(xy - targets[t]).T))[:12]
        alone = globally(xy[near], drift[near], z[near], targets[t : t + 1], target_drift[t : t + 1])
        assert local.mean[t] == pytest.approx(alone.mean[0], abs=1e-9)
        assert local.variance[t] == pytest.approx(alone.variance[0], abs=1e-9)


def test_repeats_at_one_place_are_as_good_as_their_mean_with_less_noise():
    xy, drift, z, targets, target_drift = dense(n=40)
    twice = krige_nearest(
        NESTED, np.vstack([xy, xy]), np.vstack([drift, drift]), np.append(z, z + 0.3), targets, target_drift,
        neighbours=40,
    )  # fmt: skip
    joint = globally(np.vstack([xy, xy]), np.vstack([drift, drift]), np.append(z, z + 0.3), targets, target_drift)
    assert twice.mean == pytest.approx(joint.mean, abs=1e-9)
    assert twice.variance == pytest.approx(joint.variance, abs=1e-9)


@pytest.mark.parametrize("worth", [0, 10**12])
def test_where_the_neighbours_do_not_tell_the_trend_the_map_is_missing(monkeypatch, worth):
    if not worth:
        pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    monkeypatch.setattr(neighbourhood, "_WORTH_COMPILING", worth)
    xy, _, z, targets, _ = dense()
    soil = np.column_stack([xy[:, 0] < 200, xy[:, 0] >= 200]).astype(float)
    of_east = np.column_stack([np.zeros(len(targets)), np.ones(len(targets))])
    local = krige_nearest(NESTED, xy, soil, z, targets, of_east, neighbours=8)
    assert np.isnan(local.mean[targets[:, 0] < 100]).all()
    assert np.isfinite(local.mean[targets[:, 0] > 200]).all()
    assert np.isnan(local.mean).tolist() == np.isnan(local.variance).tolist()


def test_too_few_neighbours_for_the_trend_are_refused():
    xy, drift, z, targets, target_drift = dense()
    with pytest.raises(HardpanError, match="more than 2"):
        krige_nearest(NESTED, xy, drift, z, targets, target_drift, neighbours=2)


@pytest.mark.parametrize("worth", [0, 10**12])
def test_threads_and_the_order_of_rows_do_not_matter(monkeypatch, worth):
    if not worth:
        pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    monkeypatch.setattr(neighbourhood, "_WORTH_COMPILING", worth)
    xy, drift, z, targets, target_drift = dense()
    order, moved = np.random.default_rng(0).permutation(300), np.random.default_rng(1).permutation(400)
    one = krige_nearest(NESTED, xy, drift, z, targets, target_drift, neighbours=12)
    other = krige_nearest(
        NESTED, xy[order], drift[order], z[order], targets[moved], target_drift[moved], neighbours=12, threads=3
    )
    assert other.mean == pytest.approx(one.mean[moved], abs=1e-12)
    assert other.variance == pytest.approx(one.variance[moved], abs=1e-12)


@pytest.mark.parametrize("worth", [0, 10**12])
def test_a_known_mean_of_zero_needs_no_trend_columns(monkeypatch, worth):
    if not worth:
        pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    monkeypatch.setattr(neighbourhood, "_WORTH_COMPILING", worth)
    xy, _, z, targets, _ = dense(n=60)
    here = krige_nearest(NESTED, xy, np.empty((60, 0)), z, targets, np.empty((400, 0)), neighbours=60)
    there = globally(xy, np.empty((60, 0)), z, targets, np.empty((400, 0)))
    assert here.mean == pytest.approx(there.mean, abs=1e-10)
    assert here.variance == pytest.approx(there.variance, abs=1e-10)


@pytest.mark.parametrize("worth", [0, 10**12])
def test_map_coordinates_of_millions_of_metres_keep_their_digits(monkeypatch, worth):
    if not worth:
        pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    monkeypatch.setattr(neighbourhood, "_WORTH_COMPILING", worth)
    xy, drift, z, targets, target_drift = dense()
    move = np.array([612_345.6, 6_254_321.1])
    here = krige_nearest(NESTED, xy, drift, z, targets, target_drift, neighbours=12)
    there = krige_nearest(NESTED, xy + move, drift, z, targets + move, target_drift, neighbours=12)
    assert there.mean == pytest.approx(here.mean, abs=1e-6)
    assert there.variance == pytest.approx(here.variance, abs=1e-7)


def test_no_targets_have_no_map():
    xy, drift, z, *_ = dense()
    nothing = krige_nearest(NESTED, xy, drift, z, np.empty((0, 2)), np.empty((0, 2)))
    assert nothing.mean.shape == nothing.variance.shape == (0,)
