"""Readings on one grid of depths."""

import numpy as np
import pandas as pd
import pytest

from hardpan.verify.profiles import depths_mm, excess, gridded, loose_to_mm


def readings(kpa, *, stop="rod end", step=25.0, name="a"):
    depth = step * (1 + np.arange(len(kpa)))
    return pd.DataFrame(
        {"insertion": name, "site": "s", "stop": stop, "x_m": 0.0, "y_m": 0.0, "depth_mm": depth,
         "cone_index_kpa": kpa, "theta": np.nan}
    )  # fmt: skip


def grid_of(*levels):
    """Cone index by (from depth, kPa) steps, one insertion."""
    depth, kpa = depths_mm(), np.zeros((1, depths_mm().size))
    for start, level in levels:
        kpa[0, depth >= start] = level
    return kpa


def test_readings_lie_on_straight_lines_and_nothing_is_known_below_the_last():
    one = gridded(readings([1000.0, 2000.0]))
    depth = depths_mm()
    assert one.kpa[0, depth == 30.0] == pytest.approx(1200.0)
    assert (one.kpa[0, depth < 25.0] == 1000.0).all()
    assert np.isnan(one.kpa[0, depth > 50.0]).all()


def test_ground_that_stopped_the_rod_stays_as_hard_below():
    one = gridded(readings([1000.0, 4000.0], stop="refusal"))
    assert (one.kpa[0, depths_mm() > 50.0] == 4000.0).all()


def test_excess_is_the_area_above_the_threshold():
    kpa = grid_of((0, 1000.0), (200, 3500.0), (300, 1000.0))
    assert excess(kpa, 2500.0, 700.0)[0] == pytest.approx(1000.0 * 100.0)
    assert excess(kpa, 2500.0, 245.0)[0] == pytest.approx(1000.0 * 50.0)


def test_ground_is_loose_down_to_the_first_hard_layer_that_is_no_crust():
    assert loose_to_mm(grid_of((0, 900.0), (300, 3000.0)), 2500.0, 500.0)[0] == 300.0
    assert loose_to_mm(grid_of((0, 3000.0), (60, 900.0), (420, 3000.0)), 2500.0, 500.0)[0] == 420.0
    assert loose_to_mm(grid_of((0, 900.0), (200, 3000.0), (230, 900.0)), 2500.0, 500.0)[0] == 500.0  # a stone


def test_a_record_that_ends_in_soft_ground_above_the_working_depth_says_nothing():
    short = grid_of((0, 900.0))
    short[0, depths_mm() > 300.0] = np.nan
    assert np.isnan(loose_to_mm(short, 2500.0, 500.0)[0])
    assert loose_to_mm(short, 2500.0, 300.0)[0] == 300.0
