"""`hardpan new --from`: what the files of a folder say for certain is filled in, the rest is asked for."""

import json
import re
import tomllib

import numpy as np
import pytest
import rasterio
from affine import Affine
from typer.testing import CliRunner

from hardpan.cli import app
from small_paddock import SIDE_M, SOUTH_M, WEST_M, Small

GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1">{points}</gpx>
"""


def new(folder, given):
    result = CliRunner().invoke(app, ["new", str(folder), "--from", str(given)])
    text = (folder / "paddock.toml").read_text(encoding="utf-8") if (folder / "paddock.toml").is_file() else ""
    return result, text, tomllib.loads(text)


@pytest.fixture
def given(tmp_path):
    """Files of a small invented paddock, and no configuration."""
    folder = tmp_path / "given"
    Small().write(folder).unlink()
    return folder


def shapes(path, kind, *features):
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32751"}}
    listed = [
        {"type": "Feature", "properties": says, "geometry": {"type": kind, "coordinates": where}}
        for says, where in features
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": listed}))


def ring(west, south, width, height):
    x, y = WEST_M + west, SOUTH_M + south
    return [[[x, y], [x + width, y], [x + width, y + height], [x, y + height], [x, y]]]


def test_each_file_is_taken_for_what_its_content_says(tmp_path, given):
    soils = [({"soil": "deep sand"}, ring(0, 0, SIDE_M, 90)), ({"soil": "sandy loam"}, ring(0, 90, SIDE_M, 110))]
    shapes(given / "a.geojson", "Polygon", *soils)
    shapes(given / "b.geojson", "Polygon", ({"kind": "rock"}, ring(20, 20, 10, 10)))
    shapes(given / "c.geojson", "LineString", ({}, [[WEST_M, SOUTH_M], [WEST_M, SOUTH_M + SIDE_M]]))
    (given / "d.csv").write_text(f"core,easting,northing,ESP %\nC1,{WEST_M + 50},{SOUTH_M + 50},4\n")
    (given / "notes.txt").write_text("gate code in the ute\n")
    with rasterio.open(
        given / "e.tif", "w", driver="GTiff", width=10, height=10, count=1, dtype="float32", crs="EPSG:32751",
        transform=Affine(20, 0, WEST_M, 0, -20, SOUTH_M + SIDE_M),
    ) as raster:  # fmt: skip
        raster.write(np.arange(100, dtype="float32").reshape(1, 10, 10))
    result, text, config = new(tmp_path / "mine", given)
    assert result.exit_code == 0, result.stderr
    assert config["paddock"] == {
        "name": "f1", "boundary": "../given/boundary.geojson", "exclusions": "../given/b.geojson",
    }  # fmt: skip
    assert config["soil"] == {"polygons": "../given/a.geojson", "type_field": "soil", "cores": "../given/d.csv"}
    assert config["surfaces"]["covariates"] == ["../given/e.tif"]
    assert config["probes"]["file"] == "../given/probes.csv"
    assert config["probes"]["depth_unit"] == "mm"
    assert config["probes"]["columns"] == {"site": "site", "x": "x", "y": "y"}
    filled = [
        line for line in text.splitlines() if re.match(r"(boundary|polygons|cores|depth_unit|covariates) = ", line)
    ]
    assert len(filled) == 5
    assert all("#" in line for line in filled)
    asked = [line for line in text.splitlines() if line.startswith("# TO SETTLE: ")]
    for word in (
        "unit of resistance is stated nowhere",
        "probes.csv: positions state no CRS",
        "c.geojson",
        "notes.txt",
    ):
        assert sum(word in line for line in asked) == 1, word


def test_what_is_left_to_settle_is_what_check_says_and_no_more(tmp_path, given):
    result, text, _ = new(tmp_path / "given", given)
    told = [line.removeprefix("to settle: ") for line in result.stdout.splitlines() if line.startswith("to settle: ")]
    checked = CliRunner().invoke(app, ["check", str(given / "paddock.toml")])
    assert told == [line.removeprefix("hardpan: ") for line in checked.stderr.strip().splitlines()]
    assert len(told) == 2
    settled = text.replace("# resistance_unit = ...", 'resistance_unit = "kPa"')
    settled = re.sub(r"(\[probes\]\n(?:.*\n)*?)# crs = \.\.\.", r'\1crs = "EPSG:32751"', settled)
    (given / "paddock.toml").write_text(settled, encoding="utf-8")
    assert CliRunner().invoke(app, ["check", str(given / "paddock.toml")]).exit_code == 0


def test_of_two_polygons_that_may_be_the_boundary_neither_is_chosen(tmp_path, given):
    shapes(given / "next.geojson", "Polygon", ({}, ring(300, 0, 100, 100)))
    _, text, config = new(tmp_path / "mine", given)
    assert config["paddock"]["boundary"] == "boundary.geojson"  # the template's example
    asked = [line for line in text.splitlines() if line.startswith("# TO SETTLE: 2 files may be boundary")]
    assert [name in line for name, line in zip(("/boundary.geojson", "/next.geojson"), asked, strict=True)] == [
        True
    ] * 2


def test_two_tables_of_readings_are_asked_about(tmp_path, given):
    (given / "last-year.csv").write_text((given / "probes.csv").read_text())
    _, text, config = new(tmp_path / "mine", given)
    assert config["probes"]["file"] == "probes.csv"
    assert config["probes"]["depth_unit"] == "mm"  # both say so
    assert 'file = ["../given/last-year.csv", "../given/probes.csv"]' in text


def test_units_that_the_header_names_are_filled_in_and_a_tie_of_columns_is_not(tmp_path, given):
    rows = (given / "probes.csv").read_text().splitlines()
    head, *cells = rows
    head = head.replace(" mm", " mm (psi)")
    (given / "probes.csv").write_text("\n".join([head, *cells]))
    _, _, config = new(tmp_path / "mine", given)
    assert config["probes"]["resistance_unit"] == "psi"
    long = "site,easting,northing,depth cm,cone index kPa,resistance kPa\n"
    rows = (f"S1,500030,6600040,{cm},{900 + cm},{2 * cm}\n" for cm in range(5, 60, 5))
    (given / "probes.csv").write_text(long + "".join(rows))
    result, _, config = new(tmp_path / "other", given)
    assert "resistance" not in config["probes"]["columns"]
    assert "cone index" in result.stdout


def test_waypoints_give_the_positions_that_the_readings_lack(tmp_path, given):
    rows = [line.split(",") for line in (given / "probes.csv").read_text().splitlines()]
    (given / "probes.csv").write_text("\n".join(",".join([row[0], *row[3:]]) for row in rows))
    points = "".join(f'<wpt lat="-30.73" lon="{123 + n / 1e4}"><name>S{n}</name></wpt>' for n in range(1, 7))
    (given / "walk.gpx").write_text(GPX.format(points=points))
    _, _, config = new(tmp_path / "mine", given)
    assert config["probes"]["positions"] == "../given/walk.gpx"


def test_points_with_readings_or_properties_of_cores_are_more_than_waypoints(tmp_path, given):
    readings = {"site": "A", "d100mm": 900, "d200mm": 1400, "d300mm": 2600, "d400mm": 1500}
    shapes(given / "a.geojson", "Point", (readings, [WEST_M + 20, SOUTH_M + 20]))
    shapes(given / "b.geojson", "Point", ({"core": "C1", "clay_pct": 4}, [WEST_M + 50, SOUTH_M + 50]))
    (given / "probes.csv").unlink()
    _, _, config = new(tmp_path / "mine", given)
    assert config["probes"]["file"] == "../given/a.geojson"
    assert config["soil"]["cores"] == "../given/b.geojson"


@pytest.mark.parametrize("folder", ["nowhere", "empty"])
def test_a_folder_without_files_of_a_paddock_is_said_plainly(tmp_path, folder):
    (tmp_path / "empty").mkdir()
    result, text, _ = new(tmp_path / "mine", tmp_path / folder)
    if folder == "nowhere":
        assert (result.exit_code, text) == (2, "")
        assert "no such folder" in result.stderr
    else:
        assert result.exit_code == 0
        assert text.count("# TO SETTLE: ") == 4
