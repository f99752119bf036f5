"""Hard layers on profiles small enough to work out by hand."""

import numpy as np
import pytest

from hardpan.pan.layers import find_layers
from hardpan.pan.readings import Readings

RULE = {"threshold_kpa": 2000.0, "hysteresis_kpa": 200.0, "min_thickness_mm": 50.0}


def layers(depth_mm, *profiles, stopped=False, thickness_mm=0.0):
    value = np.array(profiles, dtype=float)
    readings = Readings(
        depth_mm=np.broadcast_to(np.asarray(depth_mm, dtype=float), value.shape),
        thickness_mm=np.full(value.shape, thickness_mm),
        cone_index_kpa=value,
        at_least=np.zeros(value.shape, dtype=bool),
        held=np.zeros(value.shape, dtype=bool),
        se_kpa=np.full(value.shape, np.nan),
    )
    return find_layers(readings, np.full(len(value), stopped), **RULE)


DEPTH_MM = [0, 50, 100, 150, 200, 250, 300, 350]


def test_the_crossing_is_interpolated_between_readings():
    found = layers(DEPTH_MM, [1000, 1000, 1000, 3000, 3000, 3000, 1500, 1000])
    # Up: 100 mm + 50 mm * 1000/2000; down: 250 mm + 50 mm * 1000/1500.
    assert found.loc[0, ["top_mm", "bottom_mm"]].tolist() == pytest.approx([125.0, 250.0 + 100.0 / 3.0])
    assert found.loc[0, ["top_at", "bottom_at", "closed"]].tolist() == [3, 5, True]


def test_a_dip_too_small_to_drain_the_store_does_not_end_the_layer():
    found = layers(DEPTH_MM, [1000, 1000, 3000, 1850, 3000, 3000, 1000, 1000])
    assert len(found) == 1
    assert found.loc[0, "bottom_mm"] == pytest.approx(275.0)


def test_ground_that_stays_a_little_below_the_threshold_ends_the_layer_where_it_fell_below():
    found = layers(DEPTH_MM, [1000, 3000, 3000, 1900, 1900, 1900, 1900, 1900])
    # 100 kPa below for 100 mm is the 200 kPa * 50 mm that it takes.
    assert found["closed"].tolist() == [True]
    assert found.loc[0, "bottom_mm"] == pytest.approx(100.0 + 50.0 * 1000.0 / 1100.0)
    briefly = layers(DEPTH_MM, [1000, 3000, 3000, 1900, np.nan, np.nan, np.nan, np.nan])
    assert briefly["closed"].tolist() == [False]


def test_a_soft_gap_as_thick_as_the_least_thickness_ends_the_layer():
    found = layers([*DEPTH_MM, 400], [1000, 3000, 3000, 1000, 1000, 3000, 3000, 1000, 1000])
    assert found["top_mm"].tolist() == pytest.approx([25.0, 225.0])
    assert found["bottom_mm"].tolist() == pytest.approx([125.0, 325.0])


def test_a_layer_thinner_than_the_least_thickness_is_none():
    # Hard from 145 to 155 mm only.
    assert layers([0, 50, 100, 150, 200, 250], [1000, 1000, 1000, 2100, 1000, 1000]).empty


def test_a_layer_with_next_to_no_excess_is_none():
    # 60 mm thick, 10 kPa over the threshold: 600 kPa mm, below 200 kPa * 50 mm.
    assert layers([0, 20, 40, 60, 80, 100, 120, 140], [1500, 1500, 2010, 2010, 2010, 2010, 1500, 1500]).empty


def test_a_bottom_just_above_the_last_reading_is_not_taken_for_seen():
    found = layers([0, 25, 50, 75, 100, 125], [1000, 3000, 3000, 3000, 3000, 1000])
    assert found["closed"].tolist() == [False]
    assert found.loc[0, "bottom_mm"] == 100.0


def test_a_stopped_probe_opens_a_layer_on_its_first_hard_reading():
    profile = [1000, 1000, 1000, 2500, np.nan, np.nan, np.nan, np.nan]
    assert layers(DEPTH_MM, profile).empty
    found = layers(DEPTH_MM, profile, stopped=True)
    assert found.loc[0, ["bottom_mm", "closed"]].tolist() == [150.0, False]


def test_ground_hard_from_the_first_reading_has_its_top_there():
    assert layers(DEPTH_MM, [3000, 3000, 3000, 1000, 1000, 1000, 1000, 1000]).loc[0, "top_mm"] == 0.0


def test_a_layer_mean_hard_from_the_surface_has_its_top_at_the_surface():
    found = layers([50, 150, 250], [3000, 1000, 1000], thickness_mm=100.0)
    assert found.loc[0, ["top_mm", "closed"]].tolist() == [0.0, True]


def test_every_insertion_is_judged_on_its_own():
    hard, soft = [1000, 3000, 3000, 3000, 1000, 1000, 1000, 1000], [1000] * 8
    both = layers(DEPTH_MM, soft, hard, soft, hard)
    assert both["row"].tolist() == [1, 3]
    assert both["top_mm"].tolist() == pytest.approx([25.0, 25.0])
