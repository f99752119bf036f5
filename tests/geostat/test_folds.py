import numpy as np
import pytest

from hardpan.geostat.covariance import Covariance, Structure
from hardpan.geostat.folds import leave_one_out
from hardpan.geostat.kriging import factorise, predict


def case(n=40):
    rng = np.random.default_rng(6)
    xy = rng.uniform(0, 300, (n, 2))
    site = np.arange(n) // 2
    xy[1::2] = xy[::2]  # two insertions a site
    covariance = Covariance(structures=(Structure(family="spherical", sill=1.0, length_m=150),), micro=0.2, noise=0.1)
    return covariance, xy, site, rng.standard_normal(n)


def test_leaving_out_a_site_is_predicting_it_from_the_others():
    covariance, xy, site, z = case()
    drift = np.ones((40, 1))
    mean, variance = leave_one_out(factorise(covariance, xy, drift, site=site), z, site)
    for code in range(20):
        rest = site != code
        alone = predict(factorise(covariance, xy[rest], drift[rest], site=site[rest]), z[rest], xy[~rest], drift[~rest])
        assert mean[~rest] == pytest.approx(alone.mean, abs=1e-9)
        assert variance[~rest] == pytest.approx(alone.variance + 0.1, abs=1e-9)


def test_leaving_out_one_of_two_insertions_keeps_the_site_known():
    covariance, xy, site, z = case()
    system = factorise(covariance, xy, np.ones((40, 1)), site=site)
    one, whole = leave_one_out(system, z)[1], leave_one_out(system, z, site)[1]
    assert (one < whole).all()


def test_groups_of_one_are_single_data():
    covariance, xy, site, z = case()
    system = factorise(covariance, xy, np.ones((40, 1)), site=site)
    labels = np.random.default_rng(0).permutation(40)
    for a, b in zip(leave_one_out(system, z), leave_one_out(system, z, labels), strict=True):
        assert a == pytest.approx(b, abs=1e-12)


def test_a_soil_type_seen_only_by_the_group_left_out_is_missing():
    covariance, xy, site, z = case()
    soil = np.column_stack([site != 3, site == 3]).astype(float)
    mean, variance = leave_one_out(factorise(covariance, xy, soil, site=site), z, site)
    assert np.isnan(mean[site == 3]).all()
    assert np.isnan(variance[site == 3]).all()
    assert np.isfinite(mean[site != 3]).all()
    alone = np.column_stack([np.arange(40) != 5, np.arange(40) == 5]).astype(float)
    mean, _ = leave_one_out(factorise(covariance, xy, alone, site=site), z)
    assert np.flatnonzero(np.isnan(mean)).tolist() == [5]
