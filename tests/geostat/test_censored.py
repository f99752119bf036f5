"""The field given values and bounds: against closed forms, an independent integral, and a sampler."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from scipy.stats import multivariate_normal, norm, truncnorm

from hardpan.geostat import Observations, censored
from hardpan.geostat.censored import gaussian_posterior
from hardpan.geostat.observations import interval_moments


def paddock(n=8, replicates=2, seed=3):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 400, (n, 2))
    k = 0.8 * np.exp(-cdist(xy, xy) / 120.0) + 0.1 * np.eye(n)
    site = np.repeat(np.arange(n), replicates)
    y = (np.linalg.cholesky(k) @ rng.standard_normal(n))[site] + 0.4 * rng.standard_normal(len(site))
    return k, site, y


def readings_of(site, y, *, stopped=(), trend_precision=0.3):
    low, high = y.copy(), y.copy()
    low[list(stopped)] -= trend_precision
    high[list(stopped)] = np.inf
    return Observations(site=site, low=low, high=high, error=np.zeros(len(y)))


def whole_covariance(k, site, noise, trend, trend_precision):
    return k[np.ix_(site, site)] + noise * np.eye(len(site)) + (trend / trend_precision) @ trend.T


def test_one_bound_gives_the_closed_form():
    k, site, y = paddock()
    readings = readings_of(site, y, stopped=[5])
    trend, trend_precision = np.ones((len(k), 1)), np.array([0.25])
    found = gaussian_posterior(k[None], np.array([0.16]), readings, trend=trend, trend_precision=trend_precision)
    v = whole_covariance(k, site, 0.16, trend[site], trend_precision)
    seen = readings.exact
    gain = np.linalg.solve(v[np.ix_(seen, seen)], v[np.ix_(seen, ~seen)])[:, 0]
    mean, variance = gain @ y[seen], v[5, 5] - gain @ v[seen, 5]
    expected = multivariate_normal(np.zeros(seen.sum()), v[np.ix_(seen, seen)]).logpdf(y[seen])
    expected += norm.logsf(readings.low[5], mean, np.sqrt(variance))
    assert found.log_evidence[0] == pytest.approx(expected, abs=1e-9)


def test_one_bound_moves_the_field_as_the_truncated_normal_says():
    k, site, y = paddock()
    readings = readings_of(site, y, stopped=[5], trend_precision=-0.4)
    none = np.zeros((len(k), 0))
    found = gaussian_posterior(k[None], np.array([0.16]), readings, trend=none, trend_precision=np.zeros(0))
    v = whole_covariance(k, site, 0.16, np.zeros((len(y), 1)), np.ones(1))
    seen = readings.exact
    gain = np.linalg.solve(v[np.ix_(seen, seen)], v[np.ix_(seen, ~seen)])[:, 0]
    mean, sd = gain @ y[seen], np.sqrt(v[5, 5] - gain @ v[seen, 5])
    cut = truncnorm((readings.low[5] - mean) / sd, np.inf, loc=mean, scale=sd)
    onto = np.linalg.solve(v, k[np.ix_(site, range(len(k)))])
    field_mean = onto.T @ np.where(seen, y, cut.mean())
    field_variance = np.diag(k - k[:, site] @ onto) + onto[5] ** 2 * cut.var()
    # the factors stop moving at TOLERANCE of a standard deviation
    assert found.mean[0] == pytest.approx(field_mean, abs=1e-4)
    assert found.variance[0] == pytest.approx(field_variance, rel=1e-4)


@pytest.mark.parametrize(
    ("stopped", "trend_precision"),
    [
        ([1, 4, 9, 12], 1e-5),  # bounds at different sites hardly lean on one another
        ([1, 4, 5, 9, 12], 0.02),  # site 2 has bounds only: their factors stand in for a product no normal equals
    ],
)
def test_many_bounds_agree_with_the_normal_integral(stopped, trend_precision):
    """The oracle is scipy's quasi-Monte Carlo integral (Genz); expectation propagation is close, not exact, here."""
    k, site, y = paddock()
    readings = readings_of(site, y, stopped=stopped)
    trend, flat = np.ones((len(k), 1)), np.array([0.25])
    found = gaussian_posterior(k[None], np.array([0.16]), readings, trend=trend, trend_precision=flat)
    v = whole_covariance(k, site, 0.16, trend[site], flat)
    seen = readings.exact
    gain = np.linalg.solve(v[np.ix_(seen, seen)], v[np.ix_(seen, ~seen)])
    mean, spread = gain.T @ y[seen], v[np.ix_(~seen, ~seen)] - gain.T @ v[np.ix_(seen, ~seen)]
    integral = multivariate_normal.cdf(
        -readings.low[~seen], -mean, spread, abseps=1e-8, releps=1e-8, rng=np.random.default_rng(1)
    )
    expected = multivariate_normal(np.zeros(seen.sum()), v[np.ix_(seen, seen)]).logpdf(y[seen]) + np.log(integral)
    assert found.log_evidence[0] == pytest.approx(expected, abs=trend_precision)


def test_the_field_agrees_with_a_sampler_that_fills_the_bounds_in():
    """Gibbs augmentation: values beyond the bounds drawn given the field, the field given the values."""
    k, site, y = paddock(n=10, replicates=3)
    rng = np.random.default_rng(0)
    stopped = rng.permutation(len(y))[: len(y) // 2]
    readings = readings_of(site, y, stopped=stopped, trend_precision=0.5)
    found = gaussian_posterior(
        k[None], np.array([0.16]), readings, trend=np.zeros((len(k), 0)), trend_precision=np.zeros(0)
    )
    onto = np.eye(len(k))[site]
    posterior = np.linalg.inv(np.linalg.inv(k) + onto.T @ onto / 0.16)
    root = np.linalg.cholesky(posterior)
    field, total, square = np.zeros((1500, len(k))), 0.0, 0.0
    for sweep in range(220):
        low = (readings.low - field[:, site]) / 0.4
        filled = field[:, site] + 0.4 * truncnorm.rvs(low, np.inf, random_state=rng)
        filled[:, readings.exact] = y[readings.exact]
        field = filled @ onto @ posterior / 0.16 + rng.standard_normal(field.shape) @ root.T
        if sweep >= 20:
            total, square = total + field.mean(axis=0), square + (field**2).mean(axis=0)
    mean, variance = total / 200, square / 200 - (total / 200) ** 2
    # 300,000 dependent draws: the standard error of a mean is near 0.002
    assert found.mean[0] == pytest.approx(mean, abs=0.01)
    assert np.sqrt(found.variance[0]) == pytest.approx(np.sqrt(variance), rel=0.02)


@pytest.mark.parametrize(("low", "high"), [(-0.3, np.inf), (-np.inf, 0.4), (-0.2, 0.5), (8.0, np.inf), (8.0, 9.0)])
def test_interval_moments_are_derivatives_of_the_probability(low, high):
    mean, variance, step = 0.2, 0.7, 1e-4
    log_z, slope, bend = (float(x) for x in interval_moments(*map(np.float64, (mean, variance, low, high))))

    def exact(m):
        sd = np.sqrt(variance)
        a, b = (low - m) / sd, (high - m) / sd
        return np.log(norm.sf(a) - norm.sf(b)) if low > m else np.log(norm.cdf(b) - norm.cdf(a))

    assert log_z == pytest.approx(exact(mean), rel=1e-9)
    assert slope == pytest.approx((exact(mean + step) - exact(mean - step)) / (2 * step), rel=1e-5)
    second = (exact(mean + step) - 2 * exact(mean) + exact(mean - step)) / step**2
    assert bend == pytest.approx(-second, rel=1e-3)


def test_a_bound_forty_deviations_away_is_still_a_number():
    assert np.isfinite(interval_moments(np.float64(0.0), np.float64(1.0), np.float64(40.0), np.float64(np.inf))).all()


def test_means_with_a_known_error_have_none_of_the_noise():
    """Half of the values scatter by the noise, half are means of a known error: the normal law written out."""
    k, site, y = paddock()
    mean = np.arange(len(y)) % 2 == 1
    error = np.where(mean, 0.05 + 0.01 * np.arange(len(y)), 0.0)
    seen = Observations(site=site, low=y, high=y, error=error, noisy=np.where(mean, 0.0, 1.0))
    nothing = np.empty((len(k), 0))
    found = gaussian_posterior(k[None], np.array([0.16]), seen, trend=nothing, trend_precision=np.empty(0))
    whole = k[np.ix_(site, site)] + np.diag(np.where(mean, error, 0.16))
    onto = k[:, site] @ np.linalg.inv(whole)
    np.testing.assert_allclose(found.mean[0], onto @ y)
    np.testing.assert_allclose(found.variance[0], np.diag(k - onto @ k[site]))
    assert found.log_evidence[0] == pytest.approx(multivariate_normal(cov=whole).logpdf(y))


@pytest.mark.parametrize("noisy", [None, np.arange(16) % 4 / 3.0])
def test_the_derivative_by_the_noise_is_that_of_the_likelihood(noisy, monkeypatch):
    monkeypatch.setattr(censored, "TOLERANCE", 1e-10)
    k, site, y = paddock()
    readings = readings_of(site, y, stopped=[1, 4, 5, 9])
    readings = replace(readings, noisy=noisy, error=np.full(len(y), 0.0 if noisy is None else 0.05))
    trend, trend_precision = np.ones((len(k), 1)), np.zeros(1)

    def at(noise):
        return gaussian_posterior(k[None], np.array([noise]), readings, trend=trend, trend_precision=trend_precision)

    numeric = (at(0.16 + 1e-5).log_evidence - at(0.16 - 1e-5).log_evidence) / 2e-5
    assert at(0.16).noise_derivative == pytest.approx(numeric, rel=1e-5)


def test_a_stack_of_covariances_gives_what_each_gives_alone():
    k, site, y = paddock()
    readings = readings_of(site, y, stopped=[1, 4, 5])
    stack, noise = np.stack([k, 2 * k, 0.3 * k]), np.array([0.16, 0.2, 0.1])
    options = {"trend": np.ones((len(k), 1)), "trend_precision": np.zeros(1)}
    together = gaussian_posterior(stack, noise, readings, **options)
    for j in range(3):
        alone = gaussian_posterior(stack[j : j + 1], noise[j : j + 1], readings, **options)
        assert together.mean[j] == pytest.approx(alone.mean[0], abs=1e-4)
        assert together.log_evidence[j] == pytest.approx(alone.log_evidence[0], abs=1e-6)


@pytest.mark.parametrize("leak", [0.0, 0.2, 0.9])
def test_an_interval_that_may_be_reported_wrongly_gives_the_integral(leak):
    # One site with a prior of N(0.4, 0.8), a report "below 0" with noise of variance 1: by quadrature.
    seen = Observations(
        site=np.zeros(1, int), low=np.array([-np.inf]), high=np.zeros(1), error=np.zeros(1), leak=np.array([leak])
    )
    none = np.empty((1, 0)), np.empty(0)
    value = np.linspace(-9.0, 9.0, 200_001)
    likelihood = leak + (1.0 - leak) * norm.cdf(-value)
    density = norm.pdf(value, 0.0, np.sqrt(0.8)) * likelihood
    total = np.trapezoid(density, value)
    found = gaussian_posterior(
        np.full((1, 1, 1), 0.8), np.ones(1), seen, trend=none[0], trend_precision=none[1], tolerance=1e-9
    )
    assert found.mean[0, 0] == pytest.approx(np.trapezoid(value * density, value) / total, abs=1e-4)
    assert found.log_evidence[0] == pytest.approx(np.log(total), abs=1e-4)


def test_an_interval_reported_whatever_the_value_says_nothing():
    k, site, y = paddock()
    readings = readings_of(site, y)
    more = Observations(
        site=np.append(site, 2), low=np.append(y, -np.inf), high=np.append(y, -3.0), error=np.zeros(len(y) + 1),
        leak=np.append(np.zeros(len(y)), 1.0),
    )  # fmt: skip
    trend = {"trend": np.ones((len(k), 1)), "trend_precision": np.array([0.25])}
    without = gaussian_posterior(k[None], np.array([0.16]), readings, **trend)
    with_it = gaussian_posterior(k[None], np.array([0.16]), more, **trend)
    np.testing.assert_allclose(with_it.mean, without.mean, atol=1e-5)
