import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import silhouette_score

from builders import records
from hardpan.records.decision import PrescriptionSettings
from hardpan.zones.classes import (
    SoilClasses,
    choose_counts,
    class_value,
    fitted_only,
    joined_by_money,
    node_value,
    worth_of,
)

NET = [[0, 30, 10], [0, -20, 25], [0, 5, -np.inf], [0, -8, -9]]
NODES = np.arange(4)


def value(net, *, fitted=None, cost=0.0, limit_slack=0.0, covered=None, cover_share=None):
    """What a hectare of each node is worth; `cover_share` asks for the rule `cover`."""
    net = np.asarray(net, dtype=float)
    options = records.options(
        net,
        cost=np.full(net.shape, cost),
        covered=np.asarray(covered or np.ones(net.shape), dtype=float),
        fitted=np.ones(net.shape[1], dtype=bool) if fitted is None else np.asarray(fitted),
    )
    rule = {} if cover_share is None else {"rule": "cover", "cover_share": cover_share}
    return node_value(fitted_only(options), PrescriptionSettings(limit_slack=limit_slack, **rule))


def test_each_class_gets_its_own_best_option():
    one = worth_of(np.array([0, 1, 0, 2]), NODES, np.ones(4), value(NET))
    assert one == pytest.approx((30 + 5) + 25 + 0)


def test_an_option_forbidden_anywhere_in_a_class_is_out():
    per_ha = value([[0, 50, 100], [0, 10, -np.inf]])
    assert worth_of(np.array([0, 0]), np.array([0, 1]), np.ones(2), per_ha) == pytest.approx(60)
    assert worth_of(np.array([0, 1]), np.array([0, 1]), np.ones(2), per_ha) == pytest.approx(110)


def test_a_limit_may_be_passed_on_its_slack_where_ripping_costs_and_gains_nothing():
    net = [[0, 50, 100], [0, 10, -np.inf]]
    ground = (np.zeros(2, int), np.array([0, 1]), np.array([9.9, 0.1]))
    assert worth_of(*ground, value(net, cost=30, limit_slack=0.02)) == pytest.approx(990 - 3)
    assert worth_of(*ground, value(net, cost=30, limit_slack=0.005)) == pytest.approx(495 + 1)


def test_under_cover_a_class_takes_what_reaches_below_its_pan_even_at_a_loss():
    net, covers = [[0, -20, -50], [0, -20, -50]], [[0.0, 1.0, 1.0], [0.0, 0.2, 1.0]]
    ground = (np.array([0, 1]), np.ones(2))
    together, apart = np.zeros(2, int), np.array([0, 1])
    covered = value(net, covered=covers, cover_share=0.9)
    assert worth_of(together, *ground, covered) == pytest.approx(-100)
    assert worth_of(apart, *ground, covered) == pytest.approx(-20 - 50)  # the shallow part goes shallower
    assert worth_of(together, *ground, value(net, covered=covers)) == pytest.approx(0)


def test_under_cover_ground_without_a_pan_may_be_left_and_the_nearest_is_taken_where_none_reaches():
    net = [[0, -20], [0, -20]]
    per_ha = value(net, covered=[[1.0, 1.0], [0.1, 0.6]], cover_share=0.9)
    assert worth_of(np.array([0, 1]), np.array([0, 1]), np.ones(2), per_ha) == pytest.approx(0 - 20)


def test_what_needs_a_set_up_that_is_not_fitted_is_worth_nothing():
    """Option 1 belongs to the set-up fitted, option 2 to another that is best on the second ground."""
    per_ha = value([[0, 10, 4], [0, 6, 9]], fitted=[True, True, False])
    assert worth_of(np.array([0, 1]), np.array([0, 1]), np.ones(2), per_ha) == pytest.approx(10 + 6)


def test_worth_counts_by_area():
    worth = worth_of(np.zeros(2, int), np.array([0, 1]), np.array([1.0, 4.0]), value(NET))
    assert worth == pytest.approx(110)


@given(st.integers(0, 10_000), st.integers(2, 7))
def test_splitting_a_class_never_lowers_its_worth(seed, count):
    rng = np.random.default_rng(seed)
    net = np.c_[np.zeros(20), np.where(rng.random((20, 4)) < 0.1, -np.inf, rng.normal(0, 10, (20, 4)))]
    coarse = rng.integers(0, count, 60)
    coarse[:count] = np.arange(count)
    fine = 2 * coarse + rng.integers(0, 2, 60)
    node, cell_ha = rng.integers(0, 20, 60), rng.uniform(0.1, 1, 60)
    fine = np.unique(fine, return_inverse=True)[1]
    per_ha = value(net)
    assert worth_of(fine, node, cell_ha, per_ha) >= worth_of(coarse, node, cell_ha, per_ha) - 1e-9


@given(st.integers(0, 10_000))
def test_joined_classes_are_nested_and_worth_what_they_say(seed):
    rng = np.random.default_rng(seed)
    per_ha = value(np.c_[np.zeros(30), rng.normal(0, 10, (30, 5))])
    fine, node, cell_ha = np.arange(90) % 9, rng.integers(0, 30, 90), rng.uniform(0.1, 1, 90)
    found = joined_by_money(fine, rng.normal(size=(90, 3)), class_value(fine, node, cell_ha, per_ha))
    assert [classes.max() + 1 for classes, _ in found] == list(range(1, 10))
    for (coarse, low), (finer, high) in itertools.pairwise(found):
        assert high >= low - 1e-9
        assert all(np.unique(coarse[finer == number]).size == 1 for number in range(finer.max() + 1))
    for classes, worth in found:
        assert worth == pytest.approx(worth_of(classes, node, cell_ha, per_ha))


def test_classes_of_the_same_best_option_join_first_and_the_likest_of_them():
    per_ha = value([[0, 10, 0], [0, 10, 0], [0, 10, 0], [0, 0, 10]])
    features = np.array([[0.0], [5.0], [6.0], [5.5]])
    found = joined_by_money(NODES, features, class_value(NODES, NODES, np.ones(4), per_ha))
    three, two = found[2][0], found[1][0]
    assert three[1] == three[2] != three[0]
    assert two[0] == two[1] == two[2] != two[3]
    assert found[1][1] == pytest.approx(40)


def candidates(worth, classes=None, features=None):
    classes = [np.arange(12) % count for count in range(1, len(worth) + 1)] if classes is None else classes
    features = np.arange(12.0)[:, None] if features is None else features
    return SoilClasses(classes=classes, worth=list(worth), features=features)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("zone_cost", [0.0, 3.0, 200.0])
def test_the_chosen_counts_are_the_best_of_all_combinations(seed, zone_cost):
    worths = np.random.default_rng(seed).normal(0, 10, (3, 4)).round(2).cumsum(axis=1)  # whole cents
    choice = choose_counts([candidates(worth) for worth in worths], 0.0, zone_cost, None, 12)

    def money(counts):
        return sum(worth[n - 1] for worth, n in zip(worths, counts, strict=True)) - zone_cost * (sum(counts) - 1)

    best = max(money(counts) for counts in itertools.product([1, 2, 3, 4], repeat=3))
    assert money(choice.counts) == pytest.approx(best)
    assert choice.indices.loc[choice.indices["chosen"], "net_gain"].iloc[0] == pytest.approx(best)


def test_dear_zones_leave_one_a_soil_type_and_free_zones_are_used():
    soils = [candidates([10, 40, 45]), candidates([0, 5, 5.5])]
    assert choose_counts(soils, 0.0, 1e6, None, 8).counts == (1, 1)
    assert choose_counts(soils, 0.0, 0.0, None, 8).counts == (3, 3)
    assert choose_counts(soils, 0.0, 4.9, None, 8).counts == (3, 2)


def test_a_fixed_count_is_kept_and_one_below_the_soil_types_is_raised_to_them():
    soils = [candidates([10, 40, 45]), candidates([0, 5, 5.5])]
    assert choose_counts(soils, 0.0, 1e6, 5, 8).counts == (3, 2)
    assert choose_counts(soils, 0.0, 0.0, 1, 8).counts == (1, 1)


def test_no_more_than_the_most_are_tried_but_always_one_a_soil_type():
    soils = [candidates([1, 2, 3]) for _ in range(3)]
    assert choose_counts(soils, 0.0, 0.0, None, 4).indices["count"].tolist() == [3, 4]
    assert choose_counts(soils, 0.0, 0.0, None, 1).indices["count"].tolist() == [3]


def test_variance_reduction_is_that_of_an_analysis_of_variance():
    """Between over total sum of squares of two classes, worked by hand: means 1 and 5, total 20, within 4."""
    classes = [np.zeros(4, int), np.array([0, 0, 1, 1])]
    soil = candidates([0, 0], classes, np.array([[0.0], [2.0], [4.0], [6.0]]))
    indices = choose_counts([soil], 0.0, 0.0, 2, 8).indices
    assert indices["variance_reduction"].tolist() == [pytest.approx(0), pytest.approx(16 / 20)]


def test_the_silhouette_is_the_librarys_over_all_cells_of_small_ground():
    rng = np.random.default_rng(1)
    features = rng.normal(size=(60, 2)) + np.repeat([[0, 0], [3, 0]], 30, axis=0)
    classes = [np.zeros(60, int), np.repeat([0, 1], 30)]
    indices = choose_counts([candidates([0, 0], classes, features)], 0.0, 0.0, 2, 8).indices
    assert indices["silhouette"].tolist() == [0.0, pytest.approx(silhouette_score(features, classes[1]))]


def test_the_reason_names_count_and_what_a_further_one_would_do():
    choice = choose_counts([candidates([0, 100, 104])], 0.0, 10.0, None, 8)
    assert choice.counts == (2,)
    reason = choice.reason
    assert (reason.classes, reason.net_gain, reason.given) == (2, 90.0, False)
    assert (reason.further_loss, reason.zone_cost) == (6.0, 10.0)
