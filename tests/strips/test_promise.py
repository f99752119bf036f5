"""What pairs of strips can show, against the noncentral t distribution and against simulated harvests."""

import numpy as np
import pytest
from scipy.stats import nct, t

from hardpan.strips.promise import detectable, power_of


@pytest.mark.parametrize("pairs", [2, 3, 4, 6, 8, 20])
@pytest.mark.parametrize("difference", [0.0, 0.05, 0.12])
def test_the_chance_is_that_of_the_noncentral_t(pairs, difference):
    # oracle: scipy.stats.nct, which the package does not use because it fails far out
    level, cv = 0.9, 0.06
    edge, ncp = t.ppf(0.95, pairs - 1), difference / (cv * np.sqrt(2 / pairs))
    right = nct.sf(edge, pairs - 1, ncp) + nct.cdf(-edge, pairs - 1, ncp)
    assert power_of(difference, pairs, cv, level=level) == pytest.approx(right, abs=3e-4)


@pytest.mark.parametrize(("pairs", "power", "level"), [(2, 0.8, 0.9), (4, 0.8, 0.9), (6, 0.9, 0.95)])
def test_a_difference_of_that_size_is_found_as_often_as_promised(pairs, power, level):
    rng, cv = np.random.default_rng(5), 0.08
    promised = detectable(pairs, cv, level=level, power=power)
    harvests = 20_000
    ripped, left = 1 + promised + cv * rng.normal(size=(harvests, pairs)), 1 + cv * rng.normal(size=(harvests, pairs))
    differences = ripped - left
    statistic = differences.mean(axis=1) / (differences.std(axis=1, ddof=1) / np.sqrt(pairs))
    found = (np.abs(statistic) > t.ppf((1 + level) / 2, pairs - 1)).mean()
    assert found == pytest.approx(power, abs=4 * np.sqrt(power * (1 - power) / harvests))


def test_more_pairs_find_less_and_rougher_ground_finds_more():
    many = [detectable(pairs, 0.06, level=0.9, power=0.8) for pairs in (2, 3, 4, 8, 40)]
    assert many == sorted(many, reverse=True)
    assert detectable(4, 0.12, level=0.9, power=0.8) == pytest.approx(2 * detectable(4, 0.06, level=0.9, power=0.8))


def test_a_single_pair_promises_nothing():
    assert np.isnan(detectable(1, 0.06, level=0.9, power=0.8))


@pytest.mark.parametrize(("level", "power"), [(0.99, 0.99), (0.9, 0.101), (0.5, 0.05)])
def test_the_ends_of_level_and_power_have_an_answer(level, power):
    found = detectable(2, 0.06, level=level, power=power)
    assert found >= 0
    assert power_of(found, 2, 0.06, level=level) == pytest.approx(max(power, 1 - level), abs=1e-3)
