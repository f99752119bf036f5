"""Covariance parameters integrated out; sites left out; the field between sites."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.distance import cdist

import hardpan.geostat.mixture as mixture_module
from hardpan.geostat import Observations, krige_places
from hardpan.geostat.censored import gaussian_posterior
from hardpan.geostat.covariance import block_quadrature, covariance_between
from hardpan.geostat.kriging import leave_out_sites
from hardpan.geostat.mixture import integrate_parameters
from hardpan.geostat.model import MixedModel, posterior_at
from hardpan.geostat.parameters import (
    MICRO,
    N_PARAMETERS,
    NOISE,
    RANGE,
    SILL,
    Priors,
    isotropic,
    parameter_bounds,
)
from hardpan.geostat.reml import maximise_reml, observe_information

RANGES = np.geomspace(60.0, 2500.0, 9)
PRIORS = Priors(log_range=float(np.log(350.0)))
START = isotropic(np.array([[np.log(300.0), np.log(0.5), np.log(0.1), np.log(0.2)]]))


def made(n=30, stopped=0.3, seed=7, *, spatial=True):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 900, (n, 2))
    k = 0.7 * np.exp(-cdist(xy, xy) / 100.0) * spatial + 0.2 * np.eye(n)
    site = np.repeat(np.arange(n), 3)
    y = (np.linalg.cholesky(k) @ rng.standard_normal(n))[site] + 0.4 * rng.standard_normal(len(site))
    cut = rng.random(len(y)) < stopped
    return MixedModel(
        xy_m=xy,
        trend=np.ones((n, 1)),
        trend_precision=np.zeros(1),
        observations=Observations(
            site=site, low=np.where(cut, y - 0.4, y), high=np.where(cut, np.inf, y), error=np.zeros(len(y))
        ),
        family="exponential",
        free=np.isin(np.arange(N_PARAMETERS), [RANGE, SILL] * spatial + [MICRO, NOISE]),
        fixed=isotropic(np.array([np.log(300.0), -np.inf, 0.0, 0.0])),
        bounds=parameter_bounds((60.0, 2500.0)),
    )


@pytest.mark.parametrize("seed", [7, 8, 9])
def test_the_mixture_is_that_of_a_dense_grid(seed):
    """Two parameters are few enough to integrate by brute force: 60 x 60 midpoints over all that matters."""
    model = made(n=12, seed=seed, spatial=False)
    mixture = integrate_parameters(observe_information(maximise_reml(model, START, PRIORS), PRIORS), PRIORS, RANGES)
    micro, noise = (grid.ravel() for grid in np.meshgrid(np.linspace(-9.0, 3.0, 60), np.linspace(-4.0, 0.0, 60)))
    theta = isotropic(np.column_stack([np.full(len(micro), np.log(300.0)), np.full(len(micro), -np.inf), micro, noise]))
    found = posterior_at(model, theta)
    log_weight = found.log_evidence + PRIORS(theta)[0]
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    ours = mixture.weight @ mixture.posterior.mean
    exact = weight @ found.mean
    assert ours == pytest.approx(exact, abs=0.03)
    spread = mixture.weight @ (mixture.posterior.variance + mixture.posterior.mean**2) - ours**2
    wanted = weight @ (found.variance + found.mean**2) - exact**2
    # some fifty points of even weight leave a few percent in a standard deviation
    assert np.sqrt(spread) == pytest.approx(np.sqrt(wanted), rel=0.06)


def test_an_optimum_in_a_corner_of_the_bounds_stands_for_itself(monkeypatch):
    """Readings that say next to nothing put every variance at its bound, and all points about it beyond."""
    model = made(n=12, spatial=False)
    fit = observe_information(maximise_reml(model, START, PRIORS), PRIORS)
    monkeypatch.setattr(mixture_module, "_quasi_random", lambda count, _: (np.full((count, 2), 99.0),) * 2)
    mixture = integrate_parameters(fit, PRIORS, RANGES)
    assert mixture.parameters == pytest.approx(fit.theta[model.free][np.newaxis])


@pytest.mark.parametrize("block_m", [None, 40.0])
def test_kriging_a_mixture_is_kriging_each_of_its_covariances(block_m):
    model = made()
    mixture = integrate_parameters(observe_information(maximise_reml(model, START, PRIORS), PRIORS), PRIORS, RANGES)
    assert len(mixture.correlations) > 1
    target = np.array([[420.0, 380.0], [850.0, 30.0]])
    offsets, share = block_quadrature(block_m)
    means, seconds = 0.0, 0.0
    for j, w in enumerate(mixture.weight):
        found, sill, shape = mixture.posterior, mixture.sill[j], mixture.correlations[mixture.which[j]]
        c = sill * sum(
            s * covariance_between(shape, target + o, model.xy_m) for s, o in zip(share, offsets, strict=True)
        )
        wx = found.precision[j] @ model.trend
        left = 1.0 - c @ wx
        mean = found.beta[j] + c @ found.weights[j]
        own = sill * share @ covariance_between(shape, offsets, offsets) @ share
        variance = own + (0 if block_m else mixture.micro[j]) - np.einsum("ij,jk,ik->i", c, found.precision[j], c)
        variance += left[:, 0] ** 2 * found.beta_cov[j, 0, 0]
        means, seconds = means + w * mean, seconds + w * (variance + mean**2)
    kriged = krige_places(mixture, target, np.ones((2, 1)), block_m)
    assert kriged.mean == pytest.approx(means, rel=1e-9)
    assert kriged.variance == pytest.approx(seconds - means**2, rel=1e-9)


def test_the_prior_slope_is_its_derivative():
    for j in range(4):
        step = 1e-6 * np.eye(N_PARAMETERS)[j]
        numeric = (PRIORS(START + 0.3 + step)[0] - PRIORS(START + 0.3 - step)[0]) / 2e-6
        assert PRIORS(START + 0.3)[1][0, j] == pytest.approx(numeric[0], abs=1e-6)


@pytest.mark.parametrize("folds", ["site", "block"])
def test_leaving_out_equals_conditioning_on_the_rest(folds):
    model = made(stopped=0.0)
    mixture = integrate_parameters(
        observe_information(maximise_reml(model, START, PRIORS), PRIORS), PRIORS, RANGES, points_per_range=2
    )
    fold = np.arange(30) if folds == "site" else np.arange(30) // 7
    mean, variance = leave_out_sites(mixture, fold)
    k = mixture.site_covariances()
    for out in (0, 3, 4):
        kept = ~np.isin(model.observations.site, np.flatnonzero(fold == fold[out]))
        rest = Observations(
            **{name: getattr(model.observations, name)[kept] for name in ("site", "low", "high", "error")}
        )
        alone = gaussian_posterior(k, mixture.noise, rest, trend=model.trend, trend_precision=model.trend_precision)
        expected = mixture.weight @ alone.mean[:, out]
        second = mixture.weight @ (alone.variance[:, out] + alone.mean[:, out] ** 2)
        assert mean[out] == pytest.approx(expected, abs=1e-9)
        assert variance[out] == pytest.approx(second - expected**2, abs=1e-9)


def test_leaving_out_bounded_readings_is_close_to_conditioning_on_the_rest():
    """The other sites' factors were fitted with the site in: a difference of second order."""
    model = made(stopped=0.5)
    mixture = integrate_parameters(
        observe_information(maximise_reml(model, START, PRIORS), PRIORS), PRIORS, RANGES, points_per_range=2
    )
    mean, _ = leave_out_sites(mixture, np.arange(30))
    k = mixture.site_covariances()
    for out in range(0, 30, 5):
        kept = model.observations.site != out
        rest = Observations(
            **{name: getattr(model.observations, name)[kept] for name in ("site", "low", "high", "error")}
        )
        alone = gaussian_posterior(k, mixture.noise, rest, trend=model.trend, trend_precision=model.trend_precision)
        assert mean[out] == pytest.approx(mixture.weight @ alone.mean[:, out], abs=0.02)


def test_the_order_of_the_readings_does_not_matter():
    model = made()
    order = np.random.default_rng(0).permutation(len(model.observations.site))
    shuffled = replace(
        model,
        observations=Observations(
            **{name: getattr(model.observations, name)[order] for name in ("site", "low", "high", "error")}
        ),
    )
    one, other = (
        integrate_parameters(observe_information(maximise_reml(m, START, PRIORS), PRIORS), PRIORS, RANGES)
        for m in (model, shuffled)
    )
    assert one.weight @ one.posterior.mean == pytest.approx(other.weight @ other.posterior.mean, abs=1e-3)
