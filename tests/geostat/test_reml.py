"""Restricted likelihood, its gradient and its optimum, against independently written ones."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial.distance import cdist
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from hardpan.geostat import Observations, censored
from hardpan.geostat.covariance import correlation, covariance_at
from hardpan.geostat.model import MixedModel, likelihood_at, posterior_at
from hardpan.geostat.parameters import (
    ANISO_COS,
    EFFECTIVE_RANGE,
    FAMILIES,
    N_PARAMETERS,
    isotropic,
    log_length_derivative,
    parameter_bounds,
    to_covariance,
)
from hardpan.geostat.reml import maximise_reml

PLAIN = np.arange(N_PARAMETERS) < ANISO_COS


def made(n=60, replicates=2, seed=5, family="exponential", p=2):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 900, (n, 2))
    k = 0.7 * np.exp(-cdist(xy, xy) / 100.0) + 0.1 * np.eye(n)
    site = np.repeat(np.arange(n), replicates)
    trend = np.column_stack([np.ones(n), (xy[:, 0] - 450) / 450])[:, :p]
    y = (np.linalg.cholesky(k) @ rng.standard_normal(n))[site] + 0.4 * rng.standard_normal(len(site))
    return MixedModel(
        xy_m=xy,
        trend=trend,
        trend_precision=np.zeros(p),
        observations=Observations(site=site, low=y, high=y, error=np.zeros(len(y))),
        family=family,
        free=PLAIN,
        fixed=isotropic(np.zeros(4)),
        bounds=parameter_bounds((20.0, 3000.0)),
    )


def restricted_likelihood(theta, model):
    """Patterson and Thompson's, written out for the readings one by one: nothing is shared with the package."""
    range_m, sill, micro, noise = np.exp(theta[:4])
    site, y = model.observations.site, model.observations.low
    x = model.trend[site]
    length = range_m / 2.995732273553991
    v = sill * np.exp(-cdist(model.xy_m, model.xy_m)[np.ix_(site, site)] / length)
    v += micro * (site[:, None] == site[None, :]) + noise * np.eye(len(y))
    inverse = np.linalg.inv(v)
    information = x.T @ inverse @ x
    beta = np.linalg.solve(information, x.T @ inverse @ y)
    residual = y - x @ beta
    value = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1] + residual @ inverse @ residual
    return -0.5 * (value + (len(y) - x.shape[1]) * np.log(2 * np.pi))


STARTS = isotropic(np.array([[np.log(r), np.log(0.5), np.log(0.1), np.log(0.2)] for r in (60.0, 200.0, 600.0)]))


def test_the_likelihood_is_the_restricted_one():
    model = made()
    for theta in STARTS:
        found = posterior_at(model, theta[None])
        assert found.log_evidence[0] == pytest.approx(restricted_likelihood(theta, model), abs=1e-8)


def test_the_optimum_is_that_of_an_independent_search():
    model = made(n=35, seed=0)
    fit = maximise_reml(model, STARTS)
    other = minimize(
        lambda theta: -restricted_likelihood(theta, model), STARTS[1, :4], method="Nelder-Mead",
        bounds=model.bounds[:4], options={"maxiter": 800, "maxfev": 800, "xatol": 1e-5, "fatol": 1e-8},
    )  # fmt: skip
    assert fit.objective == pytest.approx(-other.fun, abs=1e-4)
    # the optimum is flat: a likelihood equal to 1e-4 leaves about 1 % in a parameter
    assert np.exp(fit.theta[:4]) == pytest.approx(np.exp(other.x), rel=0.02)


@pytest.mark.parametrize(("family", "nu"), [("exponential", 0.5), ("matern32", 1.5), ("matern52", 2.5)])
def test_without_trend_and_repeats_the_likelihood_is_scikit_learns(family, nu):
    model = made(replicates=1, p=0, family=family)
    theta = isotropic(np.array([[np.log(250.0), np.log(0.6), -np.inf, np.log(0.3)]]))
    kernel = ConstantKernel(0.6) * Matern(length_scale=250.0 / EFFECTIVE_RANGE[family], nu=nu) + WhiteKernel(0.3)
    peer = GaussianProcessRegressor(kernel, alpha=0.0, optimizer=None).fit(model.xy_m, model.observations.low)
    found = posterior_at(model, theta)
    assert found.log_evidence[0] == pytest.approx(peer.log_marginal_likelihood_value_, abs=1e-8)


FORMS = {
    "one structure": (0.0, 0.0, -np.inf, 0.0),
    "stretched": (0.5, -0.8, -np.inf, 0.0),
    "nested": (0.0, 0.0, -0.6, -1.2),
    "both": (-0.3, 0.4, 0.4, -1.0),
}


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("stopped", [0.0, 0.5])
def test_the_gradient_is_that_of_the_likelihood(family, stopped, form, monkeypatch):
    monkeypatch.setattr(censored, "TOLERANCE", 1e-10)
    model = made(n=30, family=family)
    y = model.observations.low
    cut = np.random.default_rng(0).random(len(y)) < stopped
    readings = replace(model.observations, low=np.where(cut, y - 0.4, y), high=np.where(cut, np.inf, y))
    theta = np.array([np.log(220.0), np.log(0.6), np.log(0.15), np.log(0.2), *form])
    model = replace(model, observations=readings, free=np.ones(N_PARAMETERS, dtype=bool))
    gradient = likelihood_at(model, theta).gradient
    for j in range(4 if form[2] == -np.inf and not form[0] else N_PARAMETERS):
        step = 1e-4 * np.eye(N_PARAMETERS)[j]
        ends = [posterior_at(model, (theta + sign * step)[None]).log_evidence[0] for sign in (1, -1)]
        assert gradient[j] == pytest.approx((ends[0] - ends[1]) / 2e-4, rel=1e-4, abs=1e-5)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_slope_of_the_correlation_is_its_derivative_by_the_length(family):
    h, step = np.linspace(0.05, 3.0, 40), 1e-6
    up, down = (correlation(family, h / np.exp(sign * step)) for sign in (1, -1))
    assert log_length_derivative(family, h, correlation(family, h.copy())) == pytest.approx(
        (up - down) / (2 * step), abs=1e-6
    )


@pytest.mark.parametrize("family", FAMILIES)
def test_five_percent_of_the_correlation_is_left_at_the_effective_range(family):
    left = 0.0 if family == "spherical" else 0.05
    assert correlation(family, np.array([EFFECTIVE_RANGE[family]]))[0] == pytest.approx(left, abs=1e-9)


def test_white_noise_does_not_pin_the_range():
    model = made()
    y = np.random.default_rng(2).standard_normal(len(model.observations.low))
    noise = replace(model, observations=replace(model.observations, low=y, high=y))
    assert not maximise_reml(noise, STARTS).identified


def test_a_ramp_without_a_trend_has_no_range():
    """A plane under a constant mean looks like a field of endless range: the likelihood climbs to the bound."""
    model = made(p=1)
    y = ((model.xy_m[:, 0] - 450) / 260)[model.observations.site]
    y = y + 0.05 * np.random.default_rng(2).standard_normal(len(y))
    ramp = replace(model, observations=replace(model.observations, low=y, high=y))
    assert not maximise_reml(ramp, STARTS).identified


def test_standard_errors_hold_the_truth_as_often_as_they_say():
    """The noise of 24 fields is known: its errors in standard errors have a spread near 1 (0.15 is its own error)."""
    errors = []
    for seed in range(24):
        fit = maximise_reml(made(n=25, replicates=3, seed=seed), STARTS)
        errors.append((fit.theta[3] - np.log(0.16)) / fit.standard_errors[3])
    assert 0.6 < np.std(errors) < 1.45
    assert abs(np.mean(errors)) < 0.65


@pytest.mark.parametrize("family", FAMILIES)
def test_a_range_searched_for_is_where_the_covariance_is_down_to_five_percent(family):
    """What the effective range is by definition: 5 % of the sill is left there, or nothing where the family ends."""
    theta = isotropic(np.log([100.0, 2.0, 1e-3, 1e-3]))
    left = covariance_at(to_covariance(family, theta), np.array([[0.0, 100.0]]))[0]
    assert left == pytest.approx(0.0 if family == "spherical" else 0.05 * 2.0, abs=1e-9)
