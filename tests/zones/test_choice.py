import itertools

import numpy as np
import pandas as pd
import pytest

from hardpan.records.plan import Options
from hardpan.zones.choice import Candidates, choose_counts, worth_of


def options_of(net, zone_cost=0.0):
    net = np.asarray(net, dtype=float)
    none = np.zeros((net.shape[1], 1))
    return Options(
        table=pd.DataFrame({"option": range(net.shape[1])}),
        net=net,
        cost=net,
        loosened=net,
        breach=net,
        node_ha=np.ones(len(net)),
        paddock_returns=none,
        paddock_costs=none,
        zone_cost=zone_cost,
    )


NET = [[0, 30, 10], [0, -20, 25], [0, 5, -np.inf], [0, -8, -9]]
ONES = np.ones(4)
NODES = np.arange(4)


def test_each_class_gets_its_own_best_option():
    one = worth_of(np.array([0, 1, 0, 2]), NODES, ONES, options_of(NET))
    assert one == pytest.approx((30 + 5) + 25 + 0)


def test_an_option_forbidden_anywhere_in_a_class_is_out():
    net = options_of([[0, 50, 100], [0, 10, -np.inf]])
    assert worth_of(np.array([0, 0]), np.array([0, 1]), np.ones(2), net) == pytest.approx(60)
    assert worth_of(np.array([0, 1]), np.array([0, 1]), np.ones(2), net) == pytest.approx(110)


def test_worth_counts_by_area():
    assert worth_of(np.zeros(2, int), np.array([0, 1]), np.array([1.0, 4.0]), options_of(NET)) == pytest.approx(110)


def candidates(seed, n_cells, node, most):
    rng = np.random.default_rng(seed)
    classes = [rng.integers(0, count, n_cells) for count in range(1, most + 1)]
    features = rng.normal(size=(n_cells, 2))
    return Candidates(classes=classes, features=features, node=node, cell_ha=rng.uniform(0.1, 1, n_cells))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("zone_cost", [0.0, 3.0, 200.0])
def test_the_chosen_counts_are_the_best_of_all_combinations(seed, zone_cost):
    rng = np.random.default_rng(100 + seed)
    options = options_of(np.c_[np.zeros(12), rng.normal(0, 10, (12, 4))], zone_cost)
    soils = [candidates(seed + 7 * part, 12, rng.permutation(12), 3) for part in range(3)]
    choice = choose_counts(soils, options, None, 9)

    def money(counts):
        parts = zip(soils, counts, strict=True)
        return sum(worth_of(s.classes[n - 1], s.node, s.cell_ha, options) for s, n in parts) - zone_cost * sum(counts)

    best = max(money(counts) for counts in itertools.product([1, 2, 3], repeat=3))
    assert money(choice.counts) == pytest.approx(best)


def test_dear_zones_leave_one_a_soil_type_and_free_zones_are_used():
    rng = np.random.default_rng(5)
    net = np.c_[np.zeros(40), rng.normal(0, 10, (40, 5))]
    halves = [np.zeros(20, int), np.arange(20) % 2]
    soils = [
        Candidates(classes=halves, features=np.zeros((20, 1)), node=node, cell_ha=np.ones(20))
        for node in (np.arange(20), np.arange(20, 40))
    ]
    assert choose_counts(soils, options_of(net, 1e6), None, 8).counts == (1, 1)
    assert choose_counts(soils, options_of(net, 0.0), None, 8).counts == (2, 2)


def test_a_fixed_count_is_kept_and_one_below_the_soil_types_is_raised_to_them():
    rng = np.random.default_rng(6)
    options = options_of(np.c_[np.zeros(12), rng.normal(0, 10, (12, 4))], 1e6)
    soils = [candidates(part, 12, rng.permutation(12), 3) for part in range(2)]
    assert sum(choose_counts(soils, options, 5, 8).counts) == 5
    assert sum(choose_counts(soils, options, 1, 8).counts) == 2


def test_variance_reduction_is_that_of_an_analysis_of_variance():
    """Between over total sum of squares of two classes, worked by hand: means 1 and 5, total 20, within 4."""
    soil = Candidates(
        classes=[np.zeros(4, int), np.array([0, 0, 1, 1])],
        features=np.array([[0.0], [2.0], [4.0], [6.0]]),
        node=np.arange(4),
        cell_ha=ONES,
    )
    indices = choose_counts([soil], options_of(NET), 2, 8).indices
    assert indices.loc[indices["count"] == 2, "variance_reduction"].iloc[0] == pytest.approx(16 / 20)
    assert indices.loc[indices["count"] == 1, "variance_reduction"].iloc[0] == pytest.approx(0)


def test_the_reason_names_count_and_what_a_further_one_would_do():
    soil = Candidates(
        classes=[np.zeros(4, int), np.array([0, 1, 0, 1]), np.array([0, 1, 2, 1])],
        features=np.arange(4.0)[:, None],
        node=NODES,
        cell_ha=ONES,
    )
    choice = choose_counts([soil], options_of(NET, 10.0), None, 8)
    assert choice.counts == (2,)
    assert choice.why.startswith("2 classes")
    assert "a further one would" in choice.why
