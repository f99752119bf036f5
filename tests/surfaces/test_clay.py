"""Clay depth: cores before the soil map, the soil map before nothing."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest

from hardpan.surfaces.clay import map_clay
from hardpan.surfaces.ground import lay_out
from hardpan.surfaces.settings import SurfaceSettings


@pytest.fixture(scope="module")
def layout(truth):
    return lay_out(truth.pan.insertions, truth.survey, SurfaceSettings(cell_m=10.0))[0]


def cored(truth, soil_type, count, depth_of):
    shape = truth.survey.soils.set_index("soil_type").geometry[soil_type]
    west, south, east, north = shape.bounds
    x, y = np.random.default_rng(4).uniform([west, south], [east, north], (count, 2)).T
    table = {"core": [f"C{j}" for j in range(count)], "soil_type": soil_type, "clay_depth_mm": depth_of(x, y)}
    return replace(truth.survey, cores=gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(x, y), crs=truth.survey.crs))


def on(layout, values, soil_type):
    return values[layout.cells.soil == layout.soil_types.index(soil_type)]


def test_without_cores_the_soil_map_is_believed_and_the_rest_is_unknown(truth, layout):
    clay = map_clay(truth.survey, layout)
    assert set(on(layout, clay, "sand over clay")) == {500.0}
    assert np.isnan(on(layout, clay, "deep sand")).all()


def test_a_few_cores_give_their_mean(truth, layout):
    clay = map_clay(cored(truth, "deep sand", 3, lambda x, _: np.array([400.0, 500.0, np.nan])[: len(x)]), layout)
    assert set(on(layout, clay, "deep sand")) == {450.0}


def test_many_cores_are_kriged_on_their_own_soil_type(truth, layout):
    middle = truth.survey.frame.y_m.mean()
    survey = cored(truth, "deep sand", 40, lambda _, y: 450.0 + 0.2 * (y - middle))
    clay = map_clay(survey, layout)
    y = on(layout, layout.cells.xy_m[:, 1], "deep sand")
    # a plane without noise, cores some 50 m apart: within a few percent of its range of 120 mm
    assert np.sqrt(np.mean((on(layout, clay, "deep sand") - 450.0 - 0.2 * (y - middle)) ** 2)) < 6.0
    assert set(on(layout, clay, "sand over clay")) == {500.0}
