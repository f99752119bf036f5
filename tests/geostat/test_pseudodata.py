"""Bounded readings patch by patch against all at once."""

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from hardpan.geostat import Observations, pseudodata
from hardpan.geostat.censored import gaussian_posterior
from hardpan.geostat.parameters import isotropic, site_covariances, to_covariance

THETA = isotropic(np.log([200.0, 0.7, 0.1, 0.2]))


def made(n=240, seed=3):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 900, (n, 2))
    field = np.linalg.cholesky(site_covariances("exponential", xy, THETA[None])[0]) @ rng.standard_normal(n)
    site = np.repeat(np.arange(n), 2)
    y = field[site] + np.sqrt(0.2) * rng.standard_normal(len(site))
    cut = rng.random(len(y)) < 0.5
    return xy, Observations(
        site=site, low=np.where(cut, y - 0.3, y), high=np.where(cut, np.inf, y), error=np.zeros(len(y))
    )


def test_patches_say_what_all_sites_together_say(monkeypatch):
    monkeypatch.setattr(pseudodata, "_PATCH", 60)
    xy, readings = made()
    precision, total = pseudodata.gaussian_pseudodata(to_covariance("exponential", THETA), xy, readings)
    k = site_covariances("exponential", xy, THETA[None])
    whole = gaussian_posterior(k, np.array([0.2]), readings, trend=np.ones((len(xy), 1)), trend_precision=np.zeros(1))
    # the field they lead to, in its own standard deviations: a patch sees its rim's other neighbours only through it
    w = np.linalg.inv(k[0] + np.diag(1.0 / precision))
    ones = np.ones(len(xy))
    z = total / precision
    beta = (ones @ w @ z) / (ones @ w @ ones)
    mean = beta + k[0] @ w @ (z - beta)
    assert np.abs(mean - whole.mean[0]).max() < 0.05 * np.sqrt(whole.variance[0]).min()


def test_values_alone_keep_their_own_precision():
    xy, readings = made()
    exact = Observations(
        site=readings.site, low=readings.low, high=readings.low, error=np.full(len(readings.low), 0.05)
    )
    precision, total = pseudodata.gaussian_pseudodata(to_covariance("exponential", THETA), xy, exact)
    assert precision == pytest.approx(2.0 / 0.25)
    assert total == pytest.approx(np.bincount(exact.site, exact.low) / 0.25)


def test_the_curve_keeps_neighbours_together():
    xy = np.random.default_rng(0).uniform(0, 1000, (2000, 2))
    order = pseudodata.morton_order(xy)
    assert sorted(order) == list(range(2000))
    step = np.linalg.norm(np.diff(xy[order], axis=0), axis=1)
    assert np.median(step) < 3 * np.median(np.sort(cdist(xy, xy), axis=1)[:, 1])
