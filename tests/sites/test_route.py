"""The way round the sites."""

from itertools import permutations

import numpy as np
import pytest

from hardpan.sites.route import walking_order


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
