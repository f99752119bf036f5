import itertools

import numpy as np
import pytest
from sklearn.metrics import silhouette_score

from hardpan.zones.choice import Candidates, choose_counts


def candidates(worth, classes=None, features=None):
    classes = [np.arange(12) % count for count in range(1, len(worth) + 1)] if classes is None else classes
    features = np.arange(12.0)[:, None] if features is None else features
    return Candidates(classes=classes, worth=list(worth), features=features)


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
    assert choice.why == (
        "2 classes are expected to be worth 90 more than one depth everywhere; "
        "a further one would lower that by 6 (it costs 10 in setting and turning)."
    )
