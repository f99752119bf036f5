"""Lab cores: which spelling means what, in which unit, and on which soil a core stands."""

import io

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
from geopandas.testing import assert_geodataframe_equal
from shapely.geometry import box

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.quantity import Quantity
from hardpan.records.soils import SoilType
from hardpan.survey.inputs.soils import read_cores
from hardpan.survey.notes import Land, Log
from hardpan.survey.settings import ProbeSettings, SoilSettings
from hardpan.survey.soils import one_soil

ONE = Quantity(value=1.0, unit="1", source="design")
SAND = SoilType(
    labels=("sandplain",),
    texture="coarse",
    water_texture="sand",
    first_year_gain=ONE,
    persistence=ONE,
    persistence_controlled=ONE,
    seasons=ONE,
    **({"seasons_controlled": ONE} if "seasons_controlled" in SoilType.model_fields else {}),
)
TYPES = {"deep sand": SAND}
LAND = Land(
    boundary=box(500000, 6900000, 500400, 6900300),
    crs=pyproj.CRS(32751),
    bounds=(122.9, -28.1, 123.1, -27.9),
)


@pytest.fixture
def read(tmp_path):
    def read(written, name="cores.csv"):
        path = tmp_path / name
        if isinstance(written, str):
            path.write_text(written, encoding="utf-8")
        else:
            written(path)
        settings = SoilSettings(cores=path, default_type="deep sand")
        log = Log()
        soils, _ = one_soil(LAND.boundary, LAND.crs, settings, TYPES)
        probes = ProbeSettings(file=path)
        return read_cores(settings, probes, soils, LAND, soil_types=TYPES, log=log), log.issues

    return read


def test_columns_of_the_record_are_read_as_they_are(read):
    cores, issues = read("core,latitude,longitude,ph_0_100,clay_depth_mm,esp_pct\nA,-28.024804,123.000509,5.1,450,\n")
    assert cores["core"].tolist() == ["A"]
    assert cores["soil_type"].tolist() == ["deep sand"]
    assert cores[["ph_0_100", "clay_depth_mm"]].iloc[0].tolist() == [5.1, 450.0]
    assert np.isnan(cores["esp_pct"].iloc[0])
    assert not issues


def test_usual_spellings_and_centimetres_mean_the_same(read):
    cores, _ = read(
        "Sample;Lat;Lon;pH (CaCl2) 0-10 cm;pH (CaCl2) 10-20 cm;Depth to clay (cm);Repellence (MED);Gravel (%)\n"
        "A;-28,0248;123,0005;4,9;4,4;45;2,7;12\n"
    )
    row = cores.iloc[0]
    assert row[["ph_0_100", "ph_100_200", "clay_depth_mm", "repellence_med", "gravel_pct"]].tolist() == pytest.approx(
        [4.9, 4.4, 450.0, 2.7, 12.0]
    )


def test_ph_in_water_is_not_taken_for_ph_in_calcium_chloride(read):
    cores, issues = read("core,lat,lon,pH water 0-10 cm,clay %\nA,-28.0248,123.0005,5.8,4\n")
    assert "ph_0_100" not in cores
    assert "core-columns" in {issue.code for issue in issues}


def test_a_core_outside_without_a_known_soil_is_dropped_and_told(read):
    cores, issues = read("core,lat,lon,clay_pct\nA,-28.0248,123.0005,4\nB,-29.5,123.0005,4\n")
    assert cores["core"].tolist() == ["A"]
    assert "core-outside" in {issue.code for issue in issues}


def test_cores_without_position_stand_on_the_soil_they_state(read):
    cores, _ = read("core,soil type,clay_pct\nA,Sandplain,4\n")
    assert cores["soil_type"].tolist() == ["deep sand"]
    assert cores.geometry.isna().all()


def test_cells_that_are_no_numbers_are_missing_and_told(read):
    cores, issues = read("core,lat,lon,clay_pct\nA,-28.0248,123.0005,n/a\nB,-28.0247,123.0006,about 4\n")
    assert cores["clay_pct"].isna().all()
    assert "unreadable-cell" in {issue.code for issue in issues}


def test_depths_to_clay_in_no_stated_unit_are_asked_for_where_all_are_small(read):
    rows = "A,-28.0248,123.0005,45\nB,-28.0247,123.0006,60\n"
    with pytest.raises(AmbiguousInputError, match=r"less than 80 mm, such as 45.*clay_depth_cm"):
        read("core,lat,lon,clay depth\n" + rows)
    cores, issues = read("core,lat,lon,clay_depth_mm\n" + rows)
    assert cores["clay_depth_mm"].tolist() == [45, 60]
    assert "clay-depth-shallow" in {issue.code for issue in issues}
    deep, quiet = read("core,lat,lon,depth to clay (in)\n" + rows)
    assert deep["clay_depth_mm"].tolist() == pytest.approx([45 * 25.4, 60 * 25.4])
    assert "clay-depth-shallow" not in {issue.code for issue in quiet}


def test_a_header_that_stands_twice_is_no_core(read):
    header = "core,lat,lon,clay_pct\n"
    cores, issues = read(header + header + "A,-28.0248,123.0005,4\n")
    assert cores["core"].tolist() == ["A"]
    assert "damaged-rows" in {issue.code for issue in issues}
    assert "unreadable-cell" not in {issue.code for issue in issues}


@pytest.mark.parametrize("name", ["cores.xlsx", "cores.geojson", "cores.gpkg"])
def test_cores_of_a_workbook_or_a_layer_of_points_are_those_of_the_text(name, read):
    text = "core,latitude,longitude,ph_0_100,clay_pct\nA,-28.024804,123.000509,5.1,4\nB,-28.0247,123.0006,4.9,5.5\n"
    table = pd.read_csv(io.StringIO(text))
    points = gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(table["longitude"], table["latitude"]), crs=4326)
    wanted, _ = read(text)
    found, _ = read(lambda path: table.to_excel(path, index=False) if "xlsx" in name else points.to_file(path), name)
    assert_geodataframe_equal(found, wanted, check_like=True)


def test_a_core_that_stands_twice_counts_once_and_clay_below_one_per_cent_is_questioned(read):
    row = "A,-28.024804,123.000509,0.05\n"
    cores, issues = read("core,latitude,longitude,clay_pct\n" + row + row + "B,-28.0247,123.0006,0.07\n")
    assert cores["core"].tolist() == ["A", "B"]
    told = {issue.code: issue for issue in issues}
    assert told["repeated-rows"].place == "row 3"
    assert told["clay-share"].what == "clay_pct is at most 0.07"


def test_cores_alike_without_name_and_place_are_cores_each(read):
    cores, _ = read("soil type,clay_pct\nSandplain,4\nSandplain,4\n")
    assert len(cores) == 2


def test_swapped_axes_of_cores_are_told_without_a_key_of_the_probes(read):
    with pytest.raises(InputError, match="seem swapped; swap the names of the two columns"):
        read("core,lat,lon,clay_pct\nA,123.0005,-28.0248,4\n")


def test_a_table_without_properties_is_refused(read):
    with pytest.raises(InputError, match="properties of cores"):
        read("core,lat,lon\nA,-28.0248,123.0005\n")


@pytest.mark.parametrize(
    ("column", "value"), [("ph_0_100", -9999), ("ph_0_100", 55), ("esp_pct", 250), ("clay_depth_mm", -1)]
)
def test_values_soil_cannot_have_are_missing_and_told(column, value, read):
    frame, issues = read(f"core,longitude,latitude,{column},gravel_pct\nC1,123.002,-28.0235,{value},5\n")
    assert np.isnan(frame[column].iloc[0])
    assert frame["gravel_pct"].iloc[0] == 5
    assert "impossible-core" in {issue.code for issue in issues}
