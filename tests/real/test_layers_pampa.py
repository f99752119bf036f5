"""The whole job on 55 points with the means of five layers (open data, camargo2024; MIT)."""

import numpy as np
import pandas as pd
import pytest

from hardpan.records.pan import Bottom
from hardpan.records.survey import Stop

LAYERS = [f"layer{number}" for number in range(1, 6)]


@pytest.fixture(scope="module")
def run(run_on):
    return run_on("layers_pampa.toml", "rp_layers_pampa")


@pytest.fixture(scope="module")
def plain(open_data):
    return pd.read_csv(open_data("rp_layers_pampa") / "Data_set_RP.txt", sep="\t", usecols=["X", "Y", *LAYERS])


def test_megapascal_come_in_as_kilopascal_and_zero_as_not_measured(run, plain):
    readings = run.survey.profiles.readings
    assert readings.sizes["insertion"] == len(plain) == 55
    order = np.lexsort((readings["y_m"].to_numpy(), readings["x_m"].to_numpy()))
    found = readings["cone_index_kpa"].to_numpy()[order]
    stated = plain.sort_values(["X", "Y"])[LAYERS].to_numpy()
    np.testing.assert_allclose(found, np.where(stated > 0, 1000.0 * stated, np.nan), rtol=1e-9)


def test_a_reading_is_the_mean_of_its_layer(run):
    readings = run.survey.profiles.readings
    read = np.isfinite(readings["cone_index_kpa"].to_numpy())
    assert set(np.unique(readings["thickness_mm"].to_numpy()[read])) == {100.0}
    assert set(np.unique(readings["depth_mm"].to_numpy()[read])) == {50.0, 150.0, 250.0, 350.0, 450.0}


def test_the_point_with_zeros_was_refused(run, plain):
    stop = run.survey.profiles.readings["stop"].to_numpy()
    assert (stop == Stop.REFUSAL).sum() == (plain[LAYERS] == 0.0).any(axis=1).sum() == 1


def test_the_field_has_the_area_its_boundary_states(run):
    # 241.9 ha in UTM; the geodesic area differs by the projection's scale, within 0.1 %.
    assert run.survey.paddock.area_ha == pytest.approx(241.937, rel=1e-3)


def test_the_run_says_what_layer_means_cost_in_certainty(run):
    told = {issue.code: issue for issue in run.issues}
    assert "standard deviation" in told["layer-means"].done
    seen = run.pan.insertions[run.pan.insertions["bottom_kind"] == Bottom.OBSERVED]
    assert (seen["bottom_high_mm"] - seen["bottom_low_mm"] == 200.0).all()


def test_the_zones_fill_the_field(run):
    assert run.plan.zones["area_ha"].sum() == pytest.approx(run.survey.paddock.area_ha, rel=1e-3)


def test_the_files_are_written_and_hold_the_plan(run, written):
    expected = {"prescription.geojson", "prescription_shp.zip", "taskdata.zip", "surfaces.tif", "report.html"}
    assert expected <= written(run)
