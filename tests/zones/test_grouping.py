import itertools
from dataclasses import replace

import numpy as np
import pytest
import threadpoolctl
import xarray as xr
from scipy import ndimage
from sklearn.cluster import AgglomerativeClustering
from sklearn.feature_extraction.image import grid_to_graph
from sklearn.metrics import adjusted_rand_score

from hardpan.zones.grouping import cell_features, expected_bottom_mm, group

NONE = xr.Dataset()


def with_maps(made, **changes):
    surfaces = made.paddock(side_m=(200, 200)).surfaces
    maps = {name: (("y", "x"), np.broadcast_to(values, surfaces.frame.shape)) for name, values in changes.items()}
    return replace(surfaces, maps=surfaces.maps.assign(maps))


def features_of(surfaces, covariates=NONE, width_cells=1):
    source = np.arange(surfaces.inside.size).reshape(surfaces.inside.shape)
    return cell_features(surfaces, covariates, source, surfaces.inside, width_cells=width_cells)


def test_features_are_centred_and_constant_maps_are_left_out(made):
    surfaces = with_maps(made)
    features = features_of(surfaces)
    assert features.shape == (surfaces.inside.size, 1)  # only the bottom varies on this paddock
    assert features.mean() == pytest.approx(0, abs=1e-6)


def test_a_map_without_error_is_scaled_by_its_own_spread(made):
    surfaces = with_maps(made, pan_bottom_sd_mm=0.0, pan_probability=1.0)
    assert features_of(surfaces).std() == pytest.approx(1, abs=1e-5)


def test_an_uncertain_map_weighs_less(made):
    sure, unsure = (with_maps(made, pan_bottom_sd_mm=sd) for sd in (5.0, 200.0))
    assert np.ptp(features_of(unsure)) < 0.5 * np.ptp(features_of(sure))


def test_where_there_is_no_pan_its_depth_does_not_matter(made):
    rows, _ = np.indices((20, 20))
    surfaces = with_maps(made, pan_probability=np.where(rows < 10, 0.0, 1.0))
    features = features_of(surfaces).reshape(20, 20, -1)
    assert np.ptp(features[:10], axis=(0, 1)).max() == 0
    assert np.ptp(features[10:], axis=(0, 1)).max() > 0


def test_missing_clay_depth_and_covariates_count_as_the_mean(made):
    clay = np.full((20, 20), np.nan)
    clay[:, :5], clay[:, 5:10] = 300.0, 500.0
    surfaces = with_maps(made, clay_depth_mm=clay)
    eca = xr.Dataset({"eca": (("y", "x"), np.where(np.isnan(clay), np.nan, surfaces.maps["pan_bottom_mm"]))})
    features = features_of(surfaces, eca)
    assert features.shape[1] == 3
    assert (features[np.isnan(clay).ravel(), 1:] == 0).all()
    assert np.isfinite(features).all()


def test_a_covariate_counts_as_far_as_it_goes_along_with_the_pan(made):
    surfaces = with_maps(made)
    noise = np.random.default_rng(1).normal(size=surfaces.frame.shape)
    twin = xr.Dataset({"eca": (("y", "x"), -surfaces.maps["pan_bottom_mm"].to_numpy())})
    stranger = xr.Dataset({"eca": (("y", "x"), noise)})
    assert features_of(surfaces, twin)[:, 1].std() == pytest.approx(1, abs=1e-5)
    assert features_of(surfaces, stranger)[:, 1].std() < 0.2


def test_features_are_means_over_the_width_and_stay_inside_the_cells(made):
    surfaces = with_maps(made, pan_bottom_mm=400 + 100 * (np.indices((20, 20)).sum(axis=0) % 2))
    assert features_of(surfaces, width_cells=5).std() < 0.1 * features_of(surfaces).std()


def test_a_paddock_without_any_pan_map_gives_one_column_of_zeros(made):
    surfaces = with_maps(made, pan_probability=0.0, pan_bottom_mm=np.nan, pan_top_mm=np.nan, peak_kpa=np.nan)
    features = features_of(surfaces)
    assert (features == np.zeros((400, 1))).all()
    assert (expected_bottom_mm(surfaces) == 0).all()


SHAPE = (30, 40)
ALL = np.ones(SHAPE, dtype=bool)


def planted(noise, seed=1):
    rows, columns = np.indices(SHAPE)
    truth = np.where(columns < 14, 0, np.where(rows < 15, 1, 2)).ravel()
    centres = np.array([[-2.0, 0.0], [1.0, 2.0], [1.0, -2.0]])
    return truth, centres[truth] + np.random.default_rng(seed).normal(0, noise, (truth.size, 2))


@pytest.mark.parametrize("method", ["kmeans", "mixture", "ward"])
def test_a_single_cell_is_one_class(method):
    assert group(np.ones((1, 2)), np.ones((1, 1), dtype=bool), 3, method, seed=1).tolist() == [0]


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
