"""Slices and probing dates."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from hardpan.pan.packing import pack
from hardpan.pan.tables import compare_dates, mean_within, slice_readings


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
