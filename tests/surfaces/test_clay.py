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


@pytest.fixture(scope="module")
def insertions(truth):
    """Those of the truth; none met hard ground below its pan."""
    return truth.pan.insertions


def clay_of(survey, insertions, domain):
    return map_clay(survey, insertions, domain, SETTINGS, seed=1).mean_mm


def on(domain, values, soil_type):
    return values[domain.cells.soil == domain.soil_types.index(soil_type)]


def test_without_cores_the_soil_map_is_believed_and_the_rest_is_unknown(truth, insertions, domain):
    clay = clay_of(truth.survey, insertions, domain)
    assert on(domain, clay, "sand over clay") == pytest.approx(500.0)
    assert np.isnan(on(domain, clay, "deep sand")).all()


def test_a_few_cores_give_about_their_mean(truth, insertions, domain):
    survey = cored(truth, "deep sand", 3, lambda x, _: np.array([400.0, 500.0, np.nan])[: len(x)])
    clay = clay_of(survey, insertions, domain)
    assert on(domain, clay, "deep sand").mean() == pytest.approx(450.0, abs=10.0)


def test_many_cores_are_kriged_on_their_own_soil_type(truth, insertions, domain):
    middle = truth.survey.frame.y_m.mean()
    survey = cored(truth, "deep sand", 40, lambda _, y: 450.0 + 0.2 * (y - middle))
    clay = clay_of(survey, insertions, domain)
    y = on(domain, domain.cells.xy_m[:, 1], "deep sand")
    # a plane without noise, cores some 50 m apart: within a few percent of its range of 120 mm
    assert np.sqrt(np.mean((on(domain, clay, "deep sand") - 450.0 - 0.2 * (y - middle)) ** 2)) < 6.0
    assert on(domain, clay, "sand over clay") == pytest.approx(500.0)


def test_the_doubt_is_that_of_map_and_ground_without_cores_and_falls_near_them(truth, insertions, domain):
    mapped = map_clay(truth.survey, insertions, domain, SETTINGS, seed=1)
    cored_ground = cored(truth, "sand over clay", 12, lambda x, _: np.full(len(x), 500.0))
    seen = map_clay(cored_ground, insertions, domain, SETTINGS, seed=1)
    before, after = (on(domain, clay.sd_mm, "sand over clay") for clay in (mapped, seen))
    # without a core: at least the stated error of the map, and the ground's own variation beside it
    assert before.min() > SETTINGS.clay_map_error * 500.0
    assert after.max() < before.min()


def test_draws_have_mean_and_spread_of_the_map(truth, insertions, domain):
    survey = cored(truth, "sand over clay", 6, lambda x, _: 480.0 + 10.0 * np.arange(len(x)))
    clay = map_clay(survey, insertions, domain, SurfaceSettings(cell_m=10.0, draws=1000), seed=1)
    at = domain.nodes.soil == domain.soil_types.index("sand over clay")
    # the standard error of a mean of 1000 draws is 3 % of the spread
    spread = on(domain, clay.sd_mm, "sand over clay").mean()
    assert clay.draws_mm[:, at].mean() == pytest.approx(
        on(domain, clay.mean_mm, "sand over clay").mean(), abs=0.15 * spread
    )
    assert clay.draws_mm[:, at].std(axis=0).mean() == pytest.approx(spread, rel=0.15)
    assert np.isnan(clay.draws_mm[:, domain.nodes.soil == domain.soil_types.index("deep sand")]).all()


def met_hard(insertions, domain, soil_type, depth_mm):
    """The insertions on a soil type met hard ground below their pan, at this depth."""
    there = domain.sites.soil[domain.site_of] == domain.soil_types.index(soil_type)
    return insertions.assign(next_mm=np.where(there, depth_mm, np.nan))


def test_clay_is_thought_to_begin_above_hard_ground_met_below_the_pan(truth, insertions, domain):
    before = on(domain, clay_of(truth.survey, insertions, domain), "sand over clay")
    near = clay_of(truth.survey, met_hard(insertions, domain, "sand over clay", 460.0), domain)
    assert on(domain, near, "sand over clay").mean() < 460.0 < before.mean()
    # ground far below what the map states says less
    far = clay_of(truth.survey, met_hard(insertions, domain, "sand over clay", 950.0), domain)
    assert abs(on(domain, far, "sand over clay").mean() - 500.0) < 0.5 * (
        500.0 - on(domain, near, "sand over clay").mean()
    )


def test_hard_ground_below_the_pan_is_no_clay_where_neither_map_nor_core_tells_of_any(truth, insertions, domain):
    clay = clay_of(truth.survey, met_hard(insertions, domain, "deep sand", 460.0), domain)
    assert np.isnan(on(domain, clay, "deep sand")).all()


def test_a_core_goes_before_hard_ground_that_may_be_something_else(truth, insertions, domain):
    survey = cored(truth, "sand over clay", 12, lambda x, _: np.full(len(x), 520.0))
    met = met_hard(insertions, domain, "sand over clay", np.nan)
    row = np.flatnonzero(domain.sites.soil[domain.site_of] == domain.soil_types.index("sand over clay"))[0]
    met.loc[row, "next_mm"] = 400.0
    clay = on(domain, clay_of(survey, met, domain), "sand over clay")
    assert clay.mean() == pytest.approx(520.0, abs=10.0)
