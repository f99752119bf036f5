"""Readings on one grid, where insertions stand, moisture; means against Student's and Darwin's paired examples."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scipy import linalg
from scipy.spatial import distance

from builders.after import CRS
from hardpan.records.after import Position
from hardpan.verify.profiles import (
    Gridded,
    block_points,
    depths_mm,
    excess,
    factor_of,
    gridded,
    loose_to_mm,
    position_of,
    site_mean,
    zones_at,
)

NOWHERE = np.empty((0, 2))


def readings(kpa, *, stop="rod end", step=25.0, name="a"):
    depth = step * (1 + np.arange(len(kpa)))
    return pd.DataFrame(
        {"insertion": name, "site": "s", "stop": stop, "x_m": 0.0, "y_m": 0.0, "depth_mm": depth,
         "cone_index_kpa": kpa, "theta": np.nan}
    )  # fmt: skip


def grid_of(*levels):
    """Cone index by (from depth, kPa) steps, one insertion."""
    depth, kpa = depths_mm(), np.zeros((1, depths_mm().size))
    for start, level in levels:
        kpa[0, depth >= start] = level
    return kpa


def test_readings_lie_on_straight_lines_and_nothing_is_known_below_the_last():
    one = gridded(readings([1000.0, 2000.0]))
    depth = depths_mm()
    assert one.kpa[0, depth == 30.0] == pytest.approx(1200.0)
    assert (one.kpa[0, depth < 25.0] == 1000.0).all()
    assert np.isnan(one.kpa[0, depth > 50.0]).all()


def test_ground_that_stopped_the_rod_stays_as_hard_below():
    one = gridded(readings([1000.0, 4000.0], stop="refusal"))
    assert (one.kpa[0, depths_mm() > 50.0] == 4000.0).all()


def test_excess_is_the_area_above_the_threshold():
    kpa = grid_of((0, 1000.0), (200, 3500.0), (300, 1000.0))
    assert excess(kpa, 2500.0, 700.0)[0] == pytest.approx(1000.0 * 100.0)
    assert excess(kpa, 2500.0, 245.0)[0] == pytest.approx(1000.0 * 50.0)


def test_ground_is_loose_down_to_the_first_hard_layer_that_is_no_crust():
    assert loose_to_mm(grid_of((0, 900.0), (300, 3000.0)), 2500.0, 500.0)[0] == 300.0
    assert loose_to_mm(grid_of((0, 3000.0), (60, 900.0), (420, 3000.0)), 2500.0, 500.0)[0] == 420.0
    assert loose_to_mm(grid_of((0, 900.0), (200, 3000.0), (230, 900.0)), 2500.0, 500.0)[0] == 500.0  # a stone


def test_a_record_that_ends_in_soft_ground_above_the_working_depth_says_nothing():
    short = grid_of((0, 900.0))
    short[0, depths_mm() > 300.0] = np.nan
    assert np.isnan(loose_to_mm(short, 2500.0, 500.0)[0])
    assert loose_to_mm(short, 2500.0, 300.0)[0] == 300.0


@pytest.mark.parametrize(
    ("mark", "name", "position"),
    [
        ("line", "", Position.LINE),
        (" Midway ", "x", Position.MIDWAY),
        ("1/4", "x", Position.QUARTER),
        ("unripped", "x", Position.CONTROL),
        ("", "7 7-line", Position.LINE),
        ("", "Z3_mid_2", Position.MIDWAY),
        ("", "12 12-1", None),
        ("somewhere", "7-line", None),
    ],
)
def test_a_position_is_read_from_the_column_or_the_name(mark, name, position):
    assert position_of(mark, name) is position


def test_a_check_strip_counts_as_the_zone_it_lies_in():
    zones = gpd.GeoDataFrame(
        {"zone": [1, 2, 3], "beside": [np.nan, np.nan, 1.0]},
        geometry=[shapely.box(0, 0, 9, 9) - shapely.box(4, 4, 5, 5), shapely.box(9, 0, 20, 9), shapely.box(4, 4, 5, 5)],
        crs=CRS,
    )
    about = pd.DataFrame({"x_m": [1.0, 4.5, 12.0, 9.0, 50.0], "y_m": [1.0, 4.5, 1.0, 3.0, 1.0]})
    assert zones_at(about, zones).tolist() == [1, 1, 2, 1, -1]


def test_points_of_a_block_lie_in_it():
    shape = shapely.box(0, 0, 40, 10) - shapely.box(10, 2, 20, 8)
    points = block_points(shape, 100)
    assert 60 <= len(points) <= 140
    assert shapely.contains_xy(shape, *points.T).all()


def ground(levels, *, times=1.0, sites=None):
    n = len(levels)
    names = [f"s{at}" for at in range(n)] if sites is None else sites
    about = pd.DataFrame({"insertion": [f"i{at}" for at in range(n)], "site": names})
    return Gridded(about=about, kpa=times * np.outer(levels, np.ones(depths_mm().size)))


def test_the_factor_is_the_ratio_of_geometric_means():
    found = factor_of(ground([2000.0, 3000.0], times=0.63), ground([2000.0, 3000.0]), level=0.9)
    assert found.value == pytest.approx(0.63)
    assert found.low < 0.63 < found.high
    assert found.controls == 2


def test_controls_on_softer_ground_are_held_against_the_survey_there():
    """What a plan leaves unripped is soft: its 1,000 kPa are no less than before, though the survey's mean is 2,000."""
    zones = {"later": [1] * 3, "earlier": [1] * 3 + [2] * 3}
    later, earlier = ground([1000.0, 1100.0, 900.0], times=0.85), ground([1000.0, 1100.0, 900.0] + [3000.0] * 3)
    later.about["zone"], earlier.about["zone"] = zones["later"], zones["earlier"]
    found = factor_of(later, earlier, level=0.9, ground={1: "left", 2: "ripped"})
    assert found.value == pytest.approx(0.85)
    assert found.low < 0.85 < found.high
    assert factor_of(later, earlier, level=0.9).high < 0.85


def test_one_site_gives_no_factor():
    assert factor_of(ground([2000.0, 2500.0], sites=["a", "a"]), ground([2000.0, 3000.0]), level=0.9) is None
    assert factor_of(ground([2000.0]), ground([2000.0, 3000.0]), level=0.9) is None


def test_like_ground_has_an_interval_of_no_width():
    found = factor_of(ground([2000.0] * 3, times=1.6), ground([2000.0] * 3), level=0.9)
    assert (found.low, found.value, found.high) == pytest.approx((1.6, 1.6, 1.6))


def test_the_interval_is_welchs():
    # oracle: scipy.stats.ttest_ind on the logarithms
    from scipy.stats import ttest_ind

    later, earlier = [1500.0, 1800.0, 2100.0, 1700.0], [2500.0, 2600.0, 2300.0]
    found = factor_of(ground(later), ground(earlier), level=0.9)
    right = ttest_ind(np.log(later), np.log(earlier), equal_var=False).confidence_interval(0.9)
    assert (np.log(found.low), np.log(found.high)) == pytest.approx((right.low, right.high))


def plain(values, level):
    return site_mean(np.array(values), np.zeros((len(values), 2)), NOWHERE, range_m=0.0, micro=1.0, level=level)


def test_darwins_maize_has_its_published_interval():
    # Fisher 1935, The Design of Experiments, section 17: 15 pairs of maize plants, differences in eighths of an inch;
    # R's agridat darwin.maize: mean 2.616667 in, 95 % from 0.003899165 to 5.229434169.
    eighths = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]
    found = plain([one / 8 for one in eighths], 0.95)
    assert (found.value, found.low, found.high) == pytest.approx((2.616667, 0.003899165, 5.229434169), abs=1e-6)


def test_students_sleep_data_have_their_published_interval():
    # Student 1908, Biometrika 6: 1-25; R's data set sleep: paired 95 % interval -2.4598858 to -0.7001142.
    first = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
    second = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
    found = plain(first - second, 0.95)
    assert (found.low, found.high) == pytest.approx((-2.4598858, -0.7001142), abs=5e-7)


def test_one_site_has_no_interval():
    found = plain([0.8], 0.9)
    assert (found.low, found.high) == (-np.inf, np.inf)


def covariance(one, other):
    """Exponential, of sill 1 and range 200 m."""
    return np.exp(-3 * distance.cdist(one, other) / 200)


@pytest.mark.parametrize("huddled", [False, True])
def test_the_interval_covers_the_mean_of_the_zone_wherever_the_sites_lie(huddled):
    rng = np.random.default_rng(3)
    axis = np.linspace(10, 390, 12)
    block = np.column_stack([one.ravel() for one in np.meshgrid(axis, axis)])
    whole = np.linalg.cholesky(covariance(block, block) + 1e-9 * np.eye(len(block)))
    covered, tried = 0, 400
    for _ in range(tried):
        xy = rng.uniform(0, 60 if huddled else 400, (6, 2))
        drawn = rng.normal(size=len(block))
        known = linalg.solve_triangular(whole, covariance(block, xy), lower=True)
        rest = covariance(xy, xy) - known.T @ known + 1e-9 * np.eye(len(xy))
        at_sites = known.T @ drawn + np.linalg.cholesky(rest) @ rng.normal(size=len(xy))
        found = site_mean(at_sites, xy, block, range_m=200.0, micro=0.0, level=0.9)
        covered += found.low <= (whole @ drawn).mean() <= found.high
    assert 0.85 <= covered / tried <= 1.0
