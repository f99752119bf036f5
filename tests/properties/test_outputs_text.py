"""Whatever a name is, it is text in every file: never a formula, a tag, an entity or a broken document."""

import csv
import io
import json
import tempfile
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from defusedxml.ElementTree import fromstring, parse
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from hardpan.core.said import Said, depth
from hardpan.outputs.geojson import write_geojson
from hardpan.outputs.isoxml import rip_task, write_taskdata
from hardpan.outputs.isoxml_reader import read_taskdata
from hardpan.outputs.kml_gpx import write_kml
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.shapefile import ascii_text
from hardpan.outputs.tables import cell, write_table
from hardpan.outputs.words.units import Units

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
ZONES = gpd.GeoDataFrame(
    {"zone": [1], "kind": ["ground"], "depth_mm": [300], "setup": ["plain"], "spacing_mm": [600.0], "speed_kmh": [5.0],
     "area_ha": [1.0], "reason": ["r"], "soil_type": ["s"]},
    geometry=[box(117.0, -33.0, 117.001, -32.999)],
    crs="EPSG:4326",
)  # fmt: skip


@given(TEXT)
def test_no_cell_starts_a_formula(text):
    assert not cell(text, 2).startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


@given(st.lists(TEXT, min_size=1, max_size=4))
def test_a_table_keeps_its_rows_and_columns(texts):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "t.csv"
        write_table(path, pd.DataFrame({"a": texts, "b": range(len(texts))}))
        rows = list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))
    assert [len(row) for row in rows] == [2] * (len(texts) + 1)
    same = [text.replace("\r\n", "\n").replace("\r", "\n") for text in texts]
    assert [row[0].removeprefix("'") for row in rows[1:]] == [text.removeprefix("'") for text in same]


@settings(deadline=None)
@given(TEXT, TEXT)
def test_documents_stay_well_formed(name, reason):
    zones = ZONES.assign(reason=reason, setup=name[:20])
    with tempfile.TemporaryDirectory() as folder:
        at = Path(folder)
        write_geojson(at / "a.geojson", zones, name)
        collection = json.loads((at / "a.geojson").read_bytes())
        write_kml(at / "a.kml", zones, {1: name}, {300: "#112233"}, title=name)
        parse(at / "a.kml")
        write_taskdata(
            at / "t.zip", tasks=(rip_task(zones, "cm"),), parts=zones, grid=None, boundary=zones.geometry.iloc[0],
            identity=(name, "0", 1.0), settings=OutputSettings(isoxml_shape="polygons"),
        )  # fmt: skip
        task = read_taskdata(at / "t.zip")[0]
    assert (collection["name"], collection["features"][0]["properties"]["reason"]) == (name, reason)
    here = [value for shape, value in task.polygons if shapely.contains_xy(shape, 117.0005, -32.9995)]
    assert here == [300]


@given(TEXT, st.integers(1, 40))
def test_a_display_gets_plain_letters_only(text, most):
    short = ascii_text(text, most)
    assert len(short) <= most
    assert all(32 <= ord(letter) < 127 for letter in short)


@given(TEXT)
def test_text_that_remembers_no_quantity_is_never_restated(text):
    us = Units.of(OutputSettings(units="us"), "USD")
    assert us.say(text) == text
    assert us.say(Said("{name}: {depth}", name=text, depth=depth(254.0))) == f"{text}: 10\u00a0in"


def test_the_parser_used_here_refuses_entities():
    try:
        fromstring('<!DOCTYPE a [<!ENTITY b "b">]><a>&b;</a>')
    except ValueError:
        return
    message = "entities were accepted"
    raise AssertionError(message)
