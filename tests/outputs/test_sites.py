"""The files to walk with, read by other libraries."""

import csv
import json
import re

import numpy as np
import pyogrio
import pytest
import shapely
from defusedxml import ElementTree
from typer.testing import CliRunner

from builders.sites import SOUTH_M, WEST_M
from hardpan.cli import app
from hardpan.core.errors import ReadBackError
from hardpan.outputs import sites
from small_paddock import SITES, Small, rectangle

HEAD = ["order", "site", "longitude", "latitude", "insertions", "soil_type", "why", "worth"]
GPX = "{http://www.topografix.com/GPX/1/1}"


def unprobed(folder, sites="count = 6", **tables):
    """Configuration of the small paddock before anybody probed it."""
    path = Small(tables={"sites": sites, **tables}).write(folder)
    kept, at = [], ""
    for line in path.read_text().splitlines():
        at = line if line.startswith("[") else at
        if at != "[probes]":
            kept.append(line)
    path.write_text("\n".join(kept))
    return path


def planned(path, out):
    done = CliRunner().invoke(app, ["sites", str(path), "--out", str(out)])
    assert done.exit_code == 0, done.output
    return done.output


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("sites")
    planned(unprobed(place / "in"), place / "out")
    return place / "out"


def test_five_files_are_written(folder):
    assert {path.name for path in folder.iterdir()} == {
        "sites.csv", "sites.geojson", "sites.gpx", "sites.html", "run.json"
    }  # fmt: skip


def test_table_map_layer_and_waypoints_hold_the_same_sites(folder):
    with (folder / "sites.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert rows[0] == HEAD
    layer = pyogrio.read_dataframe(folder / "sites.geojson")
    points = ElementTree.parse(folder / "sites.gpx").getroot().findall(f"{GPX}wpt")
    names = [row[1] for row in rows[1:]]
    assert len(names) == 6
    assert list(layer["site"]) == [point.findtext(f"{GPX}name") for point in points] == names
    for row, shape, point in zip(rows[1:], layer.geometry, points, strict=True):
        assert (f"{shape.x:.7f}", f"{shape.y:.7f}") == (row[2], row[3]) == (point.get("lon"), point.get("lat"))
    x, y = layer.to_crs(32751).get_coordinates().to_numpy().T
    assert shapely.contains_xy(shapely.Polygon(rectangle(0, 0, 200, 200)), x, y).all()
    assert (x.min() > WEST_M) & (y.min() > SOUTH_M)


def test_a_first_survey_claims_no_money(folder):
    layer = pyogrio.read_dataframe(folder / "sites.geojson")
    assert (layer["worth"] == 0).all()


def test_the_page_asks_no_network_and_names_every_site(folder):
    page = (folder / "sites.html").read_text(encoding="utf-8")
    assert re.findall(r'(?:src|href)="(?!#)|url\((?!#)|@import|<script', page) == []
    assert all(f"P0{k}" in page for k in range(1, 7))


def test_two_plans_with_one_seed_are_the_same_bytes(folder, tmp_path):
    planned(unprobed(tmp_path / "in"), tmp_path / "again")
    for name in ("sites.csv", "sites.geojson", "sites.gpx"):
        assert (tmp_path / "again" / name).read_bytes() == (folder / name).read_bytes()


def test_a_plan_may_replace_an_earlier_one_and_nothing_else(tmp_path):
    path = unprobed(tmp_path / "in")
    planned(path, tmp_path / "out")
    planned(path, tmp_path / "out")
    (tmp_path / "out" / "mine.txt").write_text("mine")
    done = CliRunner().invoke(app, ["sites", str(path), "--out", str(tmp_path / "out")])
    assert (done.exit_code, (tmp_path / "out" / "mine.txt").read_text()) == (2, "mine")


def test_beside_a_survey_names_go_on_and_a_site_says_what_its_answer_is_worth(tmp_path):
    path = Small(tables={"sites": "count = 3"}).write(tmp_path / "in")
    told = planned(path, tmp_path / "out")
    layer = pyogrio.read_dataframe(tmp_path / "out" / "sites.geojson")
    assert sorted(layer["site"]) == ["S7", "S8", "S9"]
    assert (layer["worth"] >= 0).all()
    record = json.loads((tmp_path / "out" / "run.json").read_text())
    assert layer["worth"].sum() == pytest.approx(record["worth"], abs=0.02)
    assert record["worth"] <= record["perfect_worth"] + 1e-9
    assert "choice of depth and set-up" in told


def test_beside_a_survey_sites_may_fill_its_gaps_instead(tmp_path):
    path = Small(tables={"sites": 'count = 3\nby = "coverage"'}).write(tmp_path / "in")
    planned(path, tmp_path / "out")
    layer = pyogrio.read_dataframe(tmp_path / "out" / "sites.geojson")
    xy = layer.to_crs(32751).get_coordinates().to_numpy() - [WEST_M, SOUTH_M]
    assert np.hypot(*(xy[:, None] - np.array(SITES)).transpose(2, 0, 1)).min() > 30.0


def test_the_report_of_a_run_marks_the_sites_that_the_command_writes(tmp_path):
    path = Small(tables={"outputs": 'formats = ["report"]'}).write(tmp_path / "in")
    planned(path, tmp_path / "sites")
    done = CliRunner().invoke(app, ["run", str(path), "--out", str(tmp_path / "run")])
    assert done.exit_code == 0, done.output
    page = (tmp_path / "run" / "report.html").read_text(encoding="utf-8")
    names = pyogrio.read_dataframe(tmp_path / "sites" / "sites.geojson")["site"]
    assert all(f'"{name}"' in page for name in names)
    assert "where to probe again" in page
    assert "robing again does not pay" in page or "marked on the map" in page


def test_without_a_pan_gaps_are_filled(tmp_path):
    path = Small(tables={"sites": "count = 3"}, threshold_kpa=5500.0).write(tmp_path / "in")
    assert "Expect to know" in planned(path, tmp_path / "out")


@pytest.mark.parametrize(
    ("sites", "says"),
    [
        ("count = 6\nhours = 2", "one of count, hours and precision_mm"),
        ("gate = [-33.0, 123.0]", "sites.gate: the gate at -33, 123"),
        ("gate = [120.0, -33.0]", "km from the paddock"),
        ('tramlines = "boundary.geojsn"', "no such file for the tramlines"),
        ('tramlines = "boundary.geojson"', "boundary.geojson: holds polygons; expected lines of wheel tracks"),
        ("counts = 6", "did you mean 'count'?"),
        ("count = 6\nedge_m = 15\nexclusion_m = -1", "sites.exclusion_m"),
    ],
)
def test_bad_settings_are_one_plain_line_and_write_nothing(sites, says, tmp_path):
    done = CliRunner().invoke(app, ["sites", str(unprobed(tmp_path / "in", sites)), "--out", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert says in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_a_gate_outside_is_walked_from_and_told(tmp_path):
    path = unprobed(tmp_path / "in", f"count = 6\ngate = [{WEST_M - 80}, {SOUTH_M + 40}]\ngate_crs = 'EPSG:32751'")
    planned(path, tmp_path / "out")
    record = json.loads((tmp_path / "out" / "run.json").read_text())
    assert record["issues"]["gate-outside"] == 1
    assert record["walk_m"] > 160


def test_files_that_do_not_say_what_was_planned_are_not_left(tmp_path, monkeypatch):
    def wrong(path, names, told, degrees, *, title):
        stage_gpx(path, names[::-1], told, degrees, title=title)

    stage_gpx = sites.write_gpx
    monkeypatch.setattr(sites, "write_gpx", wrong)
    done = CliRunner().invoke(
        app, ["sites", str(unprobed(tmp_path / "in")), "--out", str(tmp_path / "out"), "--verbose"]
    )
    assert isinstance(done.exception, ReadBackError)
    assert not (tmp_path / "out").exists()
