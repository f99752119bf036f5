"""A boundary of many vertices goes through the whole run: files keep them, pictures and displays get few."""

import json
from datetime import UTC, datetime

import geopandas as gpd
import numpy as np
import pytest
import shapely

from builders.coasts import Coast, write_coast
from hardpan.outputs.layers import drawn_layers
from hardpan.outputs.stage import write_outputs
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock

VERTICES = 20_000
FILES = {
    "prescription.geojson",
    "prescription.gpkg",
    "prescription_shp.zip",
    "taskdata.zip",
    "surfaces.tif",
    "report.html",
}


@pytest.mark.slow
def test_a_coast_is_carried_vertex_by_vertex_into_the_files_and_thinned_for_pictures_and_displays(tmp_path):
    config = read_config(write_coast(Coast(vertices=VERTICES), tmp_path / "in"))
    run = run_paddock(config, Clock(now=datetime(2026, 1, 1, tzinfo=UTC)))
    written = {path.name: path for path in write_outputs(run, config.outputs, tmp_path / "out")}
    assert written.keys() >= FILES
    zones = json.loads(written["prescription.geojson"].read_text())["features"]
    shapes = [shapely.geometry.shape(zone["geometry"]) for zone in zones]
    assert shapely.get_num_coordinates(shapes).sum() > VERTICES
    written_ha = sum(zone["properties"]["area_ha"] for zone in zones)
    assert written_ha == pytest.approx(run.survey.paddock.area_ha, abs=5e-5 * len(zones))  # each to four decimals
    display = gpd.read_file(written["prescription_shp.zip"])
    assert shapely.get_num_coordinates(display.geometry.to_numpy()).sum() <= config.outputs.max_vertices
    assert "display-simplified" in written["issues.csv"].read_text()
    # Three maps of 20,000 places of 20 letters and more would be three times this.
    assert written["report.html"].stat().st_size < written["prescription.geojson"].stat().st_size + 3_000_000


def layers_of(n: int) -> dict[str, gpd.GeoDataFrame]:
    """Two zones that share a wiggly border of `n` vertices, and the boundary of both."""
    y = np.linspace(0.0, 1000.0, n)
    seam = np.column_stack([500.0 + 3.0 * np.sin(y / 7.0), y])
    west = shapely.Polygon([*seam, (0.0, 1000.0), (0.0, 0.0)])
    east = shapely.Polygon([*seam, (1000.0, 1000.0), (1000.0, 0.0)])
    zones = gpd.GeoDataFrame({"zone": [1, 2]}, geometry=[west, east], crs="EPSG:32751")
    probes = gpd.GeoDataFrame(geometry=gpd.points_from_xy(y, y), crs="EPSG:32751")
    boundary = gpd.GeoDataFrame(geometry=[shapely.union_all([west, east])], crs="EPSG:32751")
    return {"zones": zones, "boundary": boundary, "probes": probes}


def test_drawings_lose_vertices_no_eye_could_tell_apart_and_borders_stay_shared():
    layers = layers_of(50_000)
    drawn = drawn_layers(layers)
    shapes, thin = (one["zones"].geometry.to_numpy() for one in (layers, drawn))
    assert shapely.get_num_coordinates(thin).sum() < 5_000
    assert shapely.coverage_is_valid(thin)
    # A dot of a picture of this paddock is half a metre.
    assert shapely.hausdorff_distance(thin[0], shapely.simplify(shapes[0], 0.01)) < 1.0
    assert drawn["probes"] is layers["probes"]


def test_drawings_of_few_vertices_are_left_as_they_are():
    layers = layers_of(2_000)
    assert all(drawn is layers[name] for name, drawn in drawn_layers(layers).items())
