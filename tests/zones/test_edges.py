import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy import ndimage

from hardpan.records.frame import Frame
from hardpan.zones.edges import driven_borders, soil_regions
from hardpan.zones.outline import _class_edges

NOWHERE = shapely.GeometryCollection()
CELL_M = 10.0


@pytest.fixture
def frame(made):
    return Frame(crs=made.CRS, x_min_m=0, y_max_m=100, cell_m=10, n_rows=10, n_cols=10)


def soils_of(frame, **shapes):
    return gpd.GeoDataFrame({"soil_type": list(shapes)}, geometry=list(shapes.values()), crs=frame.crs)


def test_a_class_goes_on_up_to_the_line_of_its_soil(frame):
    line = 43.0
    soils = soils_of(frame, clay=shapely.box(0, 0, line, 100), sand=shapely.box(line, 0, 100, 100))
    soil = np.where(np.arange(10) * 10 + 5 < line, 0, 1) * np.ones((10, 1), dtype=int)
    classes = np.where(soil == 0, 3, 7)
    clay, sand = soil_regions(soils, ("clay", "sand"), soil, classes, frame)
    assert clay.shape.area == pytest.approx(line * 100)
    assert clay.classes[:, 4].tolist() == [3] * 10  # the cells that the line cuts
    assert sand.classes[:, 4].tolist() == [7] * 10
    assert clay.holds(np.array([[42.9, 50.0], [43.1, 50.0]])).tolist() == [True, False]


def test_a_part_of_the_map_that_holds_no_cell_is_left_out(frame):
    spot = shapely.box(61, 61, 64, 64)
    soils = soils_of(frame, clay=spot, sand=shapely.difference(shapely.box(0, 0, 100, 100), spot))
    regions = soil_regions(soils, ("clay", "sand"), np.ones((10, 10), dtype=int), np.zeros((10, 10), dtype=int), frame)
    assert len(regions) == 1
    assert regions[0].shape.area == pytest.approx(10_000 - 9)


def test_of_soil_polygons_that_overlap_the_first_by_name_counts(frame):
    soils = soils_of(frame, sand=shapely.box(0, 0, 60, 100), clay=shapely.box(40, 0, 100, 100))
    soil = np.where(np.arange(10) < 4, 1, 0) * np.ones((10, 1), dtype=int)
    clay, sand = soil_regions(soils, ("clay", "sand"), soil, soil, frame)
    assert (clay.shape.area, sand.shape.area) == (6000, 4000)


def cells_of(classes, crs):
    """Polygons of the classes along the edges of cells, a coverage."""
    rows, columns = classes.shape
    frame = Frame(crs=crs, x_min_m=0, y_max_m=rows * CELL_M, cell_m=CELL_M, n_rows=rows, n_cols=columns)
    lines = shapely.union_all([*_class_edges(classes, frame), shapely.box(*frame.bounds).exterior])
    faces = np.array(shapely.get_parts(shapely.polygonize([lines])))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    row, column = ((frame.y_max_m - inside[:, 1]) // CELL_M).astype(int), (inside[:, 0] // CELL_M).astype(int)
    number = classes[row, column]
    return np.array([shapely.coverage_union_all(faces[number == one]) for one in np.unique(number)], dtype=object)


def between(shapes):
    """Border of the first two shapes."""
    return shapely.line_merge(shapely.intersection(shapely.boundary(shapes[0]), shapely.boundary(shapes[1])))


def slanted(per_row):
    rows, columns = np.indices((60, 60))
    return (columns > 30 + per_row * (rows - 30)).astype(int)


def test_a_slanted_border_of_steps_becomes_one_line_between_its_ends(made):
    shapes = cells_of(slanted(0.4), made.CRS)
    drawn = driven_borders(shapes, [45.0, 45.0], NOWHERE, cell_m=CELL_M, tolerance_m=CELL_M)
    assert shapely.get_num_coordinates(between(shapes)) > 30
    assert shapely.get_num_coordinates(between(drawn)) <= 4
    assert shapely.hausdorff_distance(between(drawn), between(shapes), densify=0.1) <= 1.5 * CELL_M


@pytest.mark.parametrize("heading_deg", [1.5, 91.5])
def test_a_border_near_the_way_of_travel_or_across_it_is_drawn_so(made, heading_deg):
    rows, columns = np.indices((60, 60))
    bent = np.where(rows < 20, columns > 20 + 3 * (20 - rows), columns > 20).astype(int)  # upright below row 20
    shapes = cells_of(bent, made.CRS)
    drawn = driven_borders(shapes, [heading_deg] * 2, NOWHERE, cell_m=CELL_M, tolerance_m=25.0)
    edge = np.diff(shapely.get_coordinates(between(drawn)), axis=0)
    upright = edge[np.abs(edge[:, 0]).argmin()]
    turned_deg = np.rad2deg(np.arctan2(upright[0], upright[1])) % 180.0
    assert turned_deg == pytest.approx(1.5, abs=0.1)


def test_a_border_on_a_line_that_is_kept_stays(made):
    shapes = cells_of(slanted(0.4), made.CRS)
    line = between(shapes)
    drawn = driven_borders(shapes, [0.0, 0.0], line, cell_m=CELL_M, tolerance_m=CELL_M)
    assert shapely.equals_exact(shapely.normalize(drawn), shapely.normalize(shapes), 1e-6).all()


def test_a_ring_smaller_than_the_tolerance_moves_less_and_is_not_lost(made):
    classes = np.zeros((30, 30), dtype=int)
    classes[12:16, 12:16] = 1
    shapes = cells_of(classes, made.CRS)
    drawn = driven_borders(shapes, [0.0, 0.0], NOWHERE, cell_m=CELL_M, tolerance_m=100.0)
    assert drawn[1].area == pytest.approx(1600.0, rel=0.25)  # its corners are taken off


@pytest.mark.parametrize("tolerance_m", [2.0, 5.0, 10.5])
@pytest.mark.parametrize("seed", range(8))
def test_drawn_zones_tile_the_ground_whatever_their_form(made, seed, tolerance_m):
    rng = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(rng.normal(size=(40, 50)), 2.5)
    classes = np.digitize(field, np.quantile(field, [0.3, 0.6, 0.8]))
    shapes = cells_of(classes, made.CRS)
    headings = rng.uniform(0, 180, shapes.size).tolist()
    drawn = driven_borders(shapes, headings, NOWHERE, cell_m=CELL_M, tolerance_m=tolerance_m)
    assert shapely.is_valid(drawn).all()
    assert shapely.coverage_is_valid(drawn)
    assert shapely.equals(shapely.coverage_union_all(drawn), shapely.box(0, 0, 500, 400))
    assert (shapely.get_num_geometries(drawn) == shapely.get_num_geometries(shapes)).all()
    assert shapely.get_num_coordinates(drawn).sum() < shapely.get_num_coordinates(shapes).sum()
