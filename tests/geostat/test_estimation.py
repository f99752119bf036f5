"""REML on x, y and z, in the units of the values."""

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from hardpan import geostat


def made(n=80, repeats=1, seed=3):
    rng = np.random.default_rng(seed)
    xy, covariate = rng.uniform(0, 600, (n, 2)), rng.uniform(20, 40, n)
    k = 900.0 * np.exp(-cdist(xy, xy) / 80.0)
    field = 500.0 + 3.0 * covariate + np.linalg.cholesky(k + 1e-9 * np.eye(n)) @ rng.standard_normal(n)
    of = np.repeat(np.arange(n), repeats)
    return xy[of], covariate[of], field[of] + 10.0 * rng.standard_normal(len(of))


def restricted_likelihood(covariance, xy, x, z):
    """Patterson and Thompson's, written out in the units of the values."""
    (structure,) = covariance.structures
    away = cdist(xy, xy)
    v = structure.sill * np.exp(-away / structure.length_m) + covariance.micro * (away == 0)
    v += covariance.noise * np.eye(len(z))
    inverse = np.linalg.inv(v)
    information = x.T @ inverse @ x
    beta = np.linalg.solve(information, x.T @ inverse @ z)
    residual = z - x @ beta
    log_dets = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
    contrasts = len(z) - x.shape[1]
    value = -0.5 * (log_dets + residual @ inverse @ residual + contrasts * np.log(2 * np.pi))
    return value, beta, np.sqrt(np.diag(np.linalg.inv(information)))


@pytest.mark.parametrize("repeats", [1, 2])
def test_likelihood_and_trend_are_those_of_the_values_in_their_units(repeats):
    xy, covariate, z = made(repeats=repeats)
    fit = geostat.fit_reml(geostat.observe(*xy.T, z, trend=covariate))
    x = np.column_stack([np.ones(len(z)), covariate])
    value, beta, beta_se = restricted_likelihood(fit.covariance, xy, x, z)
    assert fit.log_likelihood == pytest.approx(value, abs=1e-6)
    assert fit.aic == pytest.approx(2 * (3 + (repeats > 1)) - 2 * value, abs=1e-6)
    assert fit.beta == pytest.approx(beta, rel=1e-8)
    assert fit.beta_se == pytest.approx(beta_se, rel=1e-8)


def test_the_likelihood_is_highest_there():
    xy, covariate, z = made()
    fit = geostat.fit_reml(geostat.observe(*xy.T, z, trend=covariate))
    x = np.column_stack([np.ones(len(z)), covariate])
    (structure,) = fit.covariance.structures
    top = restricted_likelihood(fit.covariance, xy, x, z)[0]
    for sill, length, nugget in ((1.3, 1, 1), (0.75, 1, 1), (1, 1.3, 1), (1, 0.75, 1), (1, 1, 1.3), (1, 1, 0.75)):
        moved = geostat.Structure(
            family="exponential", sill=sill * structure.sill, length_m=length * structure.length_m
        )
        other = geostat.Covariance(structures=(moved,), micro=nugget * fit.covariance.micro)
        assert restricted_likelihood(other, xy, x, z)[0] < top


def test_a_spherical_covariance_is_searched_from_several_ranges():
    """Its likelihood has several tops: log zinc of the Meuse has one at 861 m and a higher one."""
    skgstat = pytest.importorskip("skgstat")
    xy, zinc = (np.asarray(part, dtype=float) for part in skgstat.data.meuse(variable="zinc")["sample"])
    z, x = np.log(zinc.ravel()), np.ones((155, 1))
    away = cdist(xy, xy)
    fit = geostat.fit_reml(geostat.observe(*xy.T, z), "spherical")

    def value(range_m, sill, nugget):
        r = np.minimum(away / range_m, 1.0)
        v = sill * (1 - 1.5 * r + 0.5 * r**3) + nugget * np.eye(155)
        inverse = np.linalg.inv(v)
        beta = (x.T @ inverse @ z) / (x.T @ inverse @ x)
        residual = z - beta[0, 0]
        terms = np.linalg.slogdet(v)[1] + np.log((x.T @ inverse @ x)[0, 0]) + residual @ inverse @ residual
        return -0.5 * (terms + 154 * np.log(2 * np.pi))

    ranges = np.geomspace(200, 3000, 15)
    best = max(value(a, s, n) for a in ranges for s in (0.4, 0.6, 0.9, 1.3) for n in (0.02, 0.04, 0.06))
    assert fit.log_likelihood >= best
    # the top that a search from 861 m does not reach
    assert fit.log_likelihood > value(861.0, 0.6, 0.05) + 3.5


def test_the_nugget_is_called_what_was_asked_for():
    xy, covariate, z = made()
    data = geostat.observe(*xy.T, z, trend=covariate)
    micro, noise = (geostat.fit_reml(data, nugget=kind).covariance for kind in ("micro", "noise"))
    assert micro.noise == noise.micro == 0
    assert micro.micro == noise.noise


def test_repeats_tell_micro_scale_and_noise_apart():
    xy, covariate, z = made(repeats=3)
    covariance = geostat.fit_reml(geostat.observe(*xy.T, z, trend=covariate)).covariance
    assert covariance.noise == pytest.approx(100.0, rel=0.4)  # 160 degrees of freedom
    assert covariance.micro < covariance.noise


def test_auto_takes_the_family_of_lowest_aic():
    xy, covariate, z = made()
    data = geostat.observe(*xy.T, z, trend=covariate)
    fits = [geostat.fit_reml(data, family) for family in geostat.LOCAL]
    chosen = geostat.fit_reml(data, "auto")
    assert chosen.aic == pytest.approx(min(fit.aic for fit in fits), abs=1e-6)


def test_draws_of_a_field_with_integrated_parameters_have_the_variance_of_its_map():
    xy, covariate, z = made(n=15)
    whole = geostat.integrate(geostat.observe(*xy.T, z, trend=covariate))
    assert whole.mixture.effective_number > 3
    places, at = np.random.default_rng(0).uniform(0, 600, (2, 50)), {"trend": np.full(50, 30.0)}
    draws, kriged = geostat.simulate(whole, *places, 4000, 1, **at), geostat.krige(whole, *places, **at)
    assert draws.mean(axis=0) == pytest.approx(kriged.mean, abs=5 * np.sqrt(kriged.variance.max() / 4000))
    assert draws.var(axis=0) == pytest.approx(kriged.variance, rel=0.15)
