"""Effects in the mixed model: laws, and what classical analysis of variance gives where it holds."""

import numpy as np
import pytest

from hardpan import geostat
from hardpan.core.errors import HardpanError

RIPPED = np.array([0.0, 1.0])


def strips(*, n_strips=8, per_strip=12, strip_sd=1.0, noise=1.0, seed=1, apart_m=30.0):
    """Strips side by side, every second one treated: x, y, z, treated, strip."""
    rng = np.random.default_rng(seed)
    strip = np.repeat(np.arange(n_strips), per_strip)
    y = np.tile(10.0 * np.arange(per_strip), n_strips)
    z = 20.0 + strip_sd * rng.standard_normal(n_strips)[strip] + noise * rng.standard_normal(len(strip))
    return apart_m * strip, y, z, (strip % 2).astype(float), strip


def fitted(x, y, z, treated, strip=None):
    return geostat.fit_effects(geostat.observe(x, y, z, trend=treated), "exponential", strip)


def test_an_effect_that_is_added_is_found_added():
    x, y, z, treated, strip = strips()
    before, after = (fitted(x, y, z + added * treated, treated, strip).effect(RIPPED) for added in (0.0, 5.0))
    # the scale the search works in is that of the data with the effect, so its end differs in the last digits
    assert after.estimate - before.estimate == pytest.approx(5.0, abs=1e-3)
    assert after.se == pytest.approx(before.se, rel=0.02)


def test_the_order_and_the_unit_of_the_data_do_not_matter():
    x, y, z, treated, strip = strips(seed=3)
    mixed = np.random.default_rng(0).permutation(len(z))
    one = fitted(x, y, z, treated, strip).effect(RIPPED)
    other = fitted(x[mixed], y[mixed], 1000 * z[mixed], treated[mixed], strip[mixed]).effect(RIPPED)
    assert other.estimate == pytest.approx(1000 * one.estimate, rel=1e-5)
    assert other.se == pytest.approx(1000 * one.se, rel=1e-4)
    assert other.df == pytest.approx(one.df, rel=1e-2)


def test_strips_far_apart_are_compared_as_analysis_of_variance_does():
    """The error is that of the means of ten strips in each treatment; a field over many strips may take up a tenth."""
    x, y, z, treated, strip = strips(n_strips=20, strip_sd=3.0, seed=5, apart_m=5000.0)
    found = fitted(x, y, z, treated, strip).effect(RIPPED)
    means = np.array([z[strip == one].mean() for one in range(20)])
    even, odd = means[::2], means[1::2]
    pooled = np.sqrt((even.var(ddof=1) + odd.var(ddof=1)) / 10)
    assert found.estimate == pytest.approx(odd.mean() - even.mean(), abs=0.1 * pooled)
    assert found.se == pytest.approx(pooled, rel=0.1)


def test_an_error_of_strips_widens_the_interval():
    x, y, z, treated, strip = strips(n_strips=8, strip_sd=3.0, noise=0.5, seed=2)
    with_strips, without = fitted(x, y, z, treated, strip), fitted(x, y, z, treated)
    assert with_strips.log_likelihood >= without.log_likelihood - 1e-6
    assert with_strips.group_variance >= 0.0
    assert with_strips.effect(RIPPED).df < with_strips.contrasts


def test_independent_errors_leave_about_as_many_degrees_of_freedom_as_there_are():
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0, 1000, (2, 120))
    treated = (np.arange(120) % 2).astype(float)
    found = fitted(x, y, rng.standard_normal(120), treated).effect(RIPPED)
    assert 60 <= found.df <= 118


def test_the_interval_is_that_of_student():
    one = geostat.Effect(estimate=1.0, se=0.5, df=4.0)
    assert one.interval(0.9) == pytest.approx(
        (1.0 - 2.131847 * 0.5, 1.0 + 2.131847 * 0.5), abs=1e-6
    )  # printed tables of t


def test_effects_that_cannot_be_told_apart_are_refused():
    x, y, z, treated, _ = strips()
    with pytest.raises(HardpanError, match="cannot be told apart"):
        geostat.fit_effects(geostat.observe(x, y, z, trend=np.column_stack([treated, 2 * treated])))


def test_two_data_at_one_place_are_refused():
    with pytest.raises(HardpanError, match="several observations"):
        geostat.fit_effects(geostat.observe([0.0, 0.0, 5.0], [0.0, 0.0, 1.0], [1.0, 2.0, 3.0]))
