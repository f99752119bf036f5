"""Positions go to WGS 84 by a named operation, and zones stay a coverage on the way."""

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from shapely.geometry import Point, box

from hardpan.core.errors import InputError
from hardpan.outputs.geodesy import bearing_deg, degrees_per_metre, to_display, to_wgs84
from hardpan.spatial.datum import plan_move
from hardpan.spatial.polygons import geodesic_ha


def test_zones_stay_a_coverage_with_seven_decimals(plan):
    shown, move, issues = to_display(plan.zones)
    geometry = shown.geometry.array
    coordinates = shapely.get_coordinates(geometry)
    assert shown.crs == "EPSG:4326"
    assert shapely.coverage_is_valid(geometry)
    assert np.array_equal(coordinates, np.round(coordinates, 7))
    assert all(part.exterior.is_ccw for part in shapely.get_parts(geometry))
    assert not any(hole.is_ccw for part in shapely.get_parts(geometry) for hole in part.interiors)
    assert move.operation
    assert issues == ()


def test_borders_that_rounding_would_cross_are_noded_again():
    # Two zones meet in a zigzag of 2 mm, far below the 11 mm of the last decimal.
    y = np.linspace(0, 400, 4001)
    x = 200 + 0.002 * (-1.0) ** np.arange(4001)
    seam = np.column_stack([520_000 + x, 6_348_000 + y])
    west = shapely.Polygon([*seam, (520_000, 6_348_400), (520_000, 6_348_000)])
    east = shapely.Polygon([*seam, (520_400, 6_348_400), (520_400, 6_348_000)])
    zones = gpd.GeoDataFrame({"zone": [1, 2]}, geometry=[west, east], crs="EPSG:32750")
    shown, _, _ = to_display(zones)
    assert shapely.is_valid(shown.geometry.array).all()
    assert shapely.coverage_is_valid(shown.geometry.array)
    assert geodesic_ha(shown.geometry.array) == pytest.approx([8.0, 8.0], rel=1e-3)


def test_a_paddock_across_the_antimeridian_is_refused():
    zones = gpd.GeoDataFrame({"zone": [1]}, geometry=[box(810_000, 8_000_000, 830_000, 8_001_000)], crs="EPSG:32760")
    with pytest.raises(InputError, match="antimeridian"):
        to_display(zones)


def test_a_crs_without_a_known_datum_is_refused():
    unknown = pyproj.CRS.from_wkt(
        'PROJCS["local",GEOGCS["local",DATUM["local",SPHEROID["local",6378000,298]],PRIMEM["Greenwich",0],'
        'UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["central_meridian",117],'
        'PARAMETER["false_easting",500000],UNIT["metre",1]]'
    )
    with pytest.raises(InputError, match="no known operation from local to EPSG:4326 but a ballpark one"):
        to_wgs84(np.array([Point(500_000, -3_650_000)]), unknown)


def test_a_poorly_known_shift_is_told(plan):
    zones = plan.zones.set_crs("EPSG:7850", allow_override=True)
    _, move, issues = to_display(zones)
    assert move.accuracy_m is None or move.accuracy_m > 1
    assert [issue.code for issue in issues] == ["datum-accuracy"]


def test_the_outputs_state_of_a_move_what_the_survey_states_of_it(plan):
    # The registry's figure of taking GDA2020 as WGS 84 (EPSG operation 8450), whichever side of the run does it.
    registry = pyproj.transformer.TransformerGroup("EPSG:7844", "EPSG:4326").transformers[0].accuracy
    for code in (28350, 7850):
        _, move = to_wgs84(plan.zones.geometry.array, pyproj.CRS(code))
        assert move.accuracy_m == registry
        read = plan_move(pyproj.CRS(code), pyproj.CRS(4326), (116.0, -34.0, 118.0, -32.0), file="zones")
        assert read.accuracy_m == move.accuracy_m
    assert move_of_the_older(plan).endswith("GDA94 to GDA2020 (1), GDA2020 taken as WGS 84")


def move_of_the_older(plan):
    return to_wgs84(plan.zones.geometry.array, pyproj.CRS(28350))[1].operation


def test_a_degree_has_the_length_of_the_standard():
    # FORMATS section 1.6: at 35 S, 0.00018 x 0.00022 degrees is 19.969 x 20.083 m.
    east, north = degrees_per_metre(-35.0)
    assert 0.00022 / east == pytest.approx(20.083, abs=5e-4)
    assert 0.00018 / north == pytest.approx(19.969, abs=5e-4)


@pytest.mark.parametrize(("epsg", "east", "north"), [(32750, 250_000.0, 6_400_000.0), (32617, 790_000.0, 3_900_000.0)])
def test_a_bearing_is_the_heading_turned_by_the_meridian_convergence(epsg, east, north):
    crs = pyproj.CRS(epsg)
    lon, lat = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(east, north)
    convergence = pyproj.Proj(crs).get_factors(lon, lat).meridian_convergence
    assert abs(convergence) > 0.5
    for heading in (0.0, 45.0, 179.0):
        turned = bearing_deg(heading, Point(east, north), crs) - heading - convergence
        assert abs((turned + 90.0) % 180.0 - 90.0) < 0.01
