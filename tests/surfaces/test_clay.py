"""Clay depth: cores before the soil map, the soil map before nothing."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest

from hardpan.surfaces.clay import map_clay
from hardpan.surfaces.domain import build_domain
from hardpan.surfaces.settings import SurfaceSettings

SETTINGS = SurfaceSettings(cell_m=10.0, draws=60)


@pytest.fixture(scope="module")
def domain(truth):
    return build_domain(truth.pan.insertions, truth.survey, SurfaceSettings(cell_m=10.0))[0]


def cored(truth, soil_type, count, depth_of):
    shape = truth.survey.soils.set_index("soil_type").geometry[soil_type]
    west, south, east, north = shape.bounds
    x, y = np.random.default_rng(4).uniform([west, south], [east, north], (count, 2)).T
    table = {"core": [f"C{j}" for j in range(count)], "soil_type": soil_type, "clay_depth_mm": depth_of(x, y)}
    return replace(truth.survey, cores=gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(x, y), crs=truth.survey.crs))


def clay_of(survey, domain):
    return map_clay(survey, domain, SETTINGS, seed=1).mean_mm


def on(domain, values, soil_type):
    return values[domain.cells.soil == domain.soil_types.index(soil_type)]


def test_without_cores_the_soil_map_is_believed_and_the_rest_is_unknown(truth, domain):
    clay = clay_of(truth.survey, domain)
    assert on(domain, clay, "sand over clay") == pytest.approx(500.0)
    assert np.isnan(on(domain, clay, "deep sand")).all()


def test_a_few_cores_give_about_their_mean(truth, domain):
    clay = clay_of(cored(truth, "deep sand", 3, lambda x, _: np.array([400.0, 500.0, np.nan])[: len(x)]), domain)
    assert on(domain, clay, "deep sand").mean() == pytest.approx(450.0, abs=10.0)


def test_many_cores_are_kriged_on_their_own_soil_type(truth, domain):
    middle = truth.survey.frame.y_m.mean()
    survey = cored(truth, "deep sand", 40, lambda _, y: 450.0 + 0.2 * (y - middle))
    clay = clay_of(survey, domain)
    y = on(domain, domain.cells.xy_m[:, 1], "deep sand")
    # a plane without noise, cores some 50 m apart: within a few percent of its range of 120 mm
    assert np.sqrt(np.mean((on(domain, clay, "deep sand") - 450.0 - 0.2 * (y - middle)) ** 2)) < 6.0
    assert on(domain, clay, "sand over clay") == pytest.approx(500.0)


def test_the_doubt_is_that_of_map_and_ground_without_cores_and_falls_near_them(truth, domain):
    mapped = map_clay(truth.survey, domain, SETTINGS, seed=1)
    cored_ground = cored(truth, "sand over clay", 12, lambda x, _: np.full(len(x), 500.0))
    seen = map_clay(cored_ground, domain, SETTINGS, seed=1)
    before, after = (on(domain, clay.sd_mm, "sand over clay") for clay in (mapped, seen))
    # without a core: at least the stated error of the map, and the ground's own variation beside it
    assert before.min() > SETTINGS.clay_map_error * 500.0
    assert after.max() < before.min()


def test_draws_have_mean_and_spread_of_the_map(truth, domain):
    survey = cored(truth, "sand over clay", 6, lambda x, _: 480.0 + 10.0 * np.arange(len(x)))
    clay = map_clay(survey, domain, SurfaceSettings(cell_m=10.0, draws=1000), seed=1)
    at = domain.nodes.soil == domain.soil_types.index("sand over clay")
    # the standard error of a mean of 1000 draws is 3 % of the spread
    spread = on(domain, clay.sd_mm, "sand over clay").mean()
    assert clay.draws_mm[:, at].mean() == pytest.approx(
        on(domain, clay.mean_mm, "sand over clay").mean(), abs=0.15 * spread
    )
    assert clay.draws_mm[:, at].std(axis=0).mean() == pytest.approx(spread, rel=0.15)
    assert np.isnan(clay.draws_mm[:, domain.nodes.soil == domain.soil_types.index("deep sand")]).all()
