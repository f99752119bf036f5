"""Means over sites, against Student's and Darwin's paired examples and against simulated fields."""

import numpy as np
import pytest

from hardpan.verify.means import site_mean

NOWHERE = np.empty((0, 2))


def plain(values, level):
    return site_mean(np.array(values), np.zeros((len(values), 2)), NOWHERE, range_m=0.0, micro=1.0, level=level)


def test_darwins_maize_has_its_published_interval():
    # Fisher 1935, The Design of Experiments, section 17: 15 pairs of maize plants, differences in eighths of an inch;
    # R's agridat darwin.maize: mean 2.616667 in, 95 % from 0.003899165 to 5.229434169.
    eighths = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]
    found = plain([one / 8 for one in eighths], 0.95)
    assert (found.value, found.low, found.high) == pytest.approx((2.616667, 0.003899165, 5.229434169), abs=1e-6)


def test_students_sleep_data_have_their_published_interval():
    # Student 1908, Biometrika 6: 1-25; R's data set sleep: paired 95 % interval -2.4598858 to -0.7001142.
    first = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
    second = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
    found = plain(first - second, 0.95)
    assert (found.low, found.high) == pytest.approx((-2.4598858, -0.7001142), abs=5e-7)


def test_one_site_has_no_interval():
    found = plain([0.8], 0.9)
    assert (found.low, found.high) == (-np.inf, np.inf)


@pytest.mark.parametrize("huddled", [False, True])
def test_the_interval_covers_the_mean_of_the_zone_wherever_the_sites_lie(huddled):
    rng = np.random.default_rng(3)
    axis = np.linspace(10, 390, 12)
    block = np.column_stack([one.ravel() for one in np.meshgrid(axis, axis)])
    covered, tried = 0, 400
    for _ in range(tried):
        xy = rng.uniform(0, 60 if huddled else 400, (6, 2))
        every = np.concatenate([block, xy])
        apart = np.hypot(*(every[:, None] - every[None]).transpose(2, 0, 1))
        field = np.linalg.cholesky(np.exp(-3 * apart / 200) + 1e-9 * np.eye(len(every))) @ rng.normal(size=len(every))
        found = site_mean(field[len(block) :], xy, block, range_m=200.0, micro=0.0, level=0.9)
        covered += found.low <= field[: len(block)].mean() <= found.high
    assert 0.85 <= covered / tried <= 1.0
