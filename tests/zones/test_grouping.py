import itertools

import numpy as np
import pytest
import threadpoolctl
from scipy import ndimage
from sklearn.cluster import AgglomerativeClustering
from sklearn.feature_extraction.image import grid_to_graph
from sklearn.metrics import adjusted_rand_score

from hardpan.zones.grouping import group

SHAPE = (30, 40)
ALL = np.ones(SHAPE, dtype=bool)


def planted(noise, seed=1):
    rows, columns = np.indices(SHAPE)
    truth = np.where(columns < 14, 0, np.where(rows < 15, 1, 2)).ravel()
    centres = np.array([[-2.0, 0.0], [1.0, 2.0], [1.0, -2.0]])
    return truth, centres[truth] + np.random.default_rng(seed).normal(0, noise, (truth.size, 2))


@pytest.mark.parametrize("method", ["kmeans", "mixture", "ward"])
def test_planted_classes_are_found(method):
    truth, features = planted(0.2)
    classes = group(features, ALL, 3, method, seed=1)
    assert np.unique(classes).tolist() == [0, 1, 2]
    assert adjusted_rand_score(truth, classes) == pytest.approx(1.0)


@pytest.mark.parametrize("method", ["kmeans", "mixture", "ward"])
def test_ground_that_is_all_alike_gives_one_class(method):
    assert (group(np.zeros((ALL.sum(), 1)), ALL, 5, method, seed=1) == 0).all()


@pytest.mark.parametrize("method", ["kmeans", "mixture", "ward"])
def test_the_number_of_threads_changes_nothing(method):
    _, features = planted(1.0)
    with threadpoolctl.threadpool_limits(limits=1):
        one = group(features, ALL, 5, method, seed=2)
    with threadpoolctl.threadpool_limits(limits=2):
        two = group(features, ALL, 5, method, seed=2)
    assert (one == two).all()


def test_ward_agrees_with_the_library_at_every_count():
    _, features = planted(1.0, seed=3)
    links = grid_to_graph(*SHAPE)
    for count in range(1, 7):
        classes = group(features, ALL, count, "ward", seed=1)
        theirs = AgglomerativeClustering(count, connectivity=links, linkage="ward").fit(features).labels_
        assert adjusted_rand_score(theirs, classes) == pytest.approx(1.0)


def test_ward_classes_are_in_one_piece_and_nested():
    _, features = planted(1.0, seed=4)
    cuts = [group(features, ALL, count, "ward", seed=1) for count in range(1, 8)]
    for coarse, fine in itertools.pairwise(cuts):
        for number in range(fine.max() + 1):
            own = (fine == number).reshape(SHAPE)
            assert ndimage.label(own)[1] == 1
            assert np.unique(coarse[own.ravel()]).size == 1


def test_ward_takes_ground_in_two_parts():
    cells = ALL.copy()
    cells[:, 18:22] = False
    _, features = planted(0.5)
    for count in (1, 2, 3):
        classes = group(features[cells.ravel()], cells, count, "ward", seed=1)
        assert np.unique(classes).tolist() == list(range(count))


def test_large_ground_is_grouped_in_blocks():
    shape = (120, 160)
    rows, _ = np.indices(shape)
    features = np.where(rows < 61, 0.0, 1.0).reshape(-1, 1)
    two = group(features, np.ones(shape, dtype=bool), 2, "ward", seed=1).reshape(shape)
    assert (two[:60] == two[0, 0]).all()
    assert (two[63:] == two[-1, 0]).all()
    assert two[0, 0] != two[-1, 0]
