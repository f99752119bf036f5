from itertools import pairwise

import numpy as np
import pytest

from hardpan.core.errors import HardpanError
from hardpan.geostat import variogram as module
from hardpan.geostat.variogram import Variogram, empirical_variogram, fit_variogram


def field(n=400, seed=2):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 300, (n, 2))
    xy[1] = xy[0]
    return xy, np.sin(xy[:, 0] / 40) + rng.standard_normal(n)


def by_hand(xy, z, edges, estimate):
    i, j = np.triu_indices(len(z), k=1)
    h, d = np.hypot(*(xy[i] - xy[j]).T), np.abs(z[i] - z[j])
    inside = [(h > a) & (h <= b) | ((h == 0) & (a == 0)) for a, b in pairwise(edges)]
    return [c.sum() for c in inside], [h[c].mean() for c in inside], [estimate(d[c]) for c in inside]


ESTIMATORS = {
    "matheron": lambda d: np.mean(d**2) / 2,
    "cressie-hawkins": lambda d: np.mean(np.sqrt(d)) ** 4 / (0.457 + 0.494 / len(d) + 0.045 / len(d) ** 2) / 2,
    "dowd": lambda d: 2.198 * np.median(d) ** 2 / 2,
}


@pytest.mark.parametrize("edges", [np.linspace(0, 150, 11), np.array([10.0, 20.0, 55.0, 130.0])])
@pytest.mark.parametrize("estimator", list(ESTIMATORS))
@pytest.mark.parametrize("compiled", [False, True])
def test_each_class_is_what_its_definition_says(monkeypatch, estimator, compiled, edges):
    if compiled:
        pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
        monkeypatch.setattr(module, "_WORTH_COMPILING", 0)
    xy, z = field()
    got = empirical_variogram(xy, z, edges_m=edges, estimator=estimator, threads=2)
    pairs, distance, gamma = by_hand(xy, z, edges, ESTIMATORS[estimator])
    assert got.pairs.tolist() == pairs
    assert got.distance_m == pytest.approx(distance, rel=1e-12)
    assert got.semivariance == pytest.approx(gamma, rel=1e-12)


def test_row_order_and_threads_do_not_matter():
    xy, z = field(5000)
    shuffle = np.random.default_rng(0).permutation(len(z))
    one = empirical_variogram(xy, z)
    other = empirical_variogram(xy[shuffle], z[shuffle], threads=2)
    assert one.pairs.tolist() == other.pairs.tolist()
    assert one.semivariance == pytest.approx(other.semivariance, rel=1e-12)


@pytest.mark.parametrize("families", [("spherical",), ("exponential",), ("matern52",), ("spherical", "spherical")])
def test_a_curve_without_error_is_found_again(families):
    h = np.linspace(20, 900, 30)
    lengths = (120.0, 600.0)[: len(families)]
    gamma = 0.3 + sum(
        (1 - module.correlation(f, h / a)) * s for f, a, s in zip(families, lengths, (1.0, 0.7), strict=False)
    )
    fit = fit_variogram(Variogram(pairs=np.full(30, 500), distance_m=h, semivariance=gamma), families)
    assert fit.nugget == pytest.approx(0.3, abs=1e-6)
    assert sorted(s.length_m for s in fit.structures) == pytest.approx(lengths, rel=1e-5)
    assert fit.identified


def test_a_variogram_without_sill_is_said_not_to_identify_the_length():
    h = np.linspace(20, 900, 15)
    fit = fit_variogram(Variogram(pairs=np.full(15, 500), distance_m=h, semivariance=0.01 * h), ("exponential",))
    assert not fit.identified


def test_one_place_has_no_variogram():
    with pytest.raises(HardpanError, match="two places"):
        empirical_variogram(np.zeros((3, 2)), np.arange(3.0))


def test_too_few_classes_are_refused():
    with pytest.raises(HardpanError, match="distance classes"):
        fit_variogram(Variogram(pairs=np.ones(2, int), distance_m=np.array([1.0, 2]), semivariance=np.ones(2)))
