import numpy as np
import pytest

from hardpan.options.soil_types import wetted_depth_mm
from hardpan.prescription.moisture import moisture_window
from hardpan.records.advice import Known, Verdict
from hardpan.records.decision import SeasonSettings


@pytest.fixture
def sand(catalog):
    return catalog.available_water["sand"]


def window(depth_mm, water, *, repellent=False, **season):
    return moisture_window(depth_mm, SeasonSettings(**season), water, repellent=repellent)


def test_25_mm_of_rain_wet_sand_to_40_cm(sand):
    """Computed from the plant-available water of Agriculture Victoria (`agvic-raw`): 0.62 mm/cm."""
    assert wetted_depth_mm(25.0, sand) == pytest.approx(403.0, rel=0.005)


@pytest.mark.parametrize(
    ("texture", "rain_mm"), [("sand", 31.0), ("loamy sand", 43.5), ("sandy loam", 57.5), ("loam", 71.5)]
)
def test_the_rain_that_reaches_50_cm_depends_on_texture(catalog, texture, rain_mm):
    """Computed from the same table: 31, 43.5, 57.5 and 71.5 mm."""
    needed = window(500, catalog.available_water[texture], rain_since_dry_mm=0.0).rain_needed_mm
    assert needed == pytest.approx(rain_mm)


def test_moist_to_the_working_depth_is_ready(sand):
    found = window(450, sand, moist_depth_mm=500.0)
    assert (found.verdict, found.known) == (Verdict.READY, Known.DUG)


def test_moist_above_the_working_depth_waits_and_says_how_much_rain(sand):
    found = window(450, sand, moist_depth_mm=300.0)
    assert found.verdict == "wait"
    assert found.rain_needed_mm == pytest.approx(15 * 0.62)


def test_too_wet_by_hand_comes_before_everything(sand):
    assert window(450, sand, moist_depth_mm=900.0, too_wet=True).verdict == "too wet"


def test_rain_says_nothing_on_repellent_ground_and_nothing_is_never_ready(sand):
    repellent = window(450, sand, rain_since_dry_mm=100.0, repellent=True)
    assert (repellent.verdict, repellent.known) == (Verdict.UNKNOWN, Known.REPELLENT)
    nothing = window(450, sand)
    assert (nothing.verdict, nothing.known) == (Verdict.UNKNOWN, Known.NOT_GIVEN)
    assert np.isnan(nothing.moist_depth_mm)


def test_ground_that_is_left_needs_no_window(sand):
    for season in ({}, {"moist_depth_mm": 900.0}, {"too_wet": True}):
        found = window(0, sand, **season)
        assert found.verdict is Verdict.NOT_RIPPED
