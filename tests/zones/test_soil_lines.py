import geopandas as gpd
import numpy as np
import pytest
import shapely

from hardpan.records.frame import Frame
from hardpan.zones.soil_lines import soil_regions


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
