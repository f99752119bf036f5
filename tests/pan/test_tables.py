"""Slices, probing dates, and how many insertions stand over a pan."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from hardpan.pan.readings import pack
from hardpan.pan.tables import chance_below, compare_dates, mean_within, share_with_pan, slice_readings

SEARCH = {"from_mm": 100.0, "to_mm": 700.0}


def test_a_slice_is_the_mean_of_its_readings_and_one_on_the_boundary_counts_half(profiles_of):
    packed = pack(profiles_of([0, 50, 100, 150, 200], [100, 200, 300, 400, 500]).readings)
    slices = slice_readings(packed, 100.0, pd.Series(["a"]))
    assert slices.columns.tolist() == [50.0, 150.0]
    # (100/2 + 200 + 300/2) / 2 is the trapezoid rule.
    assert slices.loc["a"].tolist() == pytest.approx([200.0, 400.0])


def test_a_layer_counts_with_the_share_that_lies_in_the_slice(profiles_of):
    packed = pack(profiles_of([75, 225], [1000, 3000], thickness_mm=150.0).readings)
    slices = slice_readings(packed, 100.0, pd.Series(["a"]))
    assert slices.loc["a"].tolist() == pytest.approx([1000.0, 2000.0, 3000.0])


def test_an_unread_slice_is_not_zero(profiles_of):
    packed = pack(profiles_of([0, 50, 100, 150], [[100, 200, 300, 400], [100, 200, np.nan, np.nan]]).readings)
    assert np.isnan(mean_within(packed, 100.0, 200.0)[1])


def test_dates_are_compared_by_site_means(profiles_of):
    rng = np.random.default_rng(2)
    value = 1000.0 + 100.0 * rng.standard_normal((40, 1)) + np.where(np.arange(40) < 20, 0.0, 300.0)[:, None]
    packed = pack(profiles_of(np.arange(0.0, 300.0, 50.0), value + np.zeros((40, 6))).readings)
    about = pd.DataFrame(
        {
            "date": np.where(np.arange(40) < 20, "2026-07-01", "2026-09-01"),
            "site": [f"S{row // 2}" for row in range(40)],
            "top_mm": np.nan,
            "soft_to_mm": 700.0,
        }
    )
    dates = compare_dates(packed, about).set_index("date")
    sites = value[:, 0].reshape(20, 2).mean(axis=1)
    # Independent: the standard error of Welch's test of the site means.
    welch = stats.ttest_ind(sites[10:], sites[:10], equal_var=False)
    later = dates.loc["2026-09-01"]
    assert later["difference_kpa"] / later["difference_se_kpa"] == pytest.approx(welch.statistic)
    assert dates["sites"].tolist() == [10, 10]
    assert np.isnan(dates.loc["2026-07-01", "difference_kpa"])


def simulated(seed, reach_mm, *, share=0.4, count=4000):
    """Tops and soft depths of insertions by rods of the lengths given, in turn, and the true share of pans."""
    rng = np.random.default_rng(seed)
    top = np.where(rng.random(count) < share, rng.uniform(200.0, 600.0, count), np.inf)
    reach = np.resize(np.asarray(reach_mm, dtype=float), count)
    met = top <= reach
    return np.where(met, top, np.nan), np.where(met, np.nan, reach)


@pytest.mark.parametrize("reach_mm", [[700.0], [400.0, 700.0], [300.0, 400.0, 500.0, 700.0]])
def test_the_share_of_pans_does_not_hang_on_the_length_of_the_rods(reach_mm):
    # Four standard errors of a share of 0.4 among 4,000, widened by what short rods leave unseen.
    assert share_with_pan(*simulated(1, reach_mm)) == pytest.approx(0.4, abs=0.05)


def test_counting_alone_would_miss_the_pans_below_short_rods():
    top, soft = simulated(1, [300.0, 400.0, 500.0, 700.0])
    assert np.isfinite(top).mean() < 0.3
    assert share_with_pan(top, soft) > 0.35


def test_one_deep_reading_does_not_speak_for_the_paddock():
    top = np.r_[np.full(33, 300.0), 440.0, np.full(46, np.nan)]
    soft = np.r_[np.full(34, np.nan), np.full(46, 425.0)]
    assert share_with_pan(top, soft) == pytest.approx(34 / 80, abs=0.06)
    assert chance_below(top, soft, **SEARCH).max() < 0.2


def test_the_chance_of_a_pan_below_is_the_share_of_tops_that_lie_deeper():
    top, soft = simulated(2, [400.0, 700.0])
    chance = chance_below(top, soft, **SEARCH)
    # Tops are uniform from 200 to 600 mm: half of them begin below 400 mm.
    assert chance[soft == 400.0][0] == pytest.approx(0.5, abs=0.05)
    assert (chance[soft == 700.0] == 0.0).all()
    assert (chance[np.isfinite(top)] == 0.0).all()


def test_without_any_pan_the_chance_is_the_share_of_the_depth_not_read():
    nothing = np.full(3, np.nan)
    assert chance_below(nothing, np.array([100.0, 400.0, 700.0]), **SEARCH) == pytest.approx([1.0, 0.5, 0.0])


def test_insertions_that_say_nothing_do_not_count():
    assert share_with_pan(np.array([300.0, np.nan, np.nan]), np.array([np.nan, np.nan, 700.0])) == 0.5
    assert np.isnan(share_with_pan(np.array([np.nan]), np.array([np.nan])))
