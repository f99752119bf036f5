"""The whole job on 30 insertions in a sandy maize field (open data, riveras2022; CC0).

What the file says is read here a second time, plainly, as the check of the first reading.
"""

import csv
import re

import numpy as np
import pyproj
import pytest

import hardpan
from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.records.pan import Bottom
from hardpan.records.survey import Stop


@pytest.fixture(scope="module")
def run(run_on):
    return run_on("sandy_maize.toml", "sandy_maize_chile")


@pytest.fixture(scope="module")
def plain(open_data):
    with (open_data("sandy_maize_chile") / "SL_PR.csv").open(encoding="utf-8-sig", newline="") as text:
        return list(csv.DictReader(text, delimiter=";"))


def degrees(text):
    whole, minutes = re.fullmatch(r"(\d+)°([\d.]+)[SW]", text).groups()
    return -(int(whole) + float(minutes) / 60.0)


def test_every_reading_is_read_in_its_unit_and_at_its_depth(run, plain):
    readings = run.survey.profiles.readings
    assert readings.sizes["insertion"] == len(plain) == 30
    for row in plain:
        expected = {10.0 * int(cm): float(row[cm]) for cm in map(str, range(1, 82)) if row[cm]}
        profile = readings.isel(insertion=(readings["site"] == row["POINT"]).to_numpy().argmax())
        read = np.isfinite(profile["cone_index_kpa"].to_numpy())
        found = dict(zip(profile["depth_mm"].to_numpy()[read], profile["cone_index_kpa"].to_numpy()[read], strict=True))
        assert found.items() <= expected.items()
        # Stones are the only readings that may be taken out: single ones.
        assert len(found) >= len(expected) - 2


def test_degrees_and_minutes_come_to_the_right_place(run, plain):
    to_working = pyproj.Transformer.from_crs("EPSG:4326", run.survey.crs, always_xy=True)
    readings = run.survey.profiles.readings
    place = {row["POINT"]: to_working.transform(degrees(row["COORD_X"]), degrees(row["COORD_Y"])) for row in plain}
    for site, x_m, y_m in zip(*(readings[name].to_numpy() for name in ("site", "x_m", "y_m")), strict=True):
        assert (x_m, y_m) == pytest.approx(place[site], abs=0.01)


def test_the_field_has_the_area_its_data_state(run):
    # 3.42 ha in the data folder's notes, from the same boundary.
    assert run.survey.paddock.area_ha == pytest.approx(3.42, abs=0.005)


def test_half_of_the_insertions_stopped_early(run, plain):
    stop = run.survey.profiles.readings["stop"].to_numpy()
    assert (stop == Stop.ROD_END).sum() == sum(bool(row["81"]) for row in plain) == 15
    assert (stop == Stop.REFUSAL).sum() == 15


def test_at_the_usual_threshold_no_bottom_was_seen_and_none_is_invented(run):
    pan = detect_pan(run.survey.profiles, run.survey.crs, PanSettings())
    assert (pan.insertions["bottom_kind"] == Bottom.CENSORED).all()
    assert pan.insertions["bottom_mm"].isna().all()
    assert (pan.insertions["bottom_low_mm"] <= run.survey.profiles.readings["stop_mm"].to_numpy()).all()
    assert "30 of the 30" in {issue.code: issue.what for issue in pan.issues}["bottom-not-seen"]


def test_a_closed_layer_ends_above_two_readings_of_softer_ground(run):
    pan, readings = run.pan.insertions, run.survey.profiles.readings
    for row in np.flatnonzero(pan["bottom_kind"] == Bottom.OBSERVED):
        profile = readings.isel(insertion=row)
        below = profile["cone_index_kpa"].to_numpy()[profile["depth_mm"].to_numpy() > pan["bottom_high_mm"].iloc[row]]
        assert (below[:2] < run.pan.threshold_kpa).all()


def test_every_depth_is_on_the_step_and_within_the_machine(run):
    zones = run.plan.zones
    ripped = zones.loc[zones["depth_mm"] > 0, "depth_mm"]
    assert (ripped % 25 == 0).all()
    assert ripped.le(run.catalog.ripper.max_depth.value).all()
    assert hardpan.zone_table(run)["reason"].str.len().gt(0).all()


def test_the_zones_fill_the_field(run):
    assert run.plan.zones["area_ha"].sum() == pytest.approx(run.survey.paddock.area_ha, rel=1e-3)


def test_the_files_are_written_and_hold_the_plan(run, written):
    expected = {"prescription.geojson", "prescription_shp.zip", "taskdata.zip", "surfaces.tif", "report.html"}
    assert expected <= written(run)
