"""Datum and projection, against published positions.

Sources: [gda2020] the shift of datum; [gda-manual] page 46, positions on the map grid, as in FORMATS section 4.
"""

import numpy as np
import pyproj
import pytest

from hardpan.core.errors import InputError, SettingsError
from hardpan.spatial.datum import label, plan_move
from hardpan.survey.geodesy import degrees_bounds, flat, read_crs, working_crs


def dms(degrees, minutes, seconds):
    return degrees + minutes / 60 + seconds / 3600


FLINDERS = (dms(144, 25, 29.52440), -dms(37, 57, 3.72030))
BUNINYONG = (dms(143, 55, 35.38390), -dms(37, 39, 10.15610))
AUSTRALIA = (110.0, -45.0, 155.0, -10.0)


def moved(source, target, x, y):
    move = plan_move(pyproj.CRS(source), pyproj.CRS(target), AUSTRALIA, file="test")
    return move, np.asarray(move.points(np.array([x]), np.array([y]))).ravel()


@pytest.mark.parametrize(
    ("place", "zone", "east", "north"),
    [(FLINDERS, 55, 273_741.297, 5_796_489.777), (BUNINYONG, 54, 758_173.797, 5_828_674.340)],
)
@pytest.mark.parametrize("datum", [7844, 4283])
def test_published_hills_fall_on_their_map_grid_position(place, zone, east, north, datum):
    # the manuals print millimetres
    crs = working_crs("auto", pyproj.CRS(datum), *place)
    assert crs.to_epsg() == {7844: 7800, 4283: 28300}[datum] + zone
    _, found = moved(datum, crs, *place)
    assert found == pytest.approx((east, north), abs=1e-3)


def test_the_move_between_the_australian_datums_is_the_published_one():
    # Alice Springs; 2 mm is the tolerance of FORMATS section 4, in degrees 2e-8
    move, found = moved(4283, 7844, 133.88551329, -23.67012389)
    assert found == pytest.approx((133.8855216, -23.67011014), abs=2e-8)
    assert "GDA94 to GDA2020" in move.operation
    assert move.accuracy_m == pytest.approx(0.01)


@pytest.mark.parametrize(("source", "target"), [(4283, 4326), (4283, 32753)])
def test_the_older_datum_comes_to_wgs84_by_way_of_the_newer(source, target):
    move, found = moved(source, target, 133.88551329, -23.67012389)
    _, wanted = moved(4326, target, 133.8855216, -23.67011014)
    assert found == pytest.approx(wanted, abs=2e-8 if target == 4326 else 2e-3)
    assert move.changes_datum
    assert "GDA2020" in move.operation


def test_wgs84_comes_to_the_older_datum_and_back_to_where_it_was():
    _, there = moved(4326, 4283, 133.8855216, -23.67011014)
    assert there == pytest.approx((133.88551329, -23.67012389), abs=2e-8)


def test_a_move_without_a_known_operation_is_refused():
    local = pyproj.CRS.from_proj4("+proj=longlat +a=6378000 +b=6356000 +no_defs")
    with pytest.raises(InputError, match="ballpark"):
        plan_move(local, pyproj.CRS(32751), AUSTRALIA, file="a.csv")


@pytest.mark.parametrize(
    ("source", "lon", "lat", "name"),
    [
        (4326, 123.0, -28.0, "WGS 84 / UTM zone 51S"),
        (4326, -71.4, -34.4, "WGS 84 / UTM zone 19S"),
        (4326, 10.0, 50.0, "WGS 84 / UTM zone 32N"),
        (32721, -56.2, -29.0, "WGS 84 / UTM zone 21S"),
        (4258, 10.0, 50.0, "ETRS89 / UTM zone 32N"),
        (4269, -99.0, 40.0, "NAD83 / UTM zone 14N"),
        (4674, -56.0, -29.0, "SIRGAS 2000 / UTM zone 21S"),
        (4283, 117.0, -32.0, "GDA94 / MGA zone 50"),
        (7844, 117.0, -32.0, "GDA2020 / MGA zone 50"),
        (4148, 28.0, -26.0, "Hartebeesthoek94 / UTM zone 35S"),
        (4167, 172.5, -43.0, "NZGD2000 / UTM zone 59S"),
        (4326, 179.9, -17.0, "WGS 84 / UTM zone 60S"),
    ],
)
def test_the_working_crs_is_the_zone_on_the_boundarys_own_datum(source, lon, lat, name):
    crs = working_crs("auto", pyproj.CRS(source), lon, lat)
    assert crs.name == name
    assert crs.geodetic_crs.equals(pyproj.CRS(source).geodetic_crs, ignore_axis_order=True)
    # a zone is at most three degrees from its meridian: the scale lies between 0.9996 and 1.001
    factors = pyproj.Proj(crs).get_factors(lon, lat)
    assert 0.9995 < factors.meridional_scale < 1.0012


def test_a_crs_that_is_not_in_metres_is_refused():
    with pytest.raises(SettingsError, match=r"paddock\.crs"):
        working_crs("EPSG:4326", pyproj.CRS(4326), 123.0, -28.0)
    with pytest.raises(SettingsError, match=r"paddock\.crs"):
        working_crs("EPSG:2227", pyproj.CRS(4326), -122.0, 38.0)


@pytest.mark.parametrize("code", ["EPSG:5714", "EPSG:4978"])
def test_heights_and_positions_from_the_earths_centre_are_no_crs_of_a_map(code):
    with pytest.raises(SettingsError, match=r"probes\.crs: .* has no latitude or easting"):
        read_crs(code, key="probes.crs")


def test_a_better_grid_that_is_not_installed_raises_no_warning_for_the_accuracy_is_told():
    # DHDN to ETRS89: the grid of the registry is good to 1 m, its other operations to some metres
    move = plan_move(pyproj.CRS(4314), pyproj.CRS(25832), (9.0, 50.0, 9.5, 50.5), file="b.shp")
    assert move.accuracy_m is not None
    assert move.accuracy_m >= 1.0


def test_heights_are_dropped():
    assert flat(pyproj.CRS("EPSG:4979")).to_epsg() == 4326
    assert flat(pyproj.CRS("EPSG:28355+5711")).to_epsg() == 28355


def test_bounds_that_do_not_fit_their_crs_are_refused():
    with pytest.raises(InputError):
        degrees_bounds((1e9, 1e9, 2e9, 2e9), pyproj.CRS(32751), "a.shp")


def test_a_crs_is_named_by_its_code_where_it_has_one():
    assert label(pyproj.CRS(28350)) == "EPSG:28350"
