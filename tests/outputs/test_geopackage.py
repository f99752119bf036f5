"""Every layer of the GeoPackage opens, and each has the style a desktop GIS looks for."""

import re
import shutil
import sqlite3
import subprocess
from contextlib import closing

import fiona
import geopandas as gpd
import pytest
from defusedxml.ElementTree import fromstring

from hardpan.outputs.geopackage import write_geopackage
from hardpan.outputs.layers import desktop_layers, layer_styles
from hardpan.outputs.palette import depth_colours

LAYERS = ["zones", "probes", "soils", "boundary", "exclusions"]


@pytest.fixture(scope="module")
def path(run, words, tmp_path_factory):
    path = tmp_path_factory.mktemp("gpkg") / "prescription.gpkg"
    write_geopackage(path, desktop_layers(run, words), layer_styles(run, depth_colours(run.plan.zones["depth_mm"])))
    return path


@pytest.fixture(scope="module")
def styles(path):
    with closing(sqlite3.connect(path)) as base:
        base.row_factory = sqlite3.Row
        return {row["f_table_name"]: row for row in base.execute("SELECT * FROM layer_styles")}


def test_all_layers_are_there_in_the_working_crs(path, run):
    assert fiona.listlayers(path)[:5] == LAYERS
    for layer in LAYERS:
        with fiona.open(path, layer=layer) as features:
            assert features.crs.to_epsg() == run.survey.crs.to_epsg()


def test_zones_carry_every_column_of_the_plan(path, told):
    zones = gpd.read_file(path, layer="zones")
    assert set(told.columns) <= set(zones.columns)
    assert list(zones["reason"]) == list(told["reason"])
    assert zones.area.sum() == pytest.approx(told.area.sum(), rel=1e-12)


def test_the_file_says_what_it_is(path):
    content = path.read_bytes()
    assert content[:16] == b"SQLite format 3\0"
    assert content[68:72] == b"GPKG"


def test_every_layer_has_one_default_style(styles):
    assert sorted(styles) == sorted(LAYERS)
    for row in styles.values():
        assert (row["useAsDefault"], row["f_geometry_column"]) == (1, "geom")
        assert (row["f_table_catalog"], row["f_table_schema"]) == ("", "")
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", row["update_time"])


def test_the_geometry_column_is_the_one_the_style_names(path):
    with closing(sqlite3.connect(path)) as base:
        assert {name for (name,) in base.execute("SELECT column_name FROM gpkg_geometry_columns")} == {"geom"}


def test_the_style_table_is_registered_as_attributes(path):
    with closing(sqlite3.connect(path)) as base:
        kind = base.execute("SELECT data_type FROM gpkg_contents WHERE table_name = 'layer_styles'").fetchone()
    assert kind == ("attributes",)


def test_every_value_of_a_layer_has_a_symbol(path, styles):
    for layer in LAYERS:
        renderer = fromstring(styles[layer]["styleQML"]).find("renderer-v2")
        symbols = {symbol.get("name") for symbol in renderer.iter("symbol")}
        categories = list(renderer.iter("category"))
        assert {category.get("symbol") for category in categories} <= symbols
        assert symbols
        if categories:
            features = gpd.read_file(path, layer=layer)
            assert set(features[renderer.get("attr")].astype(str)) <= {one.get("value") for one in categories}


def test_the_open_style_says_the_same(styles):
    for row in styles.values():
        root = fromstring(row["styleSLD"])
        assert root.get("version") == "1.0.0"
        assert len(list(root.iter("{http://www.opengis.net/sld}Rule"))) == len(
            list(fromstring(row["styleQML"]).iter("symbol"))
        )


def test_an_unbounded_depth_is_a_database_null(path):
    probes = gpd.read_file(path, layer="probes")
    assert probes["bottom_high_mm"].isna().sum() == 4


def test_a_paddock_without_exclusions_still_has_the_layer(run, words, tmp_path):
    layers = desktop_layers(run, words)
    layers["exclusions"] = layers["exclusions"].iloc[:0]
    write_geopackage(tmp_path / "a.gpkg", layers, layer_styles(run, depth_colours([300])))
    assert len(gpd.read_file(tmp_path / "a.gpkg", layer="exclusions")) == 0


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="gdal-bin is not installed")
@pytest.mark.parametrize("layer", LAYERS)
def test_the_command_line_tools_open_every_layer_without_complaint(path, layer):
    told = subprocess.run(["ogrinfo", "-so", path, layer], capture_output=True, text=True, check=True)
    assert f"Layer name: {layer}" in told.stdout
    assert told.stderr == ""
