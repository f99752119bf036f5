"""Clay depth: cores before the soil map, the soil map before nothing."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest

from hardpan.surfaces.clay import map_clay
from hardpan.surfaces.domain import build_domain
from hardpan.surfaces.settings import SurfaceSettings


@pytest.fixture(scope="module")
def domain(truth):
    return build_domain(truth.pan.insertions, truth.survey, SurfaceSettings(cell_m=10.0))[0]


def cored(truth, soil_type, count, depth_of):
    shape = truth.survey.soils.set_index("soil_type").geometry[soil_type]
    west, south, east, north = shape.bounds
    x, y = np.random.default_rng(4).uniform([west, south], [east, north], (count, 2)).T
    table = {"core": [f"C{j}" for j in range(count)], "soil_type": soil_type, "clay_depth_mm": depth_of(x, y)}
    return replace(truth.survey, cores=gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(x, y), crs=truth.survey.crs))


def on(domain, values, soil_type):
    return values[domain.cells.soil == domain.soil_types.index(soil_type)]


def test_without_cores_the_soil_map_is_believed_and_the_rest_is_unknown(truth, domain):
    clay = map_clay(truth.survey, domain)
    assert set(on(domain, clay, "sand over clay")) == {500.0}
    assert np.isnan(on(domain, clay, "deep sand")).all()


def test_a_few_cores_give_their_mean(truth, domain):
    clay = map_clay(cored(truth, "deep sand", 3, lambda x, _: np.array([400.0, 500.0, np.nan])[: len(x)]), domain)
    assert set(on(domain, clay, "deep sand")) == {450.0}


def test_many_cores_are_kriged_on_their_own_soil_type(truth, domain):
    middle = truth.survey.frame.y_m.mean()
    survey = cored(truth, "deep sand", 40, lambda _, y: 450.0 + 0.2 * (y - middle))
    clay = map_clay(survey, domain)
    y = on(domain, domain.cells.xy_m[:, 1], "deep sand")
    # a plane without noise, cores some 50 m apart: within a few percent of its range of 120 mm
    assert np.sqrt(np.mean((on(domain, clay, "deep sand") - 450.0 - 0.2 * (y - middle)) ** 2)) < 6.0
    assert set(on(domain, clay, "sand over clay")) == {500.0}
