"""Files of ground that is awkward to draw agree with the plan; the same files of another plan do not."""

import re
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely

from hardpan.core.errors import ReadBackError
from hardpan.outputs.agreement import Found, expected_of, hold_polygons
from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.layers import band_unit, raster_layers
from hardpan.outputs.rasters import write_geotiff
from hardpan.outputs.readback import check_raster
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.spatial.polygons import distances_to_borders, hectares

EAST, NORTH = 520_000.0, 6_348_000.0
"""South-west corner of the 60 by 40 cells of 10 m that the run made by hand lies on."""
ALL = ("geojson", "shapefile", "geopackage", "isoxml", "geotiff", "kml", "geoparquet")
TIFF = "surfaces.tif"


def at(west, south, east, north):
    return shapely.box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def turned(shape):
    """Shape with its holes wound like their shell, and every second part the other way round."""
    parts = []
    for k, part in enumerate(shapely.get_parts(shape)):
        wound = shapely.Polygon(part.exterior, [hole.reverse() for hole in part.interiors])
        parts.append(wound.reverse() if k % 2 else wound)
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def labelled(run, shapes):
    """The run with its four zones in other places, their cells labelled by their centres."""
    x_m, y_m = np.meshgrid(run.zones.frame.x_m, run.zones.frame.y_m)
    labels = np.zeros(x_m.shape, dtype=np.int64)
    for number, shape in enumerate(shapes, 1):
        labels[shapely.contains_xy(shape, x_m, y_m)] = number
    crs = run.plan.zones.crs
    table = run.plan.zones.set_geometry(gpd.GeoSeries(shapes, crs=crs)).assign(area_ha=hectares(shapes, crs))
    return replace(run, zones=replace(run.zones, labels=labels), plan=replace(run.plan, zones=table))


@pytest.fixture
def islands():
    """Two zones in two parts each, every part with a hole in which the other zone or keep-out ground lies."""
    holes = [at(60, 60, 110, 110), at(160, 200, 260, 300), at(350, 50, 450, 150), at(500, 250, 540, 350)]
    west, middle, east = at(0, 0, 200, 400), at(200, 0, 400, 400), at(400, 0, 600, 400)
    ground = shapely.union_all(holes)
    shallow = shapely.union_all([west - ground, east - ground, holes[2] & middle])
    deep = shapely.union_all([middle - ground, holes[0], holes[3]])
    left = holes[1]
    shut = holes[2] & east
    whole = shapely.coverage_union_all([shallow, deep, left, shut])
    assert whole.area == pytest.approx(24e4)
    return [turned(shape) for shape in (shallow, deep, left, shut)]


@pytest.fixture
def strips():
    """Keep-out strips narrower than a cell, along the grid and across it, a spot of one cell, and the rest."""
    level, across = at(0, 203, 600, 209), shapely.LineString([(EAST + 7, NORTH + 2), (EAST + 590, NORTH + 398)])
    whole = at(0, 0, 600, 400)
    shut = shapely.intersection(level | across.buffer(2.0, cap_style="flat"), whole)
    spot = at(440, 100, 450, 110)
    rest = whole - shut - spot
    south = shapely.box(EAST, NORTH, EAST + 600, NORTH + 206)
    return [rest & south, rest - south, spot, shut]


def test_holes_and_parts_wound_any_way_are_read_back_in_every_format(run, islands, tmp_path):
    # Where signs of areas were added up, the GeoPackage of such ground held more hectares than the plan.
    pytest.importorskip("pyarrow")
    for shape in ("grid2", "grid1", "polygons"):
        settings = OutputSettings(formats=ALL, isoxml_shape=shape, grid_cell_m=4.0)
        assert write_outputs(labelled(run, islands), settings, tmp_path / shape)


def test_strips_narrower_than_a_cell_are_read_back_in_every_format(run, strips, tmp_path):
    # The raster shows of the level strip what the centres of its cells say: 0.6 ha for 0.36 ha.
    pytest.importorskip("pyarrow")
    settings = OutputSettings(formats=ALL, isoxml_shape="grid2", grid_cell_m=4.0)
    assert write_outputs(labelled(run, strips), settings, tmp_path / "out")


def test_a_zone_that_no_centre_of_a_cell_lies_in_is_no_error_of_the_raster(run, tmp_path):
    strip = at(0, 196, 600, 204)
    whole = at(0, 0, 600, 400)
    shapes = [whole - strip - at(0, 0, 100, 100) - at(500, 300, 600, 400), at(0, 0, 100, 100), at(500, 300, 600, 400)]
    assert write_outputs(labelled(run, [*shapes, strip]), OutputSettings(formats=("geotiff",)), tmp_path / "out")


def raster_of(run, path, change=lambda _: None):
    """Raster of the run after `change` to its maps, and its check."""
    maps = raster_layers(run)
    change(maps)
    write_geotiff(path, maps, {name: band_unit(name) for name in maps}, run.zones.frame)
    zones = run.plan.zones
    return lambda: check_raster(path, tuple(maps), expected_of(zones, seed=1))


def set_all(maps, turn):
    for name in maps:
        maps[name] = turn(maps[name])


def set_spot(maps):
    maps["depth_mm"] = np.where(maps["zone"] == 3, 300.0, maps["depth_mm"])


def set_one_cell(maps):
    maps["depth_mm"][7, 11], maps["zone"][7, 11] = 300.0, 1.0


def drop_one_cell(maps):
    for band in maps.values():
        band[7, 11] = np.nan


def test_the_raster_as_written_passes(run, strips, tmp_path):
    raster_of(labelled(run, strips), tmp_path / TIFF)()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda maps: set_all(maps, np.flipud), r"says zone \d \(\d+ mm\); expected zone \d \(\d+ mm\) as planned"),
        (lambda maps: set_all(maps, np.fliplr), r"says zone \d \(\d+ mm\); expected zone \d"),
        (lambda maps: set_all(maps, lambda band: np.roll(band, 1, axis=0)), r"says zone \d"),
        (lambda maps: maps.update(depth_mm=maps["zone"] % 4 * 100.0), r"says zone \d \(\d+ mm\)"),
        (set_spot, r"says zone 3 \(300 mm\); expected zone 3 \(0 mm\) as planned"),
        (set_one_cell, r"says zone 1 \(300 mm\); expected zone 2 \(450 mm\)"),
        (drop_one_cell, r"says no zone \(nan mm\); expected zone 2 \(450 mm\)"),
    ],
    ids=["flipped", "mirrored", "a row off", "depths of other zones", "small zone", "one cell", "a cell without data"],
)
def test_a_raster_that_differs_in_a_cell_is_an_error_that_says_where(run, strips, tmp_path, change, says):
    with pytest.raises(ReadBackError, match=says):
        raster_of(labelled(run, strips), tmp_path / TIFF, change)()


def test_data_off_the_paddock_are_an_error(run, tmp_path):
    corner = at(0, 0, 100, 100)
    ground = [at(0, 0, 240, 400) - corner, at(240, 0, 600, 400) - at(400, 200, 440, 240) - at(500, 300, 600, 400)]
    cut = labelled(run, [*ground, at(500, 300, 600, 400), at(400, 200, 440, 240)])

    def fill(maps):
        maps["zone"][-1, 0], maps["depth_mm"][-1, 0] = 1.0, 300.0

    raster_of(cut, tmp_path / "a.tif")()
    with pytest.raises(ReadBackError, match=r"says zone 1 \(300 mm\); expected nothing as planned"):
        raster_of(cut, tmp_path / TIFF, fill)()


@pytest.fixture
def planned(run, islands):
    return labelled(run, islands).plan.zones


def found_of(zones, *, number=True):
    shapes, _ = to_wgs84(zones.geometry.to_numpy(), zones.crs)
    zone = zones["zone"].to_numpy() if number else None
    return Found(shapes=shapes, depth_mm=zones["depth_mm"].to_numpy(float), zone=zone)


@pytest.mark.parametrize("number", [True, False])
def test_the_plan_agrees_with_itself(planned, number):
    hold_polygons("file", found_of(planned, number=number), expected_of(planned, seed=1))


@pytest.mark.parametrize("number", [True, False])
def test_a_lost_part_a_filled_hole_and_a_second_copy_are_errors(planned, number):
    shapes = planned.geometry.to_list()
    first = sorted(shapely.get_parts(shapes[0]), key=lambda part: -len(part.interiors))
    assert first[0].interiors
    for wrong in (
        shapely.MultiPolygon(first[1:]),
        shapely.MultiPolygon([shapely.Polygon(first[0].exterior), *first[1:]]),
        shapely.MultiPolygon([*first, *shapely.get_parts(shapes[1])[-1:]]),
    ):
        drawn = planned.set_geometry(gpd.GeoSeries([wrong, *shapes[1:]], crs=planned.crs))
        with pytest.raises(ReadBackError, match=r"file: read back, .*; expected .* as planned"):
            hold_polygons("file", found_of(drawn, number=number), expected_of(planned, seed=1))


def test_hectares_that_differ_say_of_which_zone_by_how_much_and_why(planned):
    # A strip of 5 cm along the border of a hectare: nearer to it than any place that is asked about.
    shapes = planned.geometry.to_list()
    thin = shapes[2].buffer(-0.05, join_style="mitre")
    drawn = planned.set_geometry(gpd.GeoSeries([*shapes[:2], thin, shapes[3]], crs=planned.crs))
    with pytest.raises(ReadBackError) as told:
        hold_polygons("file", found_of(drawn), expected_of(planned, seed=1))
    head = r"file: read back, zone 3 \(0 mm\) has 0\.998\d ha, 0\.00(19|2\d) ha less than planned; "
    assert re.match(head + r"expected 1\.0008 ha as planned, give or take 0\.0010; .* do that; ", str(told.value))
    assert str(told.value).endswith("run again with --keep, and report the fault with the folder that leaves")


def test_places_are_asked_about_in_every_part_and_clear_of_borders(planned):
    places = expected_of(planned, seed=1).places
    shapes, _ = to_wgs84(planned.geometry.to_numpy(), planned.crs)
    parts = shapely.get_parts(shapes)
    points = shapely.points(places.degrees)
    assert all(shapely.contains(part, points).any() for part in parts)
    assert (places.clear_m > 0.1).all()
    for shape, zone in zip(shapes, planned["zone"], strict=True):
        assert shapely.contains(shape, points[places.zone == zone]).all()


def test_distances_to_borders_are_those_to_all_rings(planned):
    shapes = planned.geometry.to_numpy()
    points = shapely.points(np.random.default_rng(1).uniform((EAST, NORTH), (EAST + 600, NORTH + 400), (50, 2)))
    wanted = shapely.distance(points, shapely.union_all(shapely.boundary(shapes)))
    assert distances_to_borders(points, shapes) == pytest.approx(wanted)
