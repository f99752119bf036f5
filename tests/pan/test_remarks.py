"""What the pan room tells a user beside the features."""

import numpy as np
import pyproj

from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.records.survey import Stop

CRS = pyproj.CRS("EPSG:32751")
DEPTH_MM = np.arange(0.0, 701.0, 25.0)
SOFT = np.full(DEPTH_MM.shape, 900.0)
PAN = np.where((DEPTH_MM >= 250.0) & (DEPTH_MM <= 400.0), 3500.0, 900.0)


def issues(profiles, **settings):
    return {issue.code: issue for issue in detect_pan(profiles, CRS, PanSettings(**settings)).issues}


def test_stopped_and_silent_insertions_are_counted_and_named(profiles_of):
    values = np.vstack([PAN, PAN, SOFT])
    values[1, DEPTH_MM > 300.0] = np.nan
    values[2, DEPTH_MM > 200.0] = np.nan
    told = issues(profiles_of(DEPTH_MM, values, stop=[Stop.ROD_END, Stop.REFUSAL, Stop.SHORT]))
    assert "by 1 of the 2 insertions" in told["bottom-not-seen"].what
    assert "1 by refusal" in told["bottom-not-seen"].what
    assert told["bottom-not-seen"].place == "P00001"
    assert told["soft-to-its-end"].place == "P00002"


def test_a_long_list_of_insertions_is_cut_and_counted(profiles_of):
    values = np.where(DEPTH_MM <= 300.0, np.tile(PAN, (40, 1)), np.nan)
    place = issues(profiles_of(DEPTH_MM, values, stop=Stop.REFUSAL))["bottom-not-seen"].place
    assert place.endswith("and 34 more")


def test_a_stone_hit_in_passing_is_told(profiles_of):
    stone = SOFT.copy()
    stone[7] = 6000.0
    assert issues(profiles_of(DEPTH_MM, stone))["stone"].what.endswith(": 1, in insertions: 1.")


def test_a_crust_and_a_second_hard_layer_are_told(profiles_of):
    values = np.where(DEPTH_MM >= 600.0, 3500.0, PAN)
    values[:3] = 3500.0
    told = issues(profiles_of(DEPTH_MM, values))
    assert {"crust", "hard-again-below"} <= told.keys()


def test_steps_wider_than_the_least_thickness_are_told(profiles_of):
    assert "wide-steps" in issues(profiles_of(DEPTH_MM * 4, SOFT))
    assert "wide-steps" not in issues(profiles_of(DEPTH_MM, SOFT))


def test_dates_that_differ_beyond_chance_are_told_and_others_are_not_accused(profiles_of):
    rng = np.random.default_rng(1)
    values = SOFT + rng.normal(0.0, 30.0, (40, 1))
    date = np.where(np.arange(40) < 20, "2026-07-01", "2026-09-01")
    assert "probing-dates-agree" in issues(profiles_of(DEPTH_MM, values, date=date))
    drier = values + np.where(date == "2026-09-01", 300.0, 0.0)[:, None]
    apart_kpa = drier[20:].mean() - drier[:20].mean()
    told = issues(profiles_of(DEPTH_MM, drier, date=date))["probing-dates-differ"]
    assert f"2026-09-01: {apart_kpa:+.0f} ±" in told.what


def test_a_date_with_one_site_is_told_without_an_error_it_does_not_have(profiles_of):
    values = SOFT + np.random.default_rng(1).normal(0.0, 30.0, (4, 1))
    date = np.array(["2026-07-01", "2026-07-01", "2026-07-01", "2026-09-01"])
    told = issues(profiles_of(DEPTH_MM, values, date=date))["probing-dates-few"]
    assert "nan" not in told.what
    assert "error unknown" in told.what


def test_ground_below_the_threshold_is_told_with_its_highest_reading(profiles_of):
    told = issues(profiles_of(DEPTH_MM, SOFT))["no-pan-met"]
    assert f"{SOFT.max():.0f} kPa" in told.what
    assert "no-pan-met" not in issues(profiles_of(DEPTH_MM, PAN))


def test_one_date_and_no_date_are_told_apart(profiles_of):
    assert "2026-07-01" in issues(profiles_of(DEPTH_MM, SOFT, date="2026-07-01"))["probing-date"].what
    assert "not known" in issues(profiles_of(DEPTH_MM, SOFT))["probing-date"].what


def test_a_clean_survey_has_nothing_to_tell_of_its_insertions(profiles_of):
    told = issues(profiles_of(DEPTH_MM, np.vstack([PAN, SOFT]), date="2026-07-01"))
    assert told.keys() == {"moisture-unknown", "probing-date"}
