"""What pairs of strips can show, against the noncentral t distribution and against simulated harvests."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nct, t

from hardpan.records.trial import Treatment
from hardpan.strips.promise import degrees_between, detectable, power_of
from hardpan.trials.effects import strip_effects


@pytest.mark.parametrize("pairs", [2, 3, 4, 6, 8, 20])
@pytest.mark.parametrize("difference", [0.0, 0.05, 0.12])
def test_the_chance_is_that_of_the_noncentral_t(pairs, difference):
    # oracle: scipy.stats.nct, which the package does not use because it fails far out
    level, cv = 0.9, 0.06
    for df in (pairs - 1, 2 * pairs - 2):
        edge, ncp = t.ppf(0.95, df), difference / (cv * np.sqrt(2 / pairs))
        right = nct.sf(edge, df, ncp) + nct.cdf(-edge, df, ncp)
        assert power_of(difference, pairs, cv, df=df, level=level) == pytest.approx(right, abs=3e-4)


@pytest.mark.parametrize(("pairs", "power", "level"), [(2, 0.8, 0.9), (4, 0.8, 0.9), (6, 0.9, 0.95)])
def test_a_difference_of_that_size_is_found_as_often_as_promised(pairs, power, level):
    """Strips that err by themselves alone, held against their spread within either treatment."""
    rng, cv = np.random.default_rng(5), 0.08
    promised = detectable(pairs, cv, level=level, power=power)
    harvests = 20_000
    ripped, left = 1 + promised + cv * rng.normal(size=(harvests, pairs)), 1 + cv * rng.normal(size=(harvests, pairs))
    within = np.sqrt((ripped.var(axis=1, ddof=1) + left.var(axis=1, ddof=1)) / pairs)
    statistic = (ripped.mean(axis=1) - left.mean(axis=1)) / within
    found = (np.abs(statistic) > t.ppf((1 + level) / 2, 2 * pairs - 2)).mean()
    assert found == pytest.approx(power, abs=4 * np.sqrt(power * (1 - power) / harvests))


def harvested(pairs, zones, effect, cv, rng):
    """Strips side by side, ten segments each, on ground that rises and falls; every strip errs by itself."""
    at = np.arange(2 * pairs)
    strips = pd.DataFrame({"strip": at + 1, "pair": at // 2 + 1, "zone": at // 2 % zones + 1})
    strips["treatment"] = np.where(at % 2, Treatment.RIPPED, Treatment.UNRIPPED)
    segments = strips.loc[at.repeat(10)].reset_index(drop=True)
    segments["x_m"], segments["y_m"] = (
        12.0 * at.repeat(10) + 60.0 * segments["pair"],
        np.tile(15.0 * np.arange(10), at.size),
    )
    waves = 0.1 * np.sin(segments["x_m"] / 400 + rng.uniform(0, 2 * np.pi))
    own = (cv * rng.normal(size=at.size)).repeat(10)
    segments["value"] = 1.0 + waves + 0.2 * segments["zone"] + own + 0.03 * rng.normal(size=len(segments))
    segments["value"] += effect * (segments["treatment"] == Treatment.RIPPED)
    return segments[["strip", "x_m", "y_m", "value"]], strips


@pytest.mark.parametrize(("pairs", "zones"), [(2, 1), (4, 1), (2, 2), (5, 2)])
def test_a_trial_knows_its_error_at_least_as_well_as_was_reckoned_with(pairs, zones):
    effect = strip_effects(*harvested(pairs, zones, 0.1, 0.06, np.random.default_rng(8))).overall
    assert effect.df >= degrees_between(pairs, zones) - 1e-9


@pytest.mark.slow
def test_the_interval_of_a_trial_finds_what_was_promised_as_often_as_promised():
    """Two pairs, where the promise of pair by pair is twice as large and would be found nearly always."""
    rng, cv = np.random.default_rng(3), float(np.hypot(0.06, 0.03 / np.sqrt(10)))
    promised = detectable(2, cv, level=0.9, power=0.8)
    found = 0
    for _ in range(120):
        low, high = strip_effects(*harvested(2, 1, promised, 0.06, rng)).overall.interval(0.9)
        found += low > 0 or high < 0
    assert found / 120 == pytest.approx(0.8, abs=0.07 + 0.04)  # what is asked of a study, and one error of 120 trials


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
    assert power_of(found, 2, 0.06, df=2, level=level) == pytest.approx(max(power, 1 - level), abs=1e-3)
