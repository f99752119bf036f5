"""Every file of the folder of awkward inputs gives the outcome its EXPECTED.md states."""

import resource
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from hardpan.core.errors import AmbiguousInputError, InputError

FOLDER = Path(__file__).with_name("files")
MOST_SECONDS, MOST_MB = 10.0, 500.0
"""Limits of EXPECTED.md and the issue, of each file."""

ACCEPT, WARN, ASK, REJECT = "accept", "warn", "ask", "reject"


def probes(file, **more):
    return {"probes": {"file": FOLDER / file, **more}}


def boundary(file, **more):
    return {"paddock": {"boundary": FOLDER / file, **more}}


def soils(file):
    return {"soil": {"polygons": FOLDER / file, "type_field": "soil", "default_type": "sandy loam"}}


def covariate(file):
    return {"grid": {"covariates": (FOLDER / file,)}}


CASES = [
    (probes("00_control_good.csv"), ACCEPT, ""),
    (boundary("00_control_boundary.geojson"), ACCEPT, ""),
    (soils("00_control_soils.geojson"), ACCEPT, ""),
    (probes("01_wide_psi_inches.csv"), ASK, "probes.resistance_unit"),
    (probes("01_wide_psi_inches.csv", resistance_unit="psi"), ACCEPT, ""),
    (probes("02_semicolon_decimal_comma_mpa.csv"), ACCEPT, ""),
    (probes("06_degree_minute_coords.csv"), ASK, "probes.resistance_unit"),
    (probes("06_degree_minute_coords.csv", resistance_unit="kPa"), ASK, "probes.depth_unit"),
    (probes("06_degree_minute_coords.csv", resistance_unit="kPa", depth_unit="cm"), WARN, "short"),
    (probes("07_swapped_latlon_out_of_range.csv"), REJECT, "latitude beyond 90"),
    (probes("09_zero_zero_coords.csv"), WARN, "zero-position"),
    (probes("11_duplicate_points.csv"), WARN, "repeated-rows"),
    (probes("12_negative_and_sentinels.csv"), WARN, "sentinel"),
    (probes("14_refused_insertion.csv"), WARN, "refusal"),
    (probes("16_non_monotonic_depths.csv"), WARN, "depth-order"),
    (probes("18_mixed_pressure_units.csv"), ASK, "probes.resistance_unit"),
    (probes("18_mixed_pressure_units.csv", resistance_unit="kPa"), ASK, "mixes units"),
    (probes("19_empty.csv"), REJECT, "file is empty"),
    (probes("21_huge_outlier.csv"), WARN, "implausible"),
    (probes("23_single_probe.csv"), REJECT, "at least 3"),
    (probes("25_points_outside_boundary.csv"), WARN, "outside-boundary"),
    (probes("28_formula_injection.csv"), ACCEPT, ""),
    (probes("30_thousands_and_unit_suffixes.csv"), WARN, "approximate-cell"),
    (probes("31_ragged_comment_repeated_header.csv"), WARN, "damaged-rows"),
    (boundary("40_boundary_self_intersecting.geojson"), WARN, "geometry-repaired"),
    (boundary("42_boundary_multipolygon.geojson"), ACCEPT, ""),
    (boundary("44_boundary_line_not_polygon.geojson"), REJECT, "open line"),
    (boundary("47_boundary_projected_undeclared.geojson"), REJECT, "longitude 500000"),
    (boundary("49_boundary_truncated_json.geojson"), REJECT, "49_boundary_truncated_json.geojson"),
    (soils("51_soils_overlapping.geojson"), WARN, "soil-overlap"),
    (soils("53_soils_label_mess.geojson"), WARN, "soil-label"),
    (boundary("60_geographic_no_prj.shp"), ASK, "paddock.boundary_crs"),
    (boundary("60_geographic_no_prj.shp", boundary_crs="EPSG:4326"), ACCEPT, ""),
    (boundary("61_truncated.shp"), REJECT, "cut off"),
    (boundary("63_billion_laughs.kml"), REJECT, "document type declaration"),
    (probes("65_zip_slip.zip"), REJECT, "unsafe member path"),
    (probes("67_zip_two_candidates.zip"), ASK, "probes.sheet"),
    (probes("67_zip_two_candidates.zip", sheet="north/probes.csv"), ACCEPT, ""),
    (covariate("70_raster_nodata_unset.tif"), WARN, "raster-nodata"),
    (covariate("72_raster_half_cover.tif"), WARN, "raster-coverage"),
    (covariate("76_raster_truncated.tif"), REJECT, "76_raster_truncated.tif"),
    (probes("80_workbook_title_rows_formula.xlsx"), WARN, "unreadable-cell"),
    (boundary("81_two_layers.gpkg"), ASK, "paddock.boundary_layer"),
    (boundary("81_two_layers.gpkg", boundary_layer="paddock"), ACCEPT, ""),
]


def named(case) -> str:
    inputs, outcome, _ = case
    (settings,) = inputs.values()
    files = [value for value in settings.values() if isinstance(value, Path)] or settings["covariates"]
    return f"{files[0].name}-{outcome}-{len(settings)}"


@pytest.mark.parametrize("case", CASES, ids=named)
def test_the_outcome_is_the_expected_one(case, pad_a, tmp_path, monkeypatch):
    inputs, outcome, word = case
    monkeypatch.chdir(tmp_path)
    before_mb, start = peak_mb(), time.monotonic()
    if outcome in {ASK, REJECT}:
        with pytest.raises(InputError) as caught:
            pad_a.read(**inputs)
        line = str(caught.value)
        assert word in line
        assert "\n" not in line
        assert (outcome is ASK) == isinstance(caught.value, AmbiguousInputError)
    else:
        codes = {issue.code for issue in pad_a.read(**inputs).issues}
        assert (word in codes) if outcome is WARN else not codes
    assert time.monotonic() - start < MOST_SECONDS
    assert peak_mb() - before_mb < MOST_MB
    assert not list(tmp_path.iterdir())


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1 if sys.platform == "darwin" else 1024) / 1


def test_every_file_of_the_folder_has_a_case():
    used = {
        path.name
        for inputs, _, _ in CASES
        for settings in inputs.values()
        for value in settings.values()
        for path in (value if isinstance(value, tuple) else (value,))
        if isinstance(path, Path)
    }
    tables = {path.name for path in FOLDER.iterdir()} - {"EXPECTED.md"}
    assert {name for name in tables if not name.endswith((".dbf", ".shx", ".prj"))} == used


def mean_kpa(survey, depth_mm):
    table = survey.profiles.readings
    at = np.abs(table["depth_mm"].to_numpy() - depth_mm) < 0.01
    return float(np.nanmean(np.where(at, table["cone_index_kpa"].to_numpy(), np.nan)))


def profile(survey, site):
    table = survey.profiles.readings
    at = int(np.flatnonzero(table["site"].to_numpy() == site)[0])
    depth, kpa = table["depth_mm"].to_numpy()[at], table["cone_index_kpa"].to_numpy()[at]
    return {round(float(d), 2): float(k) for d, k in zip(depth, kpa, strict=True) if np.isfinite(d)}


# The numbers below are those EXPECTED.md states for each file.


def test_control_set_has_the_stated_means_and_areas(pad_a):
    survey = pad_a.read(**soils("00_control_soils.geojson"))
    assert survey.profiles.n_insertions == 12
    assert [round(mean_kpa(survey, depth)) for depth in (0, 150, 300, 450, 600)] == [0, 970, 2588, 1466, 1620]
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.01)
    areas = (survey.soils.area / 1e4).groupby(survey.soils["soil_type"]).sum()
    assert areas["deep sand"] == pytest.approx(5.4, abs=0.01)
    assert areas.sum() - areas["deep sand"] == pytest.approx(6.6, abs=0.01)


def test_psi_and_inches_become_kpa_and_mm(pad_a):
    survey = pad_a.read(**probes("01_wide_psi_inches.csv", resistance_unit="psi"))
    found = profile(survey, "1")
    assert len(found) == 19
    assert max(found) == pytest.approx(457.2)
    assert found[304.8] == pytest.approx(2061.5, abs=0.1)


def test_decimal_commas_and_mpa_become_kpa(pad_a):
    assert profile(pad_a.read(**probes("02_semicolon_decimal_comma_mpa.csv")), "P01")[300.0] == pytest.approx(2100)


def test_degree_minutes_become_places(pad_a):
    survey = pad_a.read(**probes("06_degree_minute_coords.csv", resistance_unit="kPa", depth_unit="cm"))
    table = survey.profiles.readings
    # P1 is stated near lat -28.024804, lon 123.000509, which is E 500050, N 6900050 in EPSG:32751
    assert float(table["x_m"][0]) == pytest.approx(500050, abs=0.5)
    assert float(table["y_m"][0]) == pytest.approx(6900050, abs=0.5)
    early = table["stop_mm"].to_numpy() < 560
    assert set(table["site"].to_numpy()[early]) == {"3", "6", "9", "12"}


def test_probes_at_zero_zero_are_dropped(pad_a):
    survey = pad_a.read(**probes("09_zero_zero_coords.csv"))
    assert survey.profiles.n_insertions == 10


def test_duplicates_are_told_apart(pad_a):
    survey = pad_a.read(**probes("11_duplicate_points.csv"))
    repeated = next(issue for issue in survey.issues if issue.code == "repeated-rows")
    assert repeated.what.startswith("13 ")
    table = survey.profiles.readings
    assert survey.profiles.n_insertions == 14
    spots = {}
    for site, x, y in zip(table["site"].to_numpy(), table["x_m"].to_numpy(), table["y_m"].to_numpy(), strict=True):
        spots.setdefault((round(x, 2), round(y, 2)), set()).add(site)
    assert all(len(names) == 1 for names in spots.values())


def test_minus_one_does_not_lower_the_deep_means(pad_a):
    survey = pad_a.read(**probes("12_negative_and_sentinels.csv"))
    control = pad_a.read()
    assert mean_kpa(survey, 600) == pytest.approx(mean_kpa(control, 600))
    assert profile(survey, "P02")[0.0] == 0.0
    assert np.isnan(profile(survey, "P09")[200.0])


def test_refusals_are_not_soft_ground(pad_a):
    table = pad_a.read(**probes("14_refused_insertion.csv")).profiles.readings
    stop = dict(zip(table["site"].to_numpy(), table["stop"].to_numpy(), strict=True))
    depth = dict(zip(table["site"].to_numpy(), table["stop_mm"].to_numpy(), strict=True))
    assert (stop["P03"], depth["P03"]) == ("refusal", 200.0)
    assert (stop["P06"], depth["P06"]) == ("refusal", 250.0)
    assert stop["P10"] == "short"
    assert "P11" not in stop


def test_probes_outside_are_dropped_beyond_the_tolerance(pad_a):
    survey = pad_a.read(**probes("25_points_outside_boundary.csv"))
    assert {"P10", "P12"} <= set(survey.profiles.readings["site"].to_numpy())
    assert not {"P09", "P11"} & set(survey.profiles.readings["site"].to_numpy())
    strict = pad_a.read(**probes("25_points_outside_boundary.csv", outside_tolerance_m=1.0))
    assert "P12" in set(strict.profiles.readings["site"].to_numpy())
    assert "P10" not in set(strict.profiles.readings["site"].to_numpy())


def test_formula_like_names_are_kept_as_text(pad_a):
    names = set(pad_a.read(**probes("28_formula_injection.csv")).profiles.readings["site"].to_numpy())
    assert {"=1+1", "+1+cmd|x", "-2+3", "@SUM(A1:A9)"} <= names


def test_thousands_marks_and_units_in_cells_read_like_the_control(pad_a):
    survey, control = pad_a.read(**probes("30_thousands_and_unit_suffixes.csv")), pad_a.read()
    first, second = (one.profiles.readings["cone_index_kpa"].to_numpy() for one in (survey, control))
    np.testing.assert_allclose(first, second)


def test_damaged_rows_are_left_out_and_151_stay(pad_a):
    survey = pad_a.read(**probes("31_ragged_comment_repeated_header.csv"))
    assert int(np.isfinite(survey.profiles.readings["cone_index_kpa"].to_numpy()).sum()) == 151


def test_bow_tie_keeps_both_lobes(pad_a):
    assert pad_a.read(**boundary("40_boundary_self_intersecting.geojson")).paddock.area_ha == pytest.approx(
        6.0, abs=0.01
    )


def test_two_parts_add_up(pad_a):
    survey = pad_a.read(**boundary("42_boundary_multipolygon.geojson"))
    assert survey.paddock.area_ha == pytest.approx(10.8, abs=0.01)
    assert survey.profiles.n_insertions == 12


def test_overlapping_soils_add_up_to_the_paddock(pad_a):
    survey = pad_a.read(**soils("51_soils_overlapping.geojson"))
    assert survey.soils.area.sum() / 1e4 == pytest.approx(12.0, abs=0.01)
    assert any("3.00 ha" in issue.what for issue in survey.issues)


def test_soil_labels_are_merged_and_defaults_named(pad_a):
    survey = pad_a.read(**soils("53_soils_label_mess.geojson"))
    areas = (survey.soils.area / 1e4).groupby(survey.soils["soil_type"]).sum()
    assert areas.to_dict() == pytest.approx({"deep sand": 6.0, "sandy loam": 6.0}, abs=0.01)
    assert any("peaty gley" in issue.what and "sandy loam" in issue.done for issue in survey.issues)


def test_undeclared_nodata_is_missing(pad_a):
    survey = pad_a.read(**covariate("70_raster_nodata_unset.tif"))
    (name,) = survey.covariates
    values = survey.covariates[name].to_numpy()
    assert 22.1 <= np.nanmin(values) <= np.nanmax(values) <= 53.9
    at = survey.covariates[name].sel(x=500050, y=6900050, method="nearest")
    assert float(at) == pytest.approx(30.5, abs=1.0)


def test_half_a_raster_is_not_extrapolated(pad_a):
    survey = pad_a.read(**covariate("72_raster_half_cover.tif"))
    told = next(issue for issue in survey.issues if issue.code == "raster-coverage")
    assert all(site in told.what for site in ("P03", "P04", "P07", "P08", "P11", "P12"))
    (name,) = survey.covariates
    assert np.isnan(float(survey.covariates[name].sel(x=500350, y=6900150, method="nearest")))


def test_workbook_gives_156_rows_of_which_two_are_missing(pad_a):
    survey = pad_a.read(**probes("80_workbook_title_rows_formula.xlsx"))
    assert int(np.isfinite(survey.profiles.readings["cone_index_kpa"].to_numpy()).sum()) == 154
    told = next(issue for issue in survey.issues if issue.code == "unreadable-cell")
    assert told.what.startswith("2 ")
