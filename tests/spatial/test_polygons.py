"""Hectares on the ellipsoid, against closed forms, whichever way rings of a polygon run; borders polygons share."""

import itertools
import math

import numpy as np
import pyproj
import pytest
import shapely
from shapely import affinity

from hardpan.core.errors import InputError
from hardpan.spatial.polygons import (
    distances_to_borders,
    edges_of,
    geodesic_ha,
    groups_side_by_side,
    hectares,
    side_by_side,
)

UTM = pyproj.CRS.from_epsg(32751)
A, F = 6_378_137.0, 1 / 298.257223563
"""Of WGS 84 (NGA)."""

SQUARES = np.array([shapely.box(x, y, x + 1, y + 1) for x, y in ((0, 0), (1, 0), (2, 0), (3, 1), (9, 9))])


def between_parallels_ha(lon_span_deg, south_deg, north_deg):
    """Area between two parallels over a span of longitude, in closed form (Snyder 1987, equation 3-12, from memory)."""
    e = math.sqrt(F * (2 - F))

    def q(lat):
        s = math.sin(math.radians(lat))
        return (1 - e * e) * (s / (1 - e * e * s * s) - math.log((1 - e * s) / (1 + e * s)) / (2 * e))

    return A * A / 2 * math.radians(lon_span_deg) * (q(north_deg) - q(south_deg)) / 1e4


def every_winding(shape):
    """The polygon with each choice of direction for each of its rings."""
    parts = shapely.get_parts(shape)
    rings = [[part.exterior, *part.interiors] for part in parts]
    for turned in itertools.product((False, True), repeat=sum(map(len, rings))):
        turn = iter(turned)
        wound = [[ring.reverse() if next(turn) else ring for ring in part] for part in rings]
        yield shapely.MultiPolygon([shapely.Polygon(part[0], part[1:]) for part in wound])


def test_hectares_of_an_octant_are_an_eighth_of_the_ellipsoid():
    # Surface of an oblate ellipsoid in closed form, 2 pi a^2 (1 + (1 - e^2) / e artanh e).
    e = np.sqrt(F * (2 - F))
    surface_m2 = 2 * np.pi * A**2 * (1 + (1 - e**2) / e * np.arctanh(e))
    octant = shapely.Polygon([(0, 0), (90, 0), (90, 90), (0, 90)])
    assert geodesic_ha(np.array([octant]))[0] == pytest.approx(surface_m2 / 8 / 1e4, rel=1e-9)


def test_neither_the_direction_of_a_hole_nor_that_of_a_part_changes_hectares():
    # Where holes or parts were wound like their shell, or unlike one another, areas with signs added up wrongly.
    holed = shapely.box(120.00, -28.02, 120.02, -28.00) - shapely.box(120.005, -28.015, 120.010, -28.010)
    shape = shapely.MultiPolygon([holed, shapely.box(120.03, -28.01, 120.04, -28.00)])
    # Edges are geodesics, which leave the parallels by less than 1 cm over these spans.
    wanted = between_parallels_ha(0.02, -28.02, -28.00) - between_parallels_ha(0.005, -28.015, -28.010)
    wanted += between_parallels_ha(0.01, -28.01, -28.00)
    found = geodesic_ha(np.array(list(every_winding(shape))))
    assert len(found) == 8
    assert found == pytest.approx(wanted, rel=1e-5)
    assert np.ptp(found) < 1e-9


@pytest.mark.parametrize("lon", [120.5, 123.0, 125.9])
def test_hectares_are_those_of_the_ellipsoid_wherever_in_the_zone(lon):
    south, north, span = -28.01, -28.0, 0.01
    forward = pyproj.Transformer.from_crs(4326, UTM, always_xy=True)
    polygon = shapely.transform(shapely.box(lon, south, lon + span, north), forward.transform, interleaved=False)
    assert hectares(np.array([polygon]), UTM)[0] == pytest.approx(between_parallels_ha(span, south, north), rel=1e-5)


def test_hectares_are_on_the_ellipsoid_not_on_the_map():
    """On the central meridian UTM lengths are 0.9996 of the ellipsoid's, by definition of the projection."""
    square = shapely.box(499_500, 6_600_000, 500_500, 6_601_000)
    assert hectares(np.array([square]), UTM)[0] == pytest.approx(100 / 0.9996**2, rel=1e-6)


def test_holes_and_ring_directions_do_not_change_hectares_of_a_projected_polygon():
    ring = shapely.box(0, 0, 200, 200).difference(shapely.box(50, 50, 150, 150))
    placed = affinity.translate(ring, 500_000, 6_600_000)
    found = hectares(np.array([*every_winding(placed), shapely.force_3d(placed, 300.0)]), UTM)
    assert found == pytest.approx(3 / 0.9996**2, rel=1e-5)
    assert np.ptp(found) < 1e-9


def test_a_crs_without_an_ellipsoid_is_refused():
    local = pyproj.CRS.from_wkt(
        'LOCAL_CS["site grid",LOCAL_DATUM["site",0],UNIT["metre",1],AXIS["E",EAST],AXIS["N",NORTH]]'
    )
    with pytest.raises(InputError, match="has no ellipsoid"):
        hectares(np.array([shapely.box(0, 0, 1, 1)]), local)


def test_polygons_of_one_kind_that_touch_along_a_line_are_one_group():
    group = groups_side_by_side(SQUARES, np.zeros(5, dtype=np.int64))
    assert len({*group[:3]}) == 1  # through the one between them
    assert len({*group}) == 3  # a corner is no border, and nothing touches the last


def test_another_kind_between_them_keeps_polygons_apart():
    group = groups_side_by_side(SQUARES, np.array([0, 1, 0, 0, 0]))
    assert len({*group}) == 5


def test_neighbours_share_an_edge_once_whichever_way_it_runs():
    turned = np.array([shapely.box(0, 0, 1, 1, ccw=False), shapely.box(1, 0, 2, 1, ccw=True)])
    assert [ends.tolist() for ends in side_by_side(turned)] == [[0], [1]]


def test_edges_are_those_of_shells_holes_and_parts():
    holed = shapely.box(0, 0, 9, 9).difference(shapely.box(3, 3, 5, 5))
    polygons = np.array([holed, shapely.MultiPolygon([*SQUARES[[0, 4]]])])
    edges, polygon = edges_of(polygons)
    assert polygon.tolist() == [0] * 8 + [1] * 8
    length = np.hypot(*(edges[:, 1] - edges[:, 0]).T)
    assert np.bincount(polygon, weights=length).tolist() == shapely.length(polygons).tolist()


def test_a_border_beyond_the_reach_is_not_measured_and_nearer_ones_are():
    points = shapely.points([[50.0, 3.0], [50.0, 50.0], [50.0, -4.0]])
    field = np.array([shapely.box(0, 0, 100, 100)])
    assert distances_to_borders(points, field).tolist() == [3.0, 50.0, 4.0]
    assert distances_to_borders(points, field, reach=20.0).tolist() == [3.0, 20.0, 4.0]
