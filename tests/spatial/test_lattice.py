"""Unconditional draws have the covariance they should, on the lattice and between its nodes."""

import numpy as np
import pytest

from hardpan.spatial.covariance import correlation
from hardpan.spatial.lattice import Lattice, draw_between, draw_lattice
from hardpan.spatial.parameters import EFFECTIVE, FAMILIES

LATTICE = Lattice(origin_m=(1000.0, 5000.0), step_m=20.0, shape=(24, 30))
DRAWS = 3000
SLACK = 4.5 / np.sqrt(DRAWS)
"""Four and a half standard errors of a correlation."""


@pytest.mark.parametrize("family", FAMILIES)
def test_draws_have_the_models_covariance(family):
    rng = np.random.default_rng(1)
    nodes = draw_lattice(LATTICE, family, 200.0, DRAWS, rng)
    points = np.array([[1203.0, 4811.0], [1251.0, 4790.0], [1000.0, 5000.0]])
    between = draw_between(LATTICE, nodes, points, family, range_m=200.0, rng=rng)
    row, col = np.array([2, 2, 10, 20]), np.array([3, 9, 12, 25])
    values = np.column_stack([nodes[:, row, col], between])
    xy = np.vstack([np.column_stack([1000.0 + 20.0 * col, 5000.0 - 20.0 * row]), points])
    distance = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    expected = correlation(family, distance * EFFECTIVE[family] / 200.0)
    assert values.mean(axis=0) == pytest.approx(0.0, abs=SLACK)
    assert np.cov(values.T) == pytest.approx(expected, abs=SLACK)


def test_a_point_on_a_node_has_the_nodes_value():
    rng = np.random.default_rng(1)
    nodes = draw_lattice(LATTICE, "exponential", 200.0, 5, rng)
    at = draw_between(LATTICE, nodes, np.array([[1060.0, 4940.0]]), "exponential", range_m=200.0, rng=rng)
    assert at[:, 0] == pytest.approx(nodes[:, 3, 3], abs=1e-3)


def test_a_range_beyond_the_lattice_keeps_the_variance():
    nodes = draw_lattice(LATTICE, "matern52", 3000.0, DRAWS, np.random.default_rng(2))
    assert nodes[:, 5, 5].var() == pytest.approx(1.0, abs=0.15)
