"""The two open surveys: right units, places and censoring, and what each file's own quirks did.

Sources: [riveras2022] 30 profiles to 81 cm in kPa, degrees and minutes, 3.42 ha; [camargo2024] 55 points of five layers
in MPa on WGS 84 / UTM zone 21S, 241.9 ha, refusal stored as zero. Numbers stated beside the checks are those of the
files' own records and attribute tables.
"""

from pathlib import Path

import numpy as np
import pytest

from hardpan.records.survey import Stop
from hardpan.run.catalog import read_catalog
from hardpan.run.config import read_config
from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings
from hardpan.survey.stage import read_survey

ROOT = Path(__file__).parents[2]
DATA = ROOT.parent / "shared" / "data"
LAYERS = tuple({"column": f"layer{at + 1}", "top": 10 * at, "bottom": 10 * at + 10} for at in range(5))


def read(boundary, probes, **settings):
    if not (DATA / boundary).is_file():
        pytest.skip("the open data are not beside the repository")
    return read_survey(
        PaddockSettings(name="open survey", boundary=DATA / boundary),
        ProbeSettings(file=DATA / probes, **settings),
        SoilSettings(default_type="loamy sand"),
        GridSettings(cell_m=5.0),
        read_catalog(read_config(ROOT / "data" / "demo" / "demo.toml")).soils,
    )


@pytest.fixture(scope="module")
def chile():
    return read(
        "sandy_maize_chile/sites_shapes/San_Luis.shp",
        "sandy_maize_chile/SL_PR.csv",
        resistance_unit="kPa",
        depth_unit="cm",
        crs="EPSG:4326",
    )


@pytest.fixture(scope="module")
def pampa():
    return read(
        "rp_layers_pampa/field_boundary.shp",
        "rp_layers_pampa/Data_set_RP.txt",
        resistance_unit="MPa",
        depth_unit="cm",
        crs="EPSG:32721",
        layers=LAYERS,
    )


def codes(survey):
    return {issue.code for issue in survey.issues}


def test_chile_has_its_30_profiles_to_810_mm_on_3_42_ha(chile):
    assert chile.profiles.n_insertions == 30
    assert chile.profiles.depth_limit_mm == 810
    assert chile.paddock.area_ha == pytest.approx(3.42, abs=0.01)
    assert chile.crs.to_epsg() == 32719


def test_chile_profile_1_reads_as_the_file_writes_it(chile):
    first = chile.profiles.readings.sel(insertion="1/1")
    kpa = first["cone_index_kpa"].to_numpy()
    assert first["depth_mm"].to_numpy()[:3].tolist() == [10, 20, 30]
    assert kpa[:8].tolist() == [910, 910, 910, 910, 910, 910, 1060, 1440]
    assert float(first["stop_mm"]) == 340
    assert np.isnan(kpa[34:]).all()


def test_chile_profile_1_stands_where_its_minutes_say(chile):
    # 34 22.92106 S, 71 25.34295 W; one minute of latitude is 1852 m to 1 %
    first = chile.profiles.readings.sel(insertion="1/1")
    west, south, east, north = chile.paddock.boundary.total_bounds
    assert west - 10 < float(first["x_m"]) < east + 10
    assert south - 10 < float(first["y_m"]) < north + 10
    second = chile.profiles.readings.sel(insertion="2/1")
    step = (22.92335 - 22.92106) * 1852
    assert float(first["y_m"] - second["y_m"]) == pytest.approx(step, rel=0.1)


def test_chile_profiles_that_end_early_are_refusals_not_soft_ground(chile):
    table = chile.profiles.readings
    early = table["stop_mm"].to_numpy() < 810
    assert early.sum() == 15
    assert set(table["stop"].to_numpy()[early]) == {Stop.REFUSAL.value}
    assert set(table["stop"].to_numpy()[~early]) == {Stop.ROD_END.value}


def test_chile_long_runs_of_one_value_are_told(chile):
    assert {"held-reading", "refusal"} <= codes(chile)


def test_pampa_has_its_55_points_of_five_layers_on_its_hectares(pampa):
    table = pampa.profiles.readings
    assert (table.sizes["insertion"], table.sizes["sample"]) == (55, 5)
    assert (table["thickness_mm"] == 100).all()
    assert table["depth_mm"].to_numpy()[0].tolist() == [50, 150, 250, 350, 450]
    # the attribute table says 241.937, on the plane; UTM areas are small by up to 0.08 % (FORMATS 3.4)
    assert pampa.paddock.area_ha == pytest.approx(241.937, rel=1e-3)
    assert pampa.crs.to_epsg() == 32721


def test_pampa_units_are_megapascals(pampa):
    row_2 = pampa.profiles.readings.isel(insertion=pampa.profiles.readings["source_row"].to_numpy() == 2)
    assert row_2["cone_index_kpa"].to_numpy()[0].tolist() == [800, 1700, 1800, 1700, 2300]
    assert float(row_2["x_m"][0]) == pytest.approx(618783.669)
    assert float(row_2["y_m"][0]) == pytest.approx(6721299.338)


def test_pampa_zeros_below_a_hard_layer_are_a_refusal(pampa):
    row_4 = pampa.profiles.readings.isel(insertion=pampa.profiles.readings["source_row"].to_numpy() == 4)
    assert row_4["stop"].to_numpy()[0] == Stop.REFUSAL.value
    assert float(row_4["stop_mm"][0]) == 300
    assert np.isnan(row_4["cone_index_kpa"].to_numpy()[0, 3:]).all()
    assert float(row_4["cone_index_kpa"].max()) == 4800


def test_pampa_readings_at_the_top_of_the_scale_are_at_least_so_much(pampa):
    # 5.10 MPa is the highest value of the file and stands in seven of its rows
    table = pampa.profiles.readings
    assert int(table["at_least"].sum()) == 7
    assert set(table["cone_index_kpa"].to_numpy()[table["at_least"].to_numpy()]) == {5100.0}


def test_pampa_quirks_are_told(pampa):
    assert {"doubled-header", "layer-means", "zero-tail", "refusal", "device-limit"} <= codes(pampa)
