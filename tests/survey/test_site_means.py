"""Means of a site's insertions with a standard error: from the file to the error the map is kriged with."""

import numpy as np
import pytest
from scipy.stats import norm

from hardpan import geostat
from hardpan.core.errors import HardpanError
from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import read_inputs
from hardpan.run.config import read_config
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan
from small_paddock import SITES, SOUTH_M, WEST_M, Small

DEPTHS_MM = np.arange(0, 601, 25)
TOPS_MM = np.array([251.0 + 7.0 * number for number in range(len(SITES))])
SLOPE = 8.0
"""Of the flanks, kPa/mm: the threshold of 2,500 is crossed at the top and 150 mm below it."""


def kpa(top_mm):
    """Mean cone index by depth: straight flanks of `SLOPE` that end at 1,300 and 3,100 kPa."""
    return np.clip(2500.0 + SLOPE * np.minimum(DEPTHS_MM - top_mm, top_mm + 150.0 - DEPTHS_MM), 1300.0, 3100.0)


def se_kpa(number):
    return 40.0 + 20.0 * number


def survey_of(folder, head, line, probes=""):
    """Survey of a long table with one row a depth."""
    lines = []
    for number, ((east, north), top_mm) in enumerate(zip(SITES, TOPS_MM, strict=True)):
        for depth, value in zip(DEPTHS_MM, kpa(top_mm), strict=True):
            about = f"S{number},{WEST_M + east:.2f},{SOUTH_M + north:.2f},{depth / 10:g},{value:.2f}"
            lines.append(f"{about},{line(number, se_kpa(number))}")
    return write(folder, [f"site,x,y,depth_cm,kPa,{head}", *lines], probes)


def write(folder, lines, probes):
    path = Small(tables={"probes": probes}).write(folder)
    (folder / "probes.csv").write_text("\n".join(lines) + "\n")
    config = read_config(path)
    return read_inputs(config, read_catalog(config))[0]


def by_number(survey, values):
    """Values of insertions (n,) in the order of `SITES`."""
    site = survey.profiles.readings["site"].to_numpy()
    return np.asarray(values)[np.argsort([int(name[1:]) for name in site])]


def check_errors(survey):
    errors = by_number(survey, survey.profiles.readings["se_kpa"].to_numpy()[:, 0])
    np.testing.assert_allclose(errors, [se_kpa(number) for number in range(len(SITES))], rtol=1e-3)


@pytest.mark.parametrize(
    ("head", "line"),
    [
        ("SE", lambda _, se: f"{se}"),
        ("standard error (MPa)", lambda _, se: f"{se / 1000:.6f}"),
        ("SE of mean cone index", lambda _, se: f"{se}"),
        ("kPa sd,n", lambda _, se: f"{se * 2.0},4"),
        ("SD,n", lambda _, se: f"{se * 2.0},4"),
        ("sd_kPa,number of insertions", lambda number, se: f"{se * np.sqrt(2 + number):.4f},{2 + number}"),
    ],
)
def test_a_standard_error_is_read_beside_each_reading(tmp_path, head, line):
    survey = survey_of(tmp_path, head, line)
    check_errors(survey)
    assert "site-means" in {issue.code for issue in survey.issues}


@pytest.mark.parametrize("pattern", ["{depth} cm SE", "SE_{depth}cm", "{depth} cm std. error"])
def test_a_wide_table_may_have_a_standard_error_beside_each_depth(tmp_path, pattern):
    depths = [f"{depth / 10:g}" for depth in DEPTHS_MM]
    head = [name for depth in depths for name in (f"{depth} cm", pattern.format(depth=depth))]
    lines = [",".join(["site", "x", "y", *head])]
    for number, ((east, north), top_mm) in enumerate(zip(SITES, TOPS_MM, strict=True)):
        cells = [f"{cell:g}" for value in kpa(top_mm) for cell in (value, se_kpa(number))]
        lines.append(",".join([f"S{number}", f"{WEST_M + east:.2f}", f"{SOUTH_M + north:.2f}", *cells]))
    survey = write(tmp_path, lines, 'resistance_unit = "kPa"')
    check_errors(survey)
    assert "column-not-used" not in {issue.code for issue in survey.issues}


def test_deviations_without_a_number_of_insertions_are_asked_about(tmp_path):
    with pytest.raises(HardpanError, match=r"'SD \(kPa\)' stand beside no number of insertions.*probes\.columns\.n"):
        survey_of(tmp_path, "SD (kPa)", lambda _, se: f"{se}")


def test_errors_larger_than_the_readings_are_refused_with_their_unit(tmp_path):
    with pytest.raises(HardpanError, match=r"'SE' are larger than the readings.*unit"):
        survey_of(tmp_path, "SE", lambda _, se: f"{1000 * se}")


def test_one_error_for_a_whole_row_of_depths_is_not_used_and_told(tmp_path):
    depths = ",".join(f"{depth / 10:g} cm" for depth in DEPTHS_MM)
    lines = [f"site,x,y,{depths},SE"]
    for number, ((east, north), top_mm) in enumerate(zip(SITES, TOPS_MM, strict=True)):
        cells = ",".join(f"{value:g}" for value in kpa(top_mm))
        lines.append(f"S{number},{WEST_M + east:.2f},{SOUTH_M + north:.2f},{cells},90")
    survey = write(tmp_path, lines, 'resistance_unit = "kPa"')
    assert "se_kpa" not in survey.profiles.readings
    assert any("'SE'" in str(issue.what) or " SE " in str(issue.what) for issue in survey.issues)


def test_columns_named_by_the_settings_hold_the_error(tmp_path):
    check_errors(
        survey_of(tmp_path, "spread of the mean", lambda _, se: f"{se}", '[probes.columns]\nse = "spread of the mean"')
    )


def test_the_error_of_a_crossing_is_the_standard_error_over_the_slope(tmp_path):
    """Means of one site are off alike at neighbouring depths, so that the crossing moves by error over slope."""
    survey = survey_of(tmp_path, "SE", lambda _, se: f"{se}")
    found = detect_pan(survey.profiles, survey.crs, PanSettings()).insertions
    for name in ("top_sd_mm", "bottom_sd_mm"):
        of_mean = np.sqrt(by_number(survey, found[name]) ** 2 - (25.0 / 8.0) ** 2)  # less a step's eighth
        np.testing.assert_allclose(of_mean, [se_kpa(number) / SLOPE for number in range(len(SITES))], rtol=1e-6)
    np.testing.assert_allclose(by_number(survey, found["peak_sd_kpa"]), [se_kpa(n) for n in range(len(SITES))])


def test_presence_is_as_doubtful_as_the_error_says(tmp_path):
    survey = survey_of(tmp_path, "SE", lambda _, se: f"{se + 260.0}")
    found = detect_pan(survey.profiles, survey.crs, PanSettings()).insertions
    expected = norm.sf((found["peak_kpa"] - 2500.0) / found["peak_sd_kpa"])
    np.testing.assert_allclose(found["doubt"], expected)
    assert found["doubt"].max() > 0.05
    plain = survey_of(tmp_path, "note", lambda *_: "x")
    assert (detect_pan(plain.profiles, plain.crs, PanSettings()).insertions["doubt"] == 0.0).all()


def test_the_map_is_kriging_with_the_stated_errors_and_no_noise_on_top(tmp_path):
    """By the public functions: values with known error variances, and no other noise."""
    survey = survey_of(tmp_path, "SE", lambda _, se: f"{se}")
    pan = detect_pan(survey.profiles, survey.crs, PanSettings())
    chosen = {"range_m": 300.0, "sill": 300.0, "micro": 20.0, "noise": 900.0}
    settings = {"cell_m": 10.0, "draws": 20, "form": "plain", "family": "exponential", "trend": (), "block": False}
    found = map_pan(pan, survey, SurfaceSettings.model_validate(settings | {"covariance": {"top": chosen}}), seed=3)
    table = pan.insertions
    length_m = chosen["range_m"] / geostat.EFFECTIVE_RANGE["exponential"]
    one = geostat.Structure(family="exponential", sill=chosen["sill"], length_m=length_m)
    x, y = table.geometry.x.to_numpy(), table.geometry.y.to_numpy()
    data = geostat.observe(x, y, table["top_mm"], error_variance=table["top_sd_mm"] ** 2)
    field = geostat.condition(data, geostat.Covariance(structures=(one,), micro=chosen["micro"]))
    east, north = (grid[found.inside] for grid in np.meshgrid(found.frame.x_m, found.frame.y_m))
    kriged = geostat.krige(field, east, north)
    np.testing.assert_allclose(found.maps["pan_top_mm"].to_numpy()[found.inside], kriged.mean, atol=0.02)
    np.testing.assert_allclose(
        found.maps["pan_top_sd_mm"].to_numpy()[found.inside], np.sqrt(kriged.variance), rtol=1e-3
    )
