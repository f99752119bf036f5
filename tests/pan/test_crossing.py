"""The line through the readings near a crossing, and the strength of the pan between two of them."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import trapezoid

from hardpan.pan.crossing import SHAPE_STEPS, find_peak, fit_crossing, integrate_excess, locate_crossings, mean_shape
from hardpan.pan.readings import Readings

DEPTH_MM = np.arange(0.0, 401.0, 25.0)

NO_SE = np.full((1, len(DEPTH_MM)), np.nan)

DEEP_MM = np.arange(0.0, 601.0, 25.0)
TRIANGLE = np.clip(4000.0 - 20.0 * np.abs(DEEP_MM - 300.0), 500.0, None)
"""2,000 kPa at 200 and 400 mm, 4,000 kPa at 300 mm."""


def readings(value, *, thickness_mm=0.0, at_least=None):
    value = np.atleast_2d(np.asarray(value, dtype=float))
    return Readings(
        depth_mm=np.broadcast_to(DEPTH_MM, value.shape),
        thickness_mm=np.full(value.shape, thickness_mm),
        cone_index_kpa=value,
        at_least=np.zeros(value.shape, dtype=bool) if at_least is None else np.atleast_2d(at_least),
        held=np.zeros(value.shape, dtype=bool),
        se_kpa=np.full(value.shape, np.nan),
    )


def locate(given, start_mm, above, *, rising=False):
    return locate_crossings(
        given,
        np.array([start_mm]),
        np.array([above]),
        np.array([True]),
        drift_mm=np.array([np.inf]),
        rising=rising,
        threshold_kpa=2000.0,
        noise_share=0.08,
    )


def test_a_straight_flank_is_crossed_exactly():
    crossing = locate(readings(1000.0 + 8.0 * DEPTH_MM), 130.0, 5, rising=True)
    assert crossing.mm[0] == pytest.approx(125.0, abs=1e-6)


def test_the_error_is_that_of_weighted_least_squares():
    # Independent of the code: numpy's weighted polynomial fit gives the covariance of the line's two coefficients.
    slope, noise = 8.0, 160.0
    value = 1000.0 + slope * DEPTH_MM
    window = 70.0
    _, error, _ = fit_crossing(
        DEPTH_MM[None, :],
        value[None, :],
        np.array([131.0]),
        drift_mm=np.array([np.inf]),
        rising=True,
        threshold_kpa=2000.0,
        window_mm=np.array([window]),
        se=NO_SE,
    )
    weight = np.clip(1.0 - np.abs(DEPTH_MM - 125.0) / window, 0.0, None)
    near = weight > 0
    design = np.column_stack([np.ones(near.sum()), DEPTH_MM[near] - 125.0])
    gain = np.linalg.solve(design.T @ (weight[near, None] * design), (design * weight[near, None]).T)
    expected = noise * np.sqrt((gain @ gain.T)[0, 0]) / slope
    assert noise * error[0] == pytest.approx(expected, rel=1e-9)


def test_between_layer_means_the_interval_holds_both_layers():
    mids = DEPTH_MM + 12.5
    given = readings(np.where(DEPTH_MM < 200.0, 3000.0, 1000.0), thickness_mm=25.0)
    crossing = locate(given, 187.5, 7)
    assert (crossing.low_mm[0], crossing.high_mm[0]) == (mids[7] - 25.0, mids[8])
    assert crossing.mm[0] == 187.5
    # Standard deviation of a symmetric triangular distribution: its width over the root of 24.
    assert crossing.sd_mm[0] == pytest.approx(50.0 / np.sqrt(24.0))


def test_beside_a_reading_at_the_limit_it_can_be_anywhere_in_the_step():
    value = np.where(DEPTH_MM < 200.0, 5000.0, 1000.0)
    crossing = locate(readings(value, at_least=value == 5000.0), 193.75, 7)
    assert (crossing.low_mm[0], crossing.mm[0], crossing.high_mm[0]) == (175.0, 193.75, 200.0)
    assert crossing.sd_mm[0] == pytest.approx(25.0 / np.sqrt(12.0))


def test_readings_without_a_slope_leave_the_first_guess():
    depth, error, _ = fit_crossing(
        DEPTH_MM[None, :],
        np.full((1, len(DEPTH_MM)), 2100.0),
        np.array([130.0]),
        drift_mm=np.array([np.inf]),
        rising=True,
        threshold_kpa=2000.0,
        window_mm=np.array([40.0]),
        se=NO_SE,
    )
    assert depth[0] == 130.0
    assert error[0] == pytest.approx(40.0 / 2000.0)


def test_insertions_without_a_crossing_get_none():
    given = readings(np.vstack([1000.0 + 8.0 * DEPTH_MM, np.full(DEPTH_MM.shape, 900.0)]))
    crossing = locate_crossings(
        given,
        np.array([125.0, np.nan]),
        np.array([5, -1]),
        np.array([True, False]),
        drift_mm=np.array([np.inf, np.inf]),
        rising=True,
        threshold_kpa=2000.0,
        noise_share=0.08,
    )
    assert np.isnan(crossing.mm[1])
    assert np.isfinite(crossing.mm[0])


def test_on_wide_steps_the_two_readings_beside_the_crossing_decide():
    value = np.where(DEPTH_MM < 200.0, 800.0, 3500.0)
    wide = Readings(
        depth_mm=4.0 * DEPTH_MM[None, :],
        thickness_mm=np.zeros((1, len(DEPTH_MM))),
        cone_index_kpa=value[None, :],
        at_least=np.zeros((1, len(DEPTH_MM)), dtype=bool),
        held=np.zeros((1, len(DEPTH_MM)), dtype=bool),
        se_kpa=np.full((1, len(DEPTH_MM)), np.nan),
    )
    straight_mm = 700.0 + 100.0 * (2000.0 - 800.0) / (3500.0 - 800.0)
    assert locate(wide, straight_mm, 7, rising=True).mm[0] == pytest.approx(straight_mm, abs=1.0)


def test_a_crossing_does_not_drift_beyond_its_reach():
    value = 1000.0 + 8.0 * DEPTH_MM
    given = (DEPTH_MM[None, :], value[None, :], np.array([135.0]))
    held, _, _ = fit_crossing(
        *given, drift_mm=np.array([5.0]), rising=True, threshold_kpa=2000.0, window_mm=np.array([40.0]), se=NO_SE
    )
    assert held[0] == 135.0


def deep_readings(value, thickness_mm=0.0):
    value = np.atleast_2d(value)
    return Readings(
        depth_mm=np.broadcast_to(DEEP_MM[: value.shape[1]], value.shape),
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
    assert integrate_excess(deep_readings(TRIANGLE), *ends(TRIANGLE), 2000.0)[0] == pytest.approx(0.5 * 200.0 * 2000.0)


def test_the_excess_does_not_depend_on_where_the_steps_fall():
    shifted = np.clip(4000.0 - 20.0 * np.abs(DEEP_MM - 310.0), 500.0, None)
    # The peak lies between two readings: the straight line cuts off less than half a step times its height.
    assert integrate_excess(deep_readings(shifted), *ends(shifted), 2000.0)[0] == pytest.approx(200_000.0, rel=0.02)


def test_the_excess_of_layer_means_is_mean_times_thickness():
    value = np.array([1000.0, 2500.0, 3000.0, 1000.0])
    total = integrate_excess(deep_readings(value, 25.0), np.array([1]), np.array([2]), 2000.0)
    assert total[0] == pytest.approx(500.0 * 25.0 + 1000.0 * 25.0)


def test_a_second_layer_below_adds_nothing():
    both = np.maximum(TRIANGLE, np.where(DEEP_MM >= 500.0, 3500.0, 0.0))
    assert integrate_excess(deep_readings(both), *ends(TRIANGLE), 2000.0)[0] == pytest.approx(200_000.0)


def test_the_peak_is_the_highest_reading_of_the_pan():
    peak, depth, _ = find_peak(deep_readings(np.vstack([TRIANGLE, TRIANGLE])), np.array([8, -1]), np.array([16, -1]))
    assert (peak[0], depth[0]) == (4000.0, 300.0)
    assert np.isnan([peak[1], depth[1]]).all()


def test_the_shape_of_a_triangle_rises_and_falls_in_proportion_and_sums_to_one():
    shape = mean_shape(deep_readings(TRIANGLE), pd.Series([200.0]), pd.Series([400.0]), 2000.0)
    share = (np.arange(SHAPE_STEPS) + 0.5) / SHAPE_STEPS
    expected = np.minimum(share, 1.0 - share)
    assert shape == pytest.approx(expected / expected.sum())
    assert shape.sum() == pytest.approx(1.0)


def test_without_a_pan_the_shape_is_flat():
    shape = mean_shape(deep_readings(TRIANGLE), pd.Series([np.nan]), pd.Series([np.nan]), 2000.0)
    assert shape == pytest.approx(np.full(SHAPE_STEPS, 1.0 / SHAPE_STEPS))


def test_where_no_pan_was_seen_to_its_bottom_the_shape_is_that_of_what_was_read():
    """A flat one would take the soil below the hardest layer for as hard as that."""
    on_hard = np.maximum(TRIANGLE, 1700.0)
    shape = mean_shape(deep_readings(on_hard), pd.Series([200.0]), pd.Series([np.nan]), 1500.0)
    end_mm = DEEP_MM.max()
    at = 200.0 + (np.arange(SHAPE_STEPS) + 0.5) / SHAPE_STEPS * (end_mm - 200.0)
    expected = np.interp(at, DEEP_MM, on_hard) - 1500.0
    assert shape == pytest.approx(expected / expected.sum())


def test_one_pan_seen_to_its_bottom_decides_the_shape_of_all():
    both = deep_readings(np.vstack([TRIANGLE, np.maximum(TRIANGLE, 1700.0)]))
    alone = mean_shape(deep_readings(TRIANGLE), pd.Series([200.0]), pd.Series([400.0]), 2000.0)
    assert mean_shape(both, pd.Series([200.0, 200.0]), pd.Series([400.0, np.nan]), 2000.0) == pytest.approx(alone)


@pytest.mark.parametrize("off_mm", [5.0, 10.0, 17.0])
def test_flanks_that_cross_the_threshold_between_readings_count_with_their_triangles(off_mm):
    """Against the integral of the straight lines between readings, summed at every tenth of a millimetre."""
    steep = np.clip(4000.0 - 60.0 * np.abs(DEEP_MM - 300.0 - off_mm), 500.0, None)
    fine_mm = np.arange(0.0, 600.0, 0.1)
    over = np.maximum(np.interp(fine_mm, DEEP_MM, steep) - 2000.0, 0.0)
    found = integrate_excess(deep_readings(steep), *ends(steep), 2000.0)[0]
    assert found == pytest.approx(trapezoid(over, fine_mm), rel=1e-4)
