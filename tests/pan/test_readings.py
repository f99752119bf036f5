"""Holes closed up, stones taken out."""

import numpy as np

from hardpan.pan.readings import pack, remove_stones

DEPTH_MM = np.arange(0.0, 301.0, 50.0)


def test_a_missing_reading_inside_a_profile_is_closed_up(profiles_of):
    packed = pack(profiles_of(DEPTH_MM, [100, 200, np.nan, 400, 500, np.nan, np.nan]).readings)
    assert packed.cone_index_kpa[0, :4].tolist() == [100, 200, 400, 500]
    assert packed.depth_mm[0, :4].tolist() == [0, 50, 150, 200]
    assert np.isnan(packed.depth_mm[0, 4:]).all()


def test_stones_take_the_value_between_their_neighbours(profiles_of):
    profile = [1000, 6000, 1200, 3000, 3100, 9000, 3200]
    calm, stones = remove_stones(pack(profiles_of(DEPTH_MM, profile).readings), ratio=1.8, span_mm=100.0)
    assert calm.cone_index_kpa[0].tolist() == [1000, 1100, 1200, 3000, 3100, 3150, 3200]
    assert np.flatnonzero(stones[0]).tolist() == [1, 5]


def test_where_steps_leave_room_for_a_layer_a_single_hard_reading_stays(profiles_of):
    given = pack(profiles_of(DEPTH_MM * 2, [1000, 1000, 3500, 1000, 1000, 1000, 1000]).readings)
    calm, stones = remove_stones(given, ratio=1.8, span_mm=100.0)
    assert not stones.any()
    assert calm.cone_index_kpa[0, 2] == 3500


def test_a_mean_of_a_layer_is_never_a_stone(profiles_of):
    profiles = profiles_of(DEPTH_MM, [1000, 6000, 1000, 1000, 1000, 1000, 1000], thickness_mm=50.0)
    assert not remove_stones(pack(profiles.readings), ratio=1.8, span_mm=100.0)[1].any()


def test_a_profile_of_two_readings_has_no_stone(profiles_of):
    assert not remove_stones(pack(profiles_of([0.0, 50.0], [100, 5000]).readings), ratio=1.8, span_mm=100.0)[1].any()
