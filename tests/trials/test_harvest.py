"""Rules of cleaning, one by one, and the delay of the flow."""

import numpy as np
import pytest

from builders.trials import points, strips
from hardpan.records.trial import CleaningSettings, Rule
from hardpan.trials.harvest import along_pass, clean, estimate_delay, number_passes, shifted


def harvest(**changed):
    return points(strips(pairs=3), timed=True, every_m=2.0).assign(**changed)


def taken(rows, **settings):
    had = np.isfinite(rows["value"].to_numpy())
    kept, counts = clean(rows, number_passes(rows), CleaningSettings(**settings), had_value=had, everything=False)
    assert counts["points"].sum() == (~kept).sum()
    return counts.set_index("rule")["points"].to_dict()


def test_a_pass_ends_at_a_gap_and_at_a_turn():
    rows = harvest()
    assert len(np.unique(number_passes(rows))) == 6
    turning = rows.assign(time_s=np.arange(len(rows)))  # no gap: the way turns at the end of each strip
    assert len(np.unique(number_passes(turning))) >= 6


def test_points_without_a_time_belong_to_no_pass():
    rows = harvest(time_s=np.nan)
    assert (number_passes(rows) == -1).all()
    assert np.isinf(along_pass(rows, number_passes(rows))[0]).all()


def test_starts_and_ends_of_passes_are_taken():
    found = taken(harvest(), start_s=5, end_s=3)
    assert found[Rule.PASS_START] == 6 * 5
    assert found[Rule.PASS_END] == 6 * 3


def test_speeds_widths_and_moistures_out_of_range_are_taken():
    rows = harvest(speed_ms=2.0, swath_m=9.0, moisture_pct=12.0)
    rows.loc[30, "speed_ms"] = 0.1
    rows.loc[36, "swath_m"] = 3.0
    rows.loc[38, "moisture_pct"] = 60.0
    found = taken(rows, start_s=0, end_s=0)
    assert (found[Rule.SPEED], found[Rule.SWATH], found[Rule.MOISTURE]) == (1, 1, 1)
    assert found[Rule.SPEED_STEP] == 1  # the point after it point is quick again


def test_a_rule_without_its_column_is_not_among_the_counts():
    assert {Rule.SPEED, Rule.SWATH, Rule.MOISTURE}.isdisjoint(taken(harvest()))


def test_outliers_are_those_beyond_three_standard_deviations():
    """The limits of `vega2019`: three standard deviations of all, then of the neighbours within 40 m."""
    rows = harvest()
    rows.loc[40, "value"] = rows["value"].mean() + 20 * rows["value"].std()
    found = taken(rows, start_s=0, end_s=0)
    assert found[Rule.GLOBAL] == 1


def test_a_point_unlike_its_neighbours_is_taken_though_others_are_like_it():
    rows = harvest().assign(value=lambda one: 1.0 + 0.02 * one["y_m"] + 0.01 * np.sin(one["x_m"]))
    low = int(rows["y_m"].argmin())
    rows.loc[low, "value"] = 4.5  # usual at the other end of the field
    found = taken(rows, start_s=0, end_s=0)
    assert found[Rule.GLOBAL] == 0
    assert found[Rule.LOCAL] >= 1


@pytest.mark.parametrize("late_s", [0.0, 4.0, 9.0])
def test_the_delay_of_the_flow_is_found(late_s):
    """Passes in opposite directions over a field that rises along them."""
    rows = points(strips(pairs=6, long_m=400.0), effect=0.0, noise=0.0, strip_sd=0.0, every_m=2.0, timed=True)
    number = number_passes(rows)
    grown = 2.0 + np.sin(rows["y_m"] / 25.0)
    seen = shifted(rows.assign(value=grown), number, -late_s)  # what stood there so many seconds before
    noisy = seen + 0.02 * np.random.default_rng(1).standard_normal(len(rows))
    found = estimate_delay(rows.assign(value=noisy), number)
    assert found == pytest.approx(late_s, abs=1.0)
    back = shifted(rows.assign(value=seen), number, late_s)
    known = np.isfinite(back)
    assert back[known] == pytest.approx(grown[known], abs=1e-9)


def test_the_delay_is_found_where_ripped_passes_yield_more_than_those_beside_them():
    rows = points(strips(pairs=6, long_m=400.0), effect=2.0, noise=0.1, strip_sd=0.2, every_m=2.0, timed=True)
    number = number_passes(rows)
    grown = rows["value"] + np.sin(rows["y_m"] / 25.0)
    found = estimate_delay(rows.assign(value=shifted(rows.assign(value=grown), number, -9.0)), number)
    assert found == pytest.approx(9.0, abs=1.0)


@pytest.mark.parametrize("seed", range(8))
def test_a_harvest_of_a_few_strips_without_a_delay_shows_none(seed):
    rows = points(strips(pairs=4, long_m=150.0), effect=0.4, noise=0.0, strip_sd=0.1, every_m=2.0, timed=True)
    noisy = rows["value"] + 0.3 * np.random.default_rng(seed).standard_normal(len(rows))
    assert estimate_delay(rows.assign(value=noisy), number_passes(rows)) == 0.0


def test_few_points_or_one_pass_tell_no_delay():
    rows = points(strips(pairs=1), timed=True)
    assert estimate_delay(rows, number_passes(rows)) == 0.0
