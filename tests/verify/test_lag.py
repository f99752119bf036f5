"""The lag at the borders of zones, on passes that follow the plan so much late."""

import numpy as np
import pytest

from builders.machine_log import DEEP_MM, SHALLOW_MM, SPLIT, passes
from hardpan.verify.lag import estimate_lag
from hardpan.verify.log import speed_kmh


def planned_at(xy):
    return np.where(xy[:, 0] < SPLIT, SHALLOW_MM, DEEP_MM)


def lag_of(records, level=0.9, step_mm=25.0):
    kept = (records["depth_mm"] > 0).to_numpy()
    return estimate_lag(records, planned_at, kept, speed_kmh=speed_kmh(records), step_mm=step_mm, level=level)


@pytest.mark.parametrize("late_s", [-2.0, 0.0, 1.5, 4.0])
@pytest.mark.parametrize("every_s", [1.0, 2.0])
def test_the_lag_of_a_pass_is_found_to_within_half_a_record(late_s, every_s):
    found = lag_of(passes(late_s=late_s, every_s=every_s))
    assert found.borders == 20
    assert found.seconds == pytest.approx(late_s, abs=every_s / 2)
    assert found.low <= found.seconds <= found.high
    assert found.metres == pytest.approx(2.0 * found.seconds)


def test_a_log_that_writes_on_change_has_the_lag_of_one_that_writes_each_second():
    records = passes(late_s=3.0)
    changed = records["depth_mm"].diff().abs() > 0
    sparse = records[changed | (np.arange(len(records)) % 7 == 0)].reset_index(drop=True)
    assert lag_of(sparse).seconds == pytest.approx(lag_of(records).seconds, abs=0.6)


def test_few_borders_tell_no_lag_and_some_no_interval():
    assert lag_of(passes(lines=[0, 1])) is None
    some = lag_of(passes(late_s=1.0, lines=range(4)))
    assert np.isfinite(some.seconds)
    assert np.isnan(some.low)


def test_zones_whose_depths_lie_close_tell_no_lag():
    assert lag_of(passes(), step_mm=100.0) is None


def test_the_interval_of_a_median_holds_it_as_often_as_it_says():
    """Order statistics: of 2000 samples of 20 the interval covers the median in 90 % or more (binomial, by ranks)."""
    rng, held = np.random.default_rng(3), 0
    from scipy.stats import binom

    rank = int(binom.ppf(0.05, 20, 0.5))
    for _ in range(2000):
        ranked = np.sort(rng.exponential(size=20))
        held += ranked[rank - 1] <= np.log(2) <= ranked[20 - rank]
    assert 0.9 <= held / 2000 <= 0.98
