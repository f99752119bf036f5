"""Areas of cells inside a polygon, against an overlay library cell by cell."""

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hardpan.records.frame import Frame
from hardpan.spatial.cells import areas_in_cells, shares_in_cells

CRS = pyproj.CRS("EPSG:32751")


def by_overlay(polygon, frame):
    x_m, y_m = np.meshgrid(frame.x_m, frame.y_m)
    half = frame.cell_m / 2
    cells = shapely.box(x_m - half, y_m - half, x_m + half, y_m + half)
    # the overlay of a sliver can be a whole cell (GEOS 3.14.1), so those that cannot matter are left out
    parts = shapely.get_parts(polygon)
    return shapely.area(shapely.intersection(shapely.MultiPolygon(parts[shapely.area(parts) > 1e-9].tolist()), cells))


@st.composite
def shapes(draw):
    """Up to four triangles and boxes on and off grid lines, joined, with a hole cut by another."""
    number = st.integers(0, 24) | st.floats(0, 24, allow_nan=False, width=16)
    points = st.lists(st.tuples(number, number), min_size=3, max_size=3)
    whole = shapely.union_all([shapely.convex_hull(shapely.MultiPoint(draw(points))) for _ in range(draw(st.just(4)))])
    cut = shapely.convex_hull(shapely.MultiPoint(draw(points)))
    parts = shapely.get_parts(shapely.difference(whole, cut))
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


@given(shapes(), st.booleans())
@settings(max_examples=200, deadline=None)
def test_every_cell_has_the_area_an_overlay_gives(shape, turn):
    frame = Frame(crs=CRS, x_min_m=0.0, y_max_m=24.0, cell_m=3.0, n_rows=8, n_cols=8)
    found = areas_in_cells(shapely.reverse(shape) if turn else shape, frame)
    assert found.sum() == pytest.approx(shape.area, abs=1e-6)
    expected = by_overlay(shape, frame)
    assume(expected.sum() == pytest.approx(shape.area, abs=1e-6))  # where it is not, the overlay is wrong itself
    assert found == pytest.approx(expected, abs=1e-6)


def test_a_sliver_adds_nothing_to_the_cells_it_crosses():
    sliver = [(1.1633371725114843, 2.224565444748931), (19, 21), (4.194805194805195, 5.415584415584416)]
    shape = shapely.MultiPolygon([shapely.Polygon(sliver), shapely.box(6, 0, 9, 1)])
    frame = Frame(crs=CRS, x_min_m=0.0, y_max_m=24.0, cell_m=3.0, n_rows=8, n_cols=8)
    assert areas_in_cells(shape, frame) == pytest.approx(by_overlay(shape, frame), abs=1e-6)


def test_what_lies_off_the_grid_is_left_out():
    frame = Frame(crs=CRS, x_min_m=0.0, y_max_m=20.0, cell_m=5.0, n_rows=4, n_cols=5)
    shape = shapely.Point(13, 11).buffer(19) - shapely.Point(3, 3).buffer(6)
    assert areas_in_cells(shape, frame) == pytest.approx(by_overlay(shape, frame), abs=1e-9)


def test_cells_inside_are_whole_and_cells_outside_are_nothing():
    frame = Frame(crs=CRS, x_min_m=500_000.0, y_max_m=6_600_400.0, cell_m=5.0, n_rows=80, n_cols=80)
    shape = shapely.Point(500_200.3, 6_600_199.1).buffer(150.0)
    found, wanted = areas_in_cells(shape, frame), by_overlay(shape, frame)
    assert ((found == 25.0) == (wanted > 25.0 - 1e-6)).all()
    assert ((found == 0.0) == (wanted < 1e-6)).all()


def test_cells_need_not_be_square():
    share = shares_in_cells(shapely.box(120.0001, -30.0003, 120.0005, -30.0), (120.0, -30.0), (2e-4, 1e-4), (4, 3))
    assert share == pytest.approx(np.outer([1, 1, 1, 0], [0.5, 1.0, 0.5]), abs=1e-6)
