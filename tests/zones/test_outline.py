import geopandas as gpd
import numpy as np
import pytest
import rasterio.features
import shapely
from scipy import ndimage
from scipy.spatial import KDTree

from builders.coasts import crooked_coast
from hardpan.records.frame import Frame
from hardpan.zones.outline import Drive, outline_classes


@pytest.fixture
def frame(made):
    def of(shape, cell_m=10.0):
        return Frame(
            crs=made.CRS, x_min_m=0, y_max_m=shape[0] * cell_m, cell_m=cell_m, n_rows=shape[0], n_cols=shape[1]
        )

    return of


def outlined(classes, frame, outline, excluded=(), *, tolerance_m=0.0, least_ha=0.0, soils=(0, 0, 0)):
    excluded = gpd.GeoDataFrame(
        {"name": [f"e{n}" for n in range(len(excluded))]}, geometry=list(excluded), crs=frame.crs
    )
    ground = shapely.difference(outline, shapely.union_all(excluded.geometry.to_numpy()))
    return outline_classes(
        classes, np.array(soils), frame, ground, excluded, drive=Drive(tolerance_m=tolerance_m), least_m2=least_ha * 1e4
    )


def test_without_simplifying_the_polygons_follow_the_cells(frame):
    classes = np.array([[0, 0, 1], [0, 2, 1], [2, 2, 1]]).repeat(4, 0).repeat(4, 1)
    grid = frame(classes.shape)
    found = outlined(classes, grid, shapely.box(*grid.bounds))
    assert found.classes.tolist() == [0, 1, 2]
    assert [shape.area for shape in found.shapes] == [pytest.approx((classes == c).sum() * 100) for c in range(3)]
    assert shapely.coverage_is_valid(found.shapes)


@pytest.mark.parametrize("seed", range(3))
def test_the_polygons_are_those_of_another_library(frame, seed):
    field = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(40, 50)), 3)
    classes = np.digitize(field, np.quantile(field, [0.3, 0.6]))
    grid = frame(classes.shape)
    found = outlined(classes, grid, shapely.box(*grid.bounds))
    theirs = rasterio.features.shapes(classes.astype("int32"), connectivity=4, transform=grid.affine)
    pieces = [(int(value), shapely.geometry.shape(shape)) for shape, value in theirs]
    for number, shape in zip(found.classes, found.shapes, strict=True):
        own = [piece for value, piece in pieces if value == number]
        assert shapely.get_num_geometries(shape) == len(own)
        assert shapely.symmetric_difference(shape, shapely.union_all(own)).area < 1e-6


def test_cells_that_touch_at_a_corner_stay_two_valid_parts(frame):
    classes = (np.indices((4, 4)).sum(axis=0) % 2).repeat(3, 0).repeat(3, 1)
    grid = frame(classes.shape)
    found = outlined(classes, grid, shapely.box(*grid.bounds))
    assert shapely.is_valid(found.shapes).all()
    assert [shapely.get_num_geometries(shape) for shape in found.shapes] == [8, 8]


def test_a_border_that_ends_on_another_is_shared_vertex_by_vertex(frame):
    classes = np.zeros((12, 12), dtype=int)
    classes[:, 6:] = 1
    classes[5:, 6:] = 2  # one long edge of class 0 against two others
    grid = frame(classes.shape)
    for tolerance_m in (0.0, 10.0):
        found = outlined(classes, grid, shapely.box(*grid.bounds), tolerance_m=tolerance_m)
        assert shapely.coverage_is_valid(found.shapes)
        assert shapely.union_all(found.shapes).equals(shapely.box(*grid.bounds))


def test_simplifying_takes_vertices_off_and_leaves_the_boundary_alone(frame):
    rows, columns = np.indices((60, 60))
    classes = ((columns + 0.7 * rows) > 50).astype(int)
    grid = frame(classes.shape)
    outline = shapely.Point(300, 300).buffer(270, quad_segs=24)
    hole = shapely.Point(330, 280).buffer(40, quad_segs=8)
    stepped = outlined(classes, grid, outline, [hole])
    plain = outlined(classes, grid, outline, [hole], tolerance_m=10.0)
    assert plain.tolerance_m == 10.0
    assert shapely.get_num_coordinates(plain.shapes).sum() < 0.7 * shapely.get_num_coordinates(stepped.shapes).sum()
    everything = np.array([*plain.shapes, *plain.excluded.geometry])
    assert shapely.coverage_is_valid(everything)
    micrometre = 1e-6
    assert shapely.hausdorff_distance(shapely.union_all(everything), outline) <= micrometre
    assert shapely.hausdorff_distance(plain.excluded.geometry.iloc[0].exterior, hole.exterior) <= micrometre
    change = shapely.area(plain.shapes) / shapely.area(stepped.shapes) - 1
    assert np.abs(change).max() < 0.01


@pytest.mark.parametrize("seed", range(3))
def test_zones_cover_a_coast_of_many_places_and_narrow_inlets_place_by_place(frame, seed):
    field = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(60, 60)), 5)
    classes = np.digitize(field, np.quantile(field, [0.3, 0.6]))
    grid, coast = frame(classes.shape), crooked_coast(seed=seed)
    road = shapely.LineString([(0, 200), (600, 330)]).buffer(5).intersection(coast)
    found = outlined(classes, grid, coast, [road], tolerance_m=10.0, least_ha=0.1)
    assert found.tolerance_m > 0
    everything = np.array([*found.shapes, *found.excluded.geometry])
    assert shapely.is_valid(everything).all()
    assert shapely.coverage_is_valid(everything)
    whole = shapely.coverage_union_all(everything)
    assert shapely.area(everything).sum() == pytest.approx(coast.area, rel=1e-9)
    assert shapely.symmetric_difference(whole, coast).area == pytest.approx(0.0, abs=0.01)
    micrometre = 1e-6
    apart, _ = KDTree(shapely.get_coordinates(whole)).query(shapely.get_coordinates(coast))
    assert apart.max() <= micrometre


def test_a_tolerance_that_would_move_too_much_ground_is_halved(frame):
    classes = np.zeros((40, 40), dtype=int)
    classes[16:22, 10:18] = 1
    classes[15, 12:15] = 1
    grid = frame(classes.shape)
    found = outlined(classes, grid, shapely.box(*grid.bounds), tolerance_m=60.0)
    assert found.tolerance_m < 60.0
    assert found.shapes[1].area == pytest.approx((classes == 1).sum() * 100, rel=0.01)


def test_a_sliver_cut_by_the_outline_joins_its_neighbour(frame):
    classes = np.zeros((20, 20), dtype=int)
    classes[:, 10:] = 1
    classes[0:8, 19] = 2  # the outline leaves a strip of half a metre of it
    grid = frame(classes.shape)
    found = outlined(classes, grid, shapely.box(0, 0, 190.5, 200), least_ha=0.1)
    assert found.classes.tolist() == [0, 1]
    assert shapely.union_all(found.shapes).area == pytest.approx(190.5 * 200)


def test_a_sliver_stays_on_its_soil_even_if_another_has_the_longer_border(frame):
    classes = np.zeros((20, 20), dtype=int)
    classes[15:, :] = 1
    classes[5:15, 19] = 2  # nine cells of border with class 0, one with class 1
    grid = frame(classes.shape)
    found = outlined(classes, grid, shapely.box(0, 0, 190.5, 200), least_ha=0.1, soils=(0, 1, 1))
    assert found.classes.tolist() == [0, 1]
    assert found.shapes[1].area == pytest.approx(190.5 * 50 + 0.5 * 100)
    assert found.sliver_ha == pytest.approx(0.5 * 100 / 1e4)


def test_ground_cut_off_by_exclusions_joins_them(frame):
    classes = np.zeros((20, 40), dtype=int)
    grid = frame(classes.shape)
    ditch = shapely.box(360, 0, 370, 200)
    found = outlined(classes, grid, shapely.box(0, 0, 400, 200), [ditch], least_ha=1.0)
    assert found.cut_off_ha == pytest.approx(30 * 200 / 1e4)
    assert found.excluded.geometry.iloc[0].area == pytest.approx(40 * 200)
    assert shapely.coverage_is_valid(np.array([*found.shapes, *found.excluded.geometry]))


def test_a_paddock_smaller_than_the_least_area_stays_whole(frame):
    classes = np.zeros((4, 4), dtype=int)
    grid = frame(classes.shape)
    found = outlined(classes, grid, shapely.box(*grid.bounds), least_ha=5.0)
    assert found.shapes[0].area == pytest.approx(1600)
