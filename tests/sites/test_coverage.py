"""Spatial coverage against geometry, a square grid and the k-means of another library; short ways round sites."""

from itertools import permutations

import numpy as np
import pytest
import shapely
from sklearn.cluster import KMeans

from builders.sites import OPEN, SOUTH_M, WEST_M, box, unprobed
from hardpan.sites.coverage import cover, mean_squared_distance, space_of, walking_order
from hardpan.sites.ground import survey_ground
from hardpan.sites.settings import SiteSettings

NOWHERE = np.empty((0, 2))


def ground_of(boundary, *, edge_m=0.0, **fields):
    return survey_ground(unprobed(boundary, **fields), OPEN, SiteSettings(edge_m=edge_m))


def covered(ground, counts, fixed=NOWHERE, *, share=0.0, starts=5):
    sites = cover(ground, space_of(ground, share), np.array(counts), fixed, starts=starts, seed=1)
    return sites, mean_squared_distance(ground.targets.xy_m, ground.targets.ha, np.vstack([sites, fixed]))


@pytest.mark.parametrize(
    ("width", "height", "count", "mssd"),
    [(400, 400, 1, 400**2 / 6), (800, 400, 2, 400**2 / 6), (400, 400, 4, 400**2 / 24)],
)
def test_the_criterion_of_squares_is_that_of_geometry(width, height, count, mssd):
    """One point in a square of side s: s^2/6; four in it stand at the quarters (computed by hand).

    Ground is blocks of at most 16 m, whose own 16^2/6 is left out.
    """
    sites, found = covered(ground_of(box(0, 0, width, height), cell_m=8.0), [count])
    assert found == pytest.approx(mssd, abs=16**2 / 6 + 1e-6)
    if count == 4:
        at = {(round(x - WEST_M), round(y - SOUTH_M)) for x, y in sites}
        assert at == {(100, 100), (100, 300), (300, 100), (300, 300)}


def test_coverage_is_no_worse_than_k_means_of_another_library_from_as_many_starts():
    shape = box(0, 0, 900, 700).difference(box(300, 300, 620, 900))
    ground = ground_of(shape, cell_m=10.0)
    _, ours = covered(ground, [23], starts=10)
    theirs = KMeans(23, n_init=10, random_state=1).fit(ground.targets.xy_m, sample_weight=ground.targets.ha)
    assert ours <= 1.02 * theirs.inertia_ / ground.targets.ha.sum()


def test_coverage_is_better_than_a_square_grid_laid_over_a_ragged_paddock():
    shape = box(0, 0, 900, 700).difference(box(300, 300, 620, 900))
    ground = ground_of(shape, cell_m=10.0)
    x, y = np.meshgrid(np.arange(WEST_M + 75, WEST_M + 900, 150), np.arange(SOUTH_M + 75, SOUTH_M + 700, 150))
    grid = np.column_stack([x.ravel(), y.ravel()])
    grid = grid[shapely.contains_xy(shape, *grid.T)]
    _, found = covered(ground, [len(grid)])
    assert found < mean_squared_distance(ground.targets.xy_m, ground.targets.ha, grid)


def test_sites_that_are_there_stay_and_new_ones_keep_away_from_them():
    ground = ground_of(box(0, 0, 400, 400))
    fixed = np.array([[WEST_M + 100, SOUTH_M + 100], [WEST_M + 300, SOUTH_M + 300]])
    sites, found = covered(ground, [2], fixed)
    at = {(round(x - WEST_M, -1), round(y - SOUTH_M, -1)) for x, y in sites}
    assert at == {(100.0, 300.0), (300.0, 100.0)}
    assert found == pytest.approx(400**2 / 24, abs=10**2 / 6 + 1e-6)  # ground is blocks of 10 m


def test_every_site_stands_in_its_soil_type_on_ground_that_may_be_probed():
    middle = box(150, 0, 250, 400)
    soils = (("deep sand", box(0, 0, 400, 400).difference(middle)), ("gravelly sand", middle))
    shut = box(190, 50, 210, 350)
    ground = ground_of(box(0, 0, 400, 400), edge_m=15.0, soils=soils, exclusions=[shut])
    sites, _ = covered(ground, [4, 3])
    assert np.bincount(ground.soil_at(sites), minlength=2).tolist() == [4, 3]
    assert shapely.distance(shut, shapely.points(sites)).min() >= 5.0
    assert box(15, 15, 385, 385).buffer(3).covers(shapely.MultiPoint(sites))


def test_no_two_sites_share_a_cell_where_there_are_hardly_enough():
    ground = ground_of(box(0, 0, 20, 20), cell_m=5.0)
    sites, _ = covered(ground, [16])
    assert len(np.unique(np.round(sites, 3), axis=0)) == 16
    assert len(np.unique(sites // 5.0, axis=0)) == 16


def test_a_covariate_draws_sites_over_its_range():
    """A strong corner that covers a fiftieth of the ground gets none of nine sites by coverage alone."""

    def corner(frame):
        x, y = np.meshgrid(frame.x_m - WEST_M, frame.y_m - SOUTH_M)
        return np.where((x > 345) & (y > 345), 10.0, 0.0)

    ground = ground_of(box(0, 0, 400, 400), covariates=corner)

    def highest(sites):
        return (sites - [WEST_M, SOUTH_M]).min(axis=1).max()

    plain, mssd = covered(ground, [9])
    spread, wider = covered(ground, [9], share=0.5)
    assert highest(plain) < 345 < highest(spread)
    assert wider >= mssd


def length(xy, order, gate):
    way = np.vstack([gate, xy[list(order)], gate]) if gate is not None else xy[list(order)]
    return np.hypot(*np.diff(way, axis=0).T).sum()


@pytest.mark.parametrize("gate", [None, np.array([-50.0, 20.0])])
def test_the_way_is_nearly_the_shortest_of_all(gate):
    for seed in range(10):
        xy = np.random.default_rng(seed).uniform(0, 500, (7, 2))
        order, found = walking_order(xy, gate)
        assert sorted(order) == list(range(7))
        assert found == pytest.approx(length(xy, order, gate))
        assert found <= 1.02 * min(length(xy, one, gate) for one in permutations(range(7)))


def test_a_grid_of_sites_is_walked_for_hardly_more_than_its_spacing_each():
    x, y = np.meshgrid(np.arange(10) * 60.0, np.arange(8) * 60.0)
    xy = np.random.default_rng(3).permutation(np.column_stack([x.ravel(), y.ravel()]))
    _, found = walking_order(xy, None)
    assert 79 * 60.0 - 1e-6 <= found <= 1.08 * 79 * 60.0


@pytest.mark.parametrize("count", [1, 2, 3])
def test_few_sites_have_a_way_too(count):
    xy = np.array([[30.0, 0.0], [10.0, 0.0], [20.0, 0.0]])[:count]
    order, found = walking_order(xy, np.array([0.0, 0.0]))
    assert found == pytest.approx(60.0)
    assert sorted(order) == list(range(count))


def test_the_way_begins_at_the_nearer_end():
    xy = np.array([[100.0, 50.0], [100.0, 0.0], [10.0, 0.0]])
    order, _ = walking_order(xy, np.array([0.0, 0.0]))
    assert order[0] == 2
