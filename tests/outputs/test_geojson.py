"""GeoJSON by the rules of [rfc7946], read from the bytes and by other software."""

import json
import re
import shutil
import subprocess

import geopandas as gpd
import numpy as np
import pytest

from hardpan.outputs.geodesy import to_display
from hardpan.outputs.geojson import write_geojson


def strict(text: str) -> dict:
    def refuse(constant):
        message = f"{constant} is not JSON"
        raise ValueError(message)

    return json.loads(text, parse_constant=refuse)


@pytest.fixture(scope="module")
def path(told, survey, tmp_path_factory):
    path = tmp_path_factory.mktemp("geojson") / "prescription.geojson"
    write_geojson(path, to_display(told)[0], survey.paddock.name)
    return path


@pytest.fixture(scope="module")
def collection(path):
    return strict(path.read_bytes().decode("utf-8"))


def rings(collection: dict) -> list[tuple[int, np.ndarray]]:
    """Place in its polygon, and coordinates, of every ring."""
    found = []
    for feature in collection["features"]:
        shape = feature["geometry"]
        polygons = shape["coordinates"] if shape["type"] == "MultiPolygon" else [shape["coordinates"]]
        found += [(place, np.array(ring)) for polygon in polygons for place, ring in enumerate(polygon)]
    return found


def doubled_area(ring: np.ndarray) -> float:
    """Shoelace sum about the first corner: positive where the ring runs counter-clockwise."""
    x, y = (ring - ring[0]).T
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def test_there_is_one_feature_a_zone_with_the_fields_of_the_contract(collection, told):
    assert collection["type"] == "FeatureCollection"
    assert [feature["properties"]["zone"] for feature in collection["features"]] == list(told["zone"])
    for feature, zone in zip(collection["features"], told.itertuples(), strict=True):
        told = feature["properties"]
        assert {"zone", "depth_mm", "setup", "spacing_mm", "speed_kmh", "area_ha", "reason"} <= set(told)
        assert isinstance(told["depth_mm"], int)
        assert (told["depth_mm"], told["setup"], told["reason"]) == (zone.depth_mm, zone.setup, zone.reason)


def test_there_is_no_crs_member(collection):
    assert "crs" not in collection


def test_no_coordinate_has_more_than_seven_decimals(path):
    assert not re.search(r"\d\.\d{8,}", path.read_text(encoding="utf-8").split('"features"')[1])


def test_positions_are_longitude_then_latitude(collection):
    points = np.concatenate([ring for _, ring in rings(collection)])
    assert points.shape[1] == 2
    assert ((points[:, 0] > 117) & (points[:, 0] < 118)).all()
    assert ((points[:, 1] > -34) & (points[:, 1] < -32)).all()


def test_rings_are_closed_and_follow_the_right_hand(collection):
    for place, ring in rings(collection):
        assert len(ring) >= 4
        assert (ring[0] == ring[-1]).all()
        assert (doubled_area(ring) > 0) == (place == 0)


def test_the_box_is_west_south_east_north(collection):
    points = np.concatenate([ring for _, ring in rings(collection)])
    assert collection["bbox"] == [*points.min(axis=0), *points.max(axis=0)]


def test_names_come_back_letter_by_letter(collection, survey):
    assert collection["name"] == survey.paddock.name


def test_missing_numbers_are_null(collection):
    assert collection["features"][2]["properties"]["spacing_mm"] is None


def test_other_software_reads_the_same_zones(path, told):
    table = gpd.read_file(path)
    assert list(table["depth_mm"]) == list(told["depth_mm"])
    assert table.crs == "EPSG:4326"


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="gdal-bin is not installed")
def test_the_command_line_tools_open_it(path):
    told = subprocess.run(["ogrinfo", "-al", "-so", path], capture_output=True, text=True, check=True)
    assert "Feature Count: 4" in told.stdout
    assert 'ID["EPSG",4326]' in told.stdout
    assert "rror" not in told.stderr
