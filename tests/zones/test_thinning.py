import numpy as np
import pytest
import shapely

from builders.coasts import crooked_coast
from hardpan.zones.thinning import FEW, NODE_GRID_M, thin_outline

AFAR = [shapely.LineString([(-1e4, -1e4), (-1e4, 1e4)])]


@pytest.fixture(scope="module")
def coast():
    return crooked_coast()


def places_of(shape):
    return {*map(tuple, np.round(shapely.get_coordinates(shape), 6).tolist())}


def test_an_outline_of_many_places_moves_by_less_than_the_tolerance_and_comes_back_whole(coast):
    thin = thin_outline(coast, AFAR, 0.5)
    assert thin.shape.is_valid
    assert shapely.get_num_coordinates(thin.shape) < shapely.get_num_coordinates(coast) / 3
    assert shapely.hausdorff_distance(thin.shape, coast) <= 0.5
    restored = thin.restored(np.array([thin.shape]))[0]
    assert shapely.equals_exact(restored, coast, 1e-6)


def test_its_lines_are_all_of_it(coast):
    thin = thin_outline(coast, [shapely.LineString([(0, 0), (600, 600)])], 0.5)
    near = shapely.union_all(thin.near, grid_size=NODE_GRID_M)
    (face,) = shapely.get_parts(shapely.polygonize([near, *thin.far]))
    assert shapely.equals_exact(shapely.normalize(face), shapely.normalize(thin.shape), NODE_GRID_M)


def test_near_a_line_every_place_stays(coast):
    line = shapely.LineString([(0, 250), (600, 340)])
    thin = thin_outline(coast, [line], 0.5)
    beside = shapely.points(shapely.get_coordinates(coast))
    beside = beside[shapely.dwithin(beside, line, 0.5)]
    assert len(beside) > 2
    assert places_of(shapely.multipoints(beside)) <= places_of(thin.near)
    assert (shapely.distance(thin.far, line) > 0).all()


def test_the_banks_of_an_inlet_narrower_than_the_tolerance_stay_apart(coast):
    thin = thin_outline(coast, AFAR, 0.5)
    assert thin.shape.is_valid
    assert shapely.area(thin.shape) == pytest.approx(coast.area, rel=1e-3)


def test_neighbours_across_a_thin_edge_get_the_same_places(coast):
    thin = thin_outline(coast, AFAR, 0.5)
    sea = shapely.difference(shapely.box(-100, -100, 700, 700), thin.shape)
    land, sea = thin.restored(np.array([thin.shape, sea]))
    assert shapely.coverage_is_valid([land, sea])
    assert places_of(coast) <= places_of(sea)


def test_parts_and_holes_come_back_each_in_its_place(coast):
    lake = shapely.Point(300, 300).buffer(60, quad_segs=FEW)
    pond = shapely.box(900, 200, 910, 210)
    both = shapely.MultiPolygon([shapely.difference(coast, lake), shapely.box(800, 100, 1000, 300).difference(pond)])
    thin = thin_outline(both, AFAR, 0.5)
    assert shapely.get_num_coordinates(thin.shape) < shapely.get_num_coordinates(both) / 3
    assert shapely.equals_exact(thin.restored(np.array([thin.shape]))[0], both, 1e-6)


def test_an_outline_of_few_places_stays_as_it_is():
    outline = shapely.Point(0, 0).buffer(100, quad_segs=FEW // 4 - 1)
    thin = thin_outline(outline, AFAR, 5.0)
    assert thin.shape is outline
    assert not thin.left_out
    assert not len(thin.far)


def test_an_outline_that_rounding_would_spoil_stays_as_it_is():
    angle = np.linspace(0, np.pi, FEW)
    notch = [(-100, 0), (-2e-7, 0), (0, 50), (2e-7, 0)]
    outline = shapely.Polygon([*notch, *np.column_stack([100 * np.cos(angle), 100 * np.sin(angle)])])
    assert outline.is_valid
    assert thin_outline(outline, AFAR, 0.5).shape is outline
