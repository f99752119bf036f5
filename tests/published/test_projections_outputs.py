"""Published positions and shifts, met to 0.1 m by the outputs' door to WGS 84 and to the millimetre by the library.

Sources: [gda2020] shifts of datum; [gda-manual] page 46, map grid and geodesic of two hills; [epsg-gn7-2] and
[gigs5101] the projection; [snyder1987] UTM, from memory.
"""

import numpy as np
import pyproj
import pytest
import shapely
from shapely.geometry import Point

from hardpan.outputs.geodesy import to_wgs84


def dms(degrees: float, minutes: float, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


FLINDERS = (dms(144, 25, 29.52440), -dms(37, 57, 3.72030))
BUNINYONG = (dms(143, 55, 35.38390), -dms(37, 39, 10.15610))
MM_OF_LATITUDE = 1e-3 / 111_000


def placed(x: float, y: float, crs: str) -> np.ndarray:
    return shapely.get_coordinates(to_wgs84(np.array([Point(x, y)]), crs)[0])[0]


@pytest.mark.parametrize(
    ("east", "north", "crs", "place"),
    [(273_741.297, 5_796_489.777, "EPSG:7855", FLINDERS), (758_173.797, 5_828_674.340, "EPSG:7854", BUNINYONG)],
)
def test_a_map_grid_position_comes_back_to_its_published_latitude_and_longitude(east, north, crs, place):
    # 0.1 m asked; 7 decimals allow 11 mm.
    assert placed(east, north, crs) == pytest.approx(place, abs=1.1e-7)


def test_the_older_datum_is_moved_by_the_published_shift_and_not_taken_as_it_is():
    # Alice Springs, GDA94 and GDA2020 positions of the manual's example.
    moved = placed(133.88551329, -23.67012389, "EPSG:4283")
    assert moved == pytest.approx((133.8855216, -23.67011014), abs=1.1e-7)


def test_the_move_is_named():
    _, move = to_wgs84(np.array([Point(273_741.297, 5_796_489.777)]), pyproj.CRS("EPSG:28355"))
    assert "GDA94 to GDA2020" in move.operation
    # The whole way to WGS 84: the registry states 3 m for taking GDA2020 as WGS 84 (operation 8450). That the shift
    # before it is good to a centimetre is what the test above holds.
    assert move.accuracy_m == 3.0


def test_the_seven_parameter_shift_meets_the_manual():
    shift = pyproj.Transformer.from_crs("EPSG:4938", "EPSG:7842")
    moved = shift.transform(-4_052_051.7643, 4_212_836.2017, -2_545_106.0245)
    assert moved == pytest.approx((-4_052_052.7379, 4_212_835.9897, -2_545_104.5898), abs=7.5e-5)


def test_the_plate_motion_model_meets_the_manual():
    # ITRF2014 at epoch 2018.0 to GDA2020, station ALIC; rates in mas a year, coordinate-frame convention.
    motion = pyproj.Transformer.from_pipeline(
        "+proj=helmert +drx=0.00150379 +dry=0.00118346 +drz=0.00120716 +t_epoch=2020.0 +convention=coordinate_frame"
    )
    moved = motion.transform(-4_052_052.6588, 4_212_835.9938, -2_545_104.6946, 2018.0)
    assert moved[:3] == pytest.approx((-4_052_052.7373, 4_212_835.9835, -2_545_104.5867), abs=4e-5)


@pytest.mark.parametrize(
    ("place", "crs", "published"),
    [
        (FLINDERS, "EPSG:7855", (273_741.297, 5_796_489.777)),
        (BUNINYONG, "EPSG:7854", (758_173.797, 5_828_674.340)),
        # From memory: the neighbouring zone's value.
        (BUNINYONG, "EPSG:7855", (228_854.052, 5_828_259.038)),
    ],
)
def test_the_map_grid_meets_the_manual(place, crs, published):
    projected = pyproj.Transformer.from_crs("EPSG:7844", crs, always_xy=True).transform(*place)
    assert projected == pytest.approx(published, abs=1e-3)


def test_scale_and_convergence_meet_the_manual():
    factors = pyproj.Proj("EPSG:7855").get_factors(*FLINDERS)
    assert factors.meridional_scale == pytest.approx(1.000_230_56, abs=5e-9)
    # The manual counts convergence the other way round.
    # Half a unit of the last published digit is 0.005 seconds.
    assert -factors.meridian_convergence == pytest.approx(-dms(1, 35, 3.65), abs=0.0051 / 3600)


def test_the_geodesic_between_the_hills_meets_the_manual():
    ahead, back, length = pyproj.Geod(ellps="GRS80").inv(*FLINDERS, *BUNINYONG)
    assert length == pytest.approx(54_972.271, abs=1e-3)
    assert ahead % 360 == pytest.approx(dms(306, 52, 5.37), abs=5e-6)
    assert back % 360 == pytest.approx(dms(127, 10, 25.07), abs=5e-6)


def test_transverse_mercator_meets_the_guidance_note():
    national_grid = pyproj.Proj("+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy")
    assert national_grid(0.5, 50.5) == pytest.approx((577_274.99, 69_740.50), abs=1e-2)


@pytest.mark.parametrize(
    ("place", "published"),
    [
        ((3.0, -40.0), (826_893.845, -9_967_215.251)),
        ((-5.0, 60.0), (232_704.966, 1_127_751.264)),
        ((8.0, 0.0), (1_518_482.747, -5_527_462.686)),
    ],
)
def test_transverse_mercator_meets_the_geospatial_integrity_test(place, published):
    test_5101 = pyproj.Proj("+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=WGS84")
    assert test_5101(*place) == pytest.approx(published, abs=3e-2)


def test_utm_meets_snyder():
    # From memory: Snyder 1987, USGS Professional Paper 1395, numerical example of the UTM.
    east, north = pyproj.Proj("+proj=utm +zone=18 +ellps=clrk66")(-73.5, 40.5)
    assert (east - 500_000, north) == pytest.approx((127_106.5, 4_484_124.4), abs=0.1)
