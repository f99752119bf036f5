"""Peak, excess and shape on profiles whose integrals are known."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import trapezoid

from hardpan.pan.excess import SHAPE_STEPS, find_peak, integrate_excess, mean_shape
from hardpan.pan.readings import Readings

DEPTH_MM = np.arange(0.0, 601.0, 25.0)
TRIANGLE = np.clip(4000.0 - 20.0 * np.abs(DEPTH_MM - 300.0), 500.0, None)
"""2,000 kPa at 200 and 400 mm, 4,000 kPa at 300 mm."""


def readings(value, thickness_mm=0.0):
    value = np.atleast_2d(value)
    return Readings(
        depth_mm=np.broadcast_to(DEPTH_MM[: value.shape[1]], value.shape),
        thickness_mm=np.full(value.shape, thickness_mm),
        cone_index_kpa=value,
        at_least=np.zeros(value.shape, dtype=bool),
        held=np.zeros(value.shape, dtype=bool),
        se_kpa=np.full(value.shape, np.nan),
    )


def ends(value):
    hard = np.flatnonzero(value >= 2000.0)
    return np.array([hard[0]]), np.array([hard[-1]])


def test_the_excess_of_a_triangle_is_its_area():
    assert integrate_excess(readings(TRIANGLE), *ends(TRIANGLE), 2000.0)[0] == pytest.approx(0.5 * 200.0 * 2000.0)


def test_the_excess_does_not_depend_on_where_the_steps_fall():
    shifted = np.clip(4000.0 - 20.0 * np.abs(DEPTH_MM - 310.0), 500.0, None)
    # The peak lies between two readings: the straight line cuts off less than half a step times its height.
    assert integrate_excess(readings(shifted), *ends(shifted), 2000.0)[0] == pytest.approx(200_000.0, rel=0.02)


def test_the_excess_of_layer_means_is_mean_times_thickness():
    value = np.array([1000.0, 2500.0, 3000.0, 1000.0])
    total = integrate_excess(readings(value, 25.0), np.array([1]), np.array([2]), 2000.0)
    assert total[0] == pytest.approx(500.0 * 25.0 + 1000.0 * 25.0)


def test_a_second_layer_below_adds_nothing():
    both = np.maximum(TRIANGLE, np.where(DEPTH_MM >= 500.0, 3500.0, 0.0))
    assert integrate_excess(readings(both), *ends(TRIANGLE), 2000.0)[0] == pytest.approx(200_000.0)


def test_the_peak_is_the_highest_reading_of_the_pan():
    peak, depth, _ = find_peak(readings(np.vstack([TRIANGLE, TRIANGLE])), np.array([8, -1]), np.array([16, -1]))
    assert (peak[0], depth[0]) == (4000.0, 300.0)
    assert np.isnan([peak[1], depth[1]]).all()


def test_the_shape_of_a_triangle_rises_and_falls_in_proportion_and_sums_to_one():
    shape = mean_shape(readings(TRIANGLE), pd.Series([200.0]), pd.Series([400.0]), 2000.0)
    share = (np.arange(SHAPE_STEPS) + 0.5) / SHAPE_STEPS
    expected = np.minimum(share, 1.0 - share)
    assert shape == pytest.approx(expected / expected.sum())
    assert shape.sum() == pytest.approx(1.0)


def test_without_a_pan_the_shape_is_flat():
    shape = mean_shape(readings(TRIANGLE), pd.Series([np.nan]), pd.Series([np.nan]), 2000.0)
    assert shape == pytest.approx(np.full(SHAPE_STEPS, 1.0 / SHAPE_STEPS))


def test_where_no_pan_was_seen_to_its_bottom_the_shape_is_that_of_what_was_read():
    """A flat one would take the soil below the hardest layer for as hard as that."""
    on_hard = np.maximum(TRIANGLE, 1700.0)
    shape = mean_shape(readings(on_hard), pd.Series([200.0]), pd.Series([np.nan]), 1500.0)
    end_mm = DEPTH_MM.max()
    at = 200.0 + (np.arange(SHAPE_STEPS) + 0.5) / SHAPE_STEPS * (end_mm - 200.0)
    expected = np.interp(at, DEPTH_MM, on_hard) - 1500.0
    assert shape == pytest.approx(expected / expected.sum())


def test_one_pan_seen_to_its_bottom_decides_the_shape_of_all():
    both = readings(np.vstack([TRIANGLE, np.maximum(TRIANGLE, 1700.0)]))
    alone = mean_shape(readings(TRIANGLE), pd.Series([200.0]), pd.Series([400.0]), 2000.0)
    assert mean_shape(both, pd.Series([200.0, 200.0]), pd.Series([400.0, np.nan]), 2000.0) == pytest.approx(alone)


@pytest.mark.parametrize("off_mm", [5.0, 10.0, 17.0])
def test_flanks_that_cross_the_threshold_between_readings_count_with_their_triangles(off_mm):
    """Against the integral of the straight lines between readings, summed at every tenth of a millimetre."""
    steep = np.clip(4000.0 - 60.0 * np.abs(DEPTH_MM - 300.0 - off_mm), 500.0, None)
    fine_mm = np.arange(0.0, 600.0, 0.1)
    over = np.maximum(np.interp(fine_mm, DEPTH_MM, steep) - 2000.0, 0.0)
    found = integrate_excess(readings(steep), *ends(steep), 2000.0)[0]
    assert found == pytest.approx(trapezoid(over, fine_mm), rel=1e-4)
