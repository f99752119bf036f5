"""Where strips lie: inside their room, along the heading, apart from one another, at random."""

import numpy as np
import pytest
import shapely

from hardpan.strips.layout import Size, Wanted, lay_pairs

SIZE = Size(width_m=12.0, length_m=100.0, pass_m=4.0)
ROOM = shapely.box(0, 0, 400, 300) - shapely.box(150, 100, 250, 180)


def laid(seed=1, *, room=ROOM, heading_deg=30.0, pairs=4, least_m=50.0, most_m2=1e9):
    wanted = Wanted(pairs=pairs, least_m=least_m, most_m2=most_m2)
    return lay_pairs(room, SIZE, heading_deg, wanted, np.random.default_rng(seed))


@pytest.mark.parametrize("heading_deg", [0.0, 30.0, 90.0, 171.0])
def test_strips_lie_in_the_room_and_measure_what_was_asked(heading_deg):
    for pair in laid(heading_deg=heading_deg):
        for strip in (pair.unripped, pair.ripped):
            assert ROOM.contains(strip)
            assert strip.area == pytest.approx(12.0 * pair.length_m)


@pytest.mark.parametrize("heading_deg", [0.0, 30.0, 90.0, 171.0])
def test_the_long_side_runs_along_the_heading(heading_deg):
    way = np.array([np.sin(np.deg2rad(heading_deg)), np.cos(np.deg2rad(heading_deg))])
    for pair in laid(heading_deg=heading_deg):
        along = shapely.get_coordinates(pair.unripped) @ way
        assert np.ptp(along) == pytest.approx(pair.length_m)


def test_the_strips_of_a_pair_share_their_long_side():
    for pair in laid():
        assert shapely.intersection(pair.unripped, pair.ripped).length == pytest.approx(pair.length_m, abs=1e-6)


def test_pairs_keep_a_width_apart():
    blocks = [shapely.union(pair.unripped, pair.ripped) for pair in laid(pairs=6)]
    assert len(blocks) == 6
    for at, block in enumerate(blocks):
        assert all(block.distance(other) >= 12.0 - 1e-6 for other in blocks[at + 1 :])


def test_the_seed_decides_where_and_which_side():
    places = {shapely.to_wkt(laid(seed)[0].unripped) for seed in range(8)}
    assert len(places) == 8
    assert shapely.to_wkt(laid(3)[0].unripped) == shapely.to_wkt(laid(3)[0].unripped)
    heading = np.array([np.cos(np.deg2rad(30)), -np.sin(np.deg2rad(30))])
    sides = {
        bool(np.subtract(pair.ripped.centroid.coords[0], pair.unripped.centroid.coords[0]) @ heading > 0)
        for seed in range(8)
        for pair in laid(seed)
    }
    assert sides == {True, False}


def test_strips_get_shorter_before_they_get_fewer():
    narrow = shapely.box(0, 0, 130, 80)
    pairs = laid(room=narrow, heading_deg=0.0, pairs=3)
    assert len(pairs) == 3
    assert {pair.length_m for pair in pairs} == {75.0}


def test_no_more_ground_is_left_than_allowed():
    assert len(laid(most_m2=2.5 * 12 * 100, least_m=100.0)) == 2
    assert laid(most_m2=100.0) == ()


def test_a_room_too_small_holds_none():
    assert laid(room=shapely.box(0, 0, 20, 300)) == ()
    assert laid(room=shapely.Polygon()) == ()
