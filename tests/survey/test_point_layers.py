"""Readings, machine logs and harvests as layers of points: the same as the table of the same rows."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.survey.files import load
from hardpan.survey.inputs.point_layers import as_table
from hardpan.survey.inputs.probes import read_profiles
from hardpan.survey.notes import Land, Log
from hardpan.survey.settings import ProbeSettings

LAND = Land(
    boundary=shapely.box(500000, 6900000, 500400, 6900300),
    crs=pyproj.CRS(32751),
    bounds=(123.0, -28.03, 123.01, -28.02),
)
DEPTHS = range(0, 700, 50)


def wide():
    rng = np.random.default_rng(3)
    table = pd.DataFrame({"site": ["A", "B", "C", "D"], "x": 500050.5 + 80 * np.arange(4), "y": 6900020.25})
    peaks = {
        f"d{depth}mm": np.round(500 + 2500 * np.exp(-(((depth - 350) / 90) ** 2)) + rng.normal(0, 30, 4))
        for depth in DEPTHS
    }
    return table.assign(**peaks)


def layer(table):
    return gpd.GeoDataFrame(
        table.drop(columns=["x", "y"]), geometry=gpd.points_from_xy(table["x"], table["y"]), crs=32751
    )


def read(path, **settings):
    log = Log()
    return read_profiles(ProbeSettings(file=path, resistance_unit="kPa", **settings), LAND, log).readings, log


@pytest.fixture
def wanted(tmp_path):
    wide().to_csv(tmp_path / "table.csv", index=False)
    return read(tmp_path / "table.csv", crs="EPSG:32751")[0]


def agree(found, wanted, metres=1e-6):
    assert found["site"].to_numpy().tolist() == wanted["site"].to_numpy().tolist()
    for name in ("depth_mm", "cone_index_kpa"):
        np.testing.assert_allclose(found[name].to_numpy(), wanted[name].to_numpy())
    for name in ("x_m", "y_m"):
        np.testing.assert_allclose(found[name].to_numpy(), wanted[name].to_numpy(), atol=metres)


@pytest.mark.parametrize("name", ["probes.shp", "probes.gpkg", "probes.fgb"])
def test_a_layer_of_points_is_read_as_its_table_in_its_own_crs(name, tmp_path, wanted):
    layer(wide()).to_file(tmp_path / name)
    found, _ = read(tmp_path / name)
    agree(found, wanted)


def test_a_geojson_is_in_degrees_and_single_points_of_several_are_points(tmp_path, wanted):
    moved = layer(wide()).to_crs(4326)
    moved.set_geometry(shapely.multipoints(shapely.get_coordinates(moved.geometry)[:, None, :])).set_crs(4326).to_file(
        tmp_path / "probes.geojson", COORDINATE_PRECISION=9
    )
    agree(read(tmp_path / "probes.geojson")[0], wanted, metres=1e-3)


def test_the_ids_that_kml_gives_its_features_are_no_names_of_sites(tmp_path, wanted):
    moved = layer(wide()).to_crs(4326).rename(columns={"site": "Name"})
    moved.to_file(tmp_path / "probes.kml", driver="KML")
    agree(read(tmp_path / "probes.kml")[0], wanted, metres=1e-3)


def test_where_points_and_attributes_differ_the_points_are_used_and_that_is_told(tmp_path, wanted):
    layer(wide()).assign(easting=1.0, northing=2.0).to_file(tmp_path / "probes.gpkg")
    found, log = read(tmp_path / "probes.gpkg")
    agree(found, wanted)
    assert any("easting, northing give positions" in issue.what for issue in log.issues)


def test_a_crs_that_file_and_settings_state_has_to_agree(tmp_path):
    layer(wide()).to_file(tmp_path / "probes.gpkg")
    with pytest.raises(AmbiguousInputError, match=r"zone 51S but probes\.crs says .*zone 50S; take out probes\.crs"):
        read(tmp_path / "probes.gpkg", crs="EPSG:32750")


def test_places_without_a_name_are_told_to_count_as_sites_each(tmp_path):
    layer(wide()).drop(columns="site").to_file(tmp_path / "probes.gpkg")
    _, log = read(tmp_path / "probes.gpkg")
    told = next(issue for issue in log.issues if issue.code == "nameless-sites")
    assert told.done == "each of 4 places is taken as a site; name the column in probes.columns.site"


def test_lines_hold_no_readings(tmp_path):
    lines = layer(wide()).buffer(5).boundary
    gpd.GeoDataFrame({"site": list("ABCD")}, geometry=lines).to_file(tmp_path / "probes.gpkg")
    with pytest.raises(InputError, match="4 features of 4 are no point"):
        read(tmp_path / "probes.gpkg")


def test_points_without_attributes_are_refused(tmp_path):
    layer(wide()).to_file(tmp_path / "probes.shp")
    (tmp_path / "probes.dbf").unlink()
    with pytest.raises(InputError, match=r"no attributes.*\.dbf"):
        read(tmp_path / "probes.shp")


def test_rows_are_numbered_as_features_and_blank_where_nothing_is_known(tmp_path):
    places = [shapely.Point(1, 2), None]
    table = gpd.GeoDataFrame(
        {"n": [1.0, np.nan], "t": pd.to_datetime(["2026-07-01", None])}, geometry=places, crs=32751
    )
    table.to_file(tmp_path / "points.gpkg")
    found = as_table(load(tmp_path / "points.gpkg", what="points"), None, key="", log=Log())
    assert found.rows() == [["n", "t", "x", "y"], ["1", "2026-07-01T00:00:00", "1", "2"], ["", "", "", ""]]
    assert found.lines.tolist() == [0, 1, 2]
