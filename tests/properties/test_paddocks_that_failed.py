"""Paddocks that once ended badly, each kept under what was wrong with it."""

import pytest

from whole.build import build
from whole.places import place_named
from whole.recipe import MISSING, plain, without
from whole.trial import command, take, take_seed

pytestmark = pytest.mark.slow

CASES = {
    "a pan in one corner, its zone an island or a bay": {"zones.count": 8, "pan_share": 0.6, "sites": 60},
    "parts and holes wound against the standard": {"parts": 3, "holes": 1, "clockwise": (True, True)},
    "every insertion refused inside a pan, none past the peak": {"stopped": 1.0, "pan_share": 1.0},
    "cells of 30 m across a pipe and a spot": {"surfaces.cell_m": 30.0, "exclusions": ("line", "spot")},
    "the square of kgf/cm2 read as a depth of 2 cm": {"resistance_unit": "kgf/cm2", "layout": "long"},
    "parts that a KML file names": {"parts": 2, "split": True, "together": True, "boundary_format": "kml"},
    "a small paddock with many exclusions on a task grid": {
        "area_ha": 2.5,
        "exclusions": ("line",) * 4 + ("point",) * 4,
    },
    "a covariate on cells larger than the paddock": {
        "fault": "cells larger than the paddock",
        "covariates": 1,
        "place": place_named("edge of two zones, north"),
        "boundary_crs": 4326,
        "probe_crs": 4326,
        "longitude": 11.9978,
        "latitude": 50.5901,
        "area_ha": 2.2387,
        "outline": "round",
    },
    "text after a decimal comma where columns are kept apart by semicolons": {
        "fault": "rows that do not fit the header",
        "decimal": ",",
        "layout": "long",
    },
    "soil too wet to be driven on": {"season.too_wet": True, "season.cover_pct": 20.0},
    "soil too wet, and forced": {"season.too_wet": True, "outputs.force": True},
    "soft ground as deep as short rods reach": {"pan_share": 0.0, "short": 1.0},
    "soil dry from the top": {"season.moist_depth_mm": 0.0},
    "tines below moist soil": {"season.moist_depth_mm": 250.0, "prescription.only_moist": False},
    "probes on a datum with a grid that is not installed": {
        "place": place_named("south-east of the United States"),
        "longitude": -85.5,
        "latitude": 31.5,
        "boundary_crs": 4269,
        "probe_crs": 4326,
    },
}


def test_three_single_insertions_raise_no_warning(tmp_path):
    """The spread of their peaks left the score of the peak without bounds."""
    assert take_seed(10433, tmp_path, small=False).faults == ()


def test_ground_of_a_single_cell_is_a_zone_by_mixtures_too(tmp_path):
    assert take_seed(81061, tmp_path, small=True).faults == ()


@pytest.mark.parametrize("changes", CASES.values(), ids=CASES)
def test_a_paddock_that_once_failed_ends_well(changes, tmp_path):
    assert take(build(plain(**changes), tmp_path / "given"), tmp_path / "result").faults == ()


@pytest.mark.parametrize("thing", MISSING)
def test_a_paddock_with_one_thing_missing_ends_well(thing, tmp_path):
    recipe = without(plain(exclusions=("line", "area"), cores=4, moisture=True, covariates=1), thing)
    assert take(build(recipe, tmp_path / "given"), tmp_path / "result").faults == ()


def test_the_command_can_force_the_files_for_the_display(tmp_path):
    built = build(plain(**{"season.too_wet": True, "outputs.formats": ["shapefile"]}), tmp_path / "given")
    written = {}
    for more in ((), ("--force",)):
        code, said, _, _, _ = command("run", str(built.config), "--out", str(tmp_path / "out"), *more)
        assert code == 0
        assert "Wait: the soil is too wet" in said
        written[more] = (tmp_path / "out" / "prescription_shp.zip").exists()
    assert written == {(): False, ("--force",): True}
