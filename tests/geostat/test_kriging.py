import numpy as np
import pytest

from hardpan import geostat
from hardpan.geostat import Covariance, Structure


def case(n=40):
    rng = np.random.default_rng(6)
    xy = rng.uniform(0, 300, (n, 2))
    xy[1::2] = xy[::2]  # two insertions a site
    covariance = Covariance(structures=(Structure(family="spherical", sill=1.0, length_m=150),), micro=0.2, noise=0.1)
    return covariance, xy, np.arange(n) // 2, rng.standard_normal(n)


def posed(covariance, xy, drift, z):
    return geostat.condition(geostat.observe(*xy.T, z, trend=drift, constant=False), covariance)


@pytest.mark.parametrize("width", [1, 3], ids=["sites", "blocks"])
@pytest.mark.parametrize("noise", [0.1, 0.0])
def test_leaving_out_sites_is_predicting_them_from_the_others(noise, width):
    covariance, xy, site, z = case()
    covariance = Covariance(structures=covariance.structures, micro=covariance.micro, noise=noise)
    drift, fold = np.column_stack([np.ones(40), xy[:, 0] / 100]), site // width
    if not noise:
        z[1::2] = z[::2]
    left = geostat.leave_out(posed(covariance, xy, drift, z), None if width == 1 else fold)
    for code in range(fold.max() + 1):
        rest = fold != code
        alone = geostat.krige(posed(covariance, xy[rest], drift[rest], z[rest]), *xy[~rest].T, trend=drift[~rest])
        assert left.mean[~rest] == pytest.approx(alone.mean, abs=1e-8)
        assert left.variance[~rest] == pytest.approx(alone.variance + noise, abs=1e-8)


def test_a_site_that_only_bounds_were_seen_at_is_left_out_with_the_others_as_they_are():
    """A site without any observation loses what its fold's other sites told of it."""
    covariance, xy, _, z = case()
    field = posed(covariance, xy, np.ones((40, 1)), z)
    mixture = field.mixture
    empty = np.array([[150.0, 150.0]])
    sites = np.vstack([mixture.xy_m, empty])
    with_empty = geostat.condition_on(
        Covariance(structures=mixture.correlations[0].structures, noise=0.3),
        sites, mixture.observations, trend=np.ones((21, 1)), trend_precision=np.zeros(1),
    )  # fmt: skip
    fold = np.arange(21) // 7
    mean, variance = geostat.leave_out_sites(with_empty, fold)
    kept = np.isin(mixture.observations.site, np.flatnonzero(fold != 2))
    rest = geostat.Observations(
        **{name: getattr(mixture.observations, name)[kept] for name in ("site", "low", "high", "error")}
    )
    alone = geostat.condition_on(
        Covariance(structures=mixture.correlations[0].structures, noise=0.3),
        sites, rest, trend=np.ones((21, 1)), trend_precision=np.zeros(1),
    )  # fmt: skip
    assert mean[fold == 2] == pytest.approx(alone.at_sites()[0][fold == 2], abs=1e-9)
    assert variance[fold == 2] == pytest.approx(alone.at_sites()[1][fold == 2], abs=1e-9)


def test_folds_of_one_site_are_single_sites():
    covariance, xy, site, z = case()
    field = posed(covariance, xy, np.ones((40, 1)), z)
    labels = np.random.default_rng(0).permutation(20)[site]
    one, other = geostat.leave_out(field), geostat.leave_out(field, labels)
    assert one.mean == pytest.approx(other.mean, abs=1e-12)
    assert one.variance == pytest.approx(other.variance, abs=1e-12)


@pytest.mark.parametrize("width", [1, 2], ids=["sites", "blocks"])
def test_a_soil_type_seen_only_by_the_fold_left_out_is_missing(width):
    covariance, xy, site, z = case()
    fold = site // width
    soil = np.column_stack([fold != 3, fold == 3]).astype(float)
    left = geostat.leave_out(posed(covariance, xy, soil, z), fold)
    assert np.isnan(left.mean[fold == 3]).all()
    assert np.isnan(left.variance[fold == 3]).all()
    assert np.isfinite(left.mean[fold != 3]).all()
