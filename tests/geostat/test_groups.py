"""The likelihood summed over groups of sites, against that of all sites together."""

from dataclasses import replace

import numpy as np
import pytest

from hardpan import geostat
from hardpan.geostat import RANGE, search_reml, search_starts
from hardpan.geostat.estimation import mixed_model
from hardpan.geostat.model import likelihood_at
from hardpan.geostat.reml import maximise_reml


def drawn(n=240, seed=6, *, bounded=0.2):
    """Values, a share of them known as bounds, of an exponential field of effective range 150 m on 600 m."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 600, (2, n))
    one = geostat.Structure(family="exponential", sill=1.0, length_m=50.0)
    root = np.linalg.cholesky(geostat.covariance_between(geostat.Covariance(structures=(one,)), *[np.c_[x, y]] * 2))
    z = root @ rng.standard_normal(n) + 0.4 * rng.standard_normal(n)
    upper = np.where(rng.random(n) < bounded, np.inf, z)
    return geostat.observe(x, y, np.where(np.isinf(upper), z - 0.3, z), upper=upper)


def test_groups_too_far_apart_to_know_of_one_another_sum_to_the_likelihood_of_all():
    """Without a trend nothing else joins them: equal to rounding, bounds and all."""
    near, far = drawn(60), drawn(50, seed=7)
    whole = geostat.observe(
        *np.concatenate([near.xy_m[near.observations.site], far.xy_m[far.observations.site] + 1e6]).T,
        np.concatenate([near.observations.low, far.observations.low]),
        upper=np.concatenate([near.observations.high, far.observations.high]), constant=False,
    )  # fmt: skip
    model = mixed_model(whole, "exponential")
    theta = np.where(model.free, search_starts(600.0)[0], model.fixed)
    together = likelihood_at(model, theta)
    apart = likelihood_at(replace(model, groups=(whole.xy_m[:, 0] > 5e5).astype(np.int64)), theta)
    assert apart.value == pytest.approx(together.value, abs=1e-3)  # intervals are propagated to 1e-4 of a deviation
    assert apart.gradient == pytest.approx(together.gradient, abs=1e-3)
    assert apart.information == pytest.approx(together.information, abs=1e-2)


def test_a_single_group_is_the_likelihood_of_all():
    model = mixed_model(drawn(bounded=0.0), "exponential")
    theta = np.where(model.free, search_starts(600.0)[0], model.fixed)
    together, grouped = (likelihood_at(one, theta) for one in (model, replace(model, groups=np.zeros(240, int))))
    assert grouped.value == pytest.approx(together.value, rel=1e-12)
    assert grouped.gradient == pytest.approx(together.gradient, rel=1e-9)


def test_parameters_by_groups_are_those_of_all_within_their_standard_errors():
    data = drawn()
    model = mixed_model(data, "exponential")
    group = np.empty(240, dtype=np.int64)
    group[geostat.morton_order(data.xy_m)] = np.arange(240) // 60
    together = search_reml(model, search_starts(600.0))
    grouped = maximise_reml(replace(model, groups=group), search_starts(600.0))
    off = (grouped.theta[model.free] - together.theta[model.free]) / together.standard_errors[model.free]
    assert np.abs(off).max() < 1.0
    assert 0.8 < grouped.standard_errors[RANGE] / together.standard_errors[RANGE] < 1.5
