"""Ground worked between records, on a grid of points of the zones."""

import numpy as np
import pytest
import shapely

from builders.machine_log import WIDTH_M, passes, plan
from hardpan.verify.swaths import TURN_RAD, deepest_at, sample_points, squares, swaths_of

ZONES = plan().zones


def swaths(records, width_m=WIDTH_M):
    kept = (records["depth_mm"] > 0).to_numpy()
    return of(records, kept, width_m)


def of(records, kept, width_m=WIDTH_M):
    known = np.ones(len(records), dtype=bool)
    return swaths_of(records, kept, known, records["depth_mm"].to_numpy(), np.full(len(records), width_m))


def test_a_swath_is_as_wide_as_the_machine_and_as_long_as_the_way():
    found = swaths(passes(lines=[0]))
    assert shapely.area(found.shapes) == pytest.approx(2.0 * WIDTH_M)
    assert shapely.area(shapely.union_all(found.shapes)) == pytest.approx(402 * WIDTH_M, rel=1e-6)


def test_nothing_is_worked_from_what_was_taken_out_to_no_place_or_across_a_gap():
    records = passes(lines=[0])
    kept = (records["depth_mm"] > 0).to_numpy() & ~np.isin(np.arange(len(records)), np.arange(60, 70))
    assert len(of(records, kept).shapes) == 201 - 10
    known = ~np.isin(np.arange(len(records)), np.arange(60, 70))
    nowhere = swaths_of(records, kept, known, records["depth_mm"].to_numpy(), np.full(len(records), WIDTH_M))
    assert len(nowhere.shapes) == 201 - 11
    broken = records.assign(stretch=(np.arange(len(records)) >= 100).astype(int))
    assert len(swaths(broken).shapes) == 200


@pytest.mark.parametrize("turn", [0.0, TURN_RAD])
def test_sample_points_share_the_zones_by_area(turn):
    points, row, step = sample_points(ZONES, WIDTH_M, most=20_000, turn_rad=turn)
    assert np.bincount(row) * step**2 == pytest.approx(ZONES.geometry.area, rel=0.02)
    assert shapely.contains_xy(ZONES.geometry.iloc[2], points[row == 2]).all()


def test_the_deepest_of_several_passes_counts_and_an_unknown_depth_is_worked_all_the_same():
    once, again = passes(lines=[0]), passes(lines=[0]).assign(depth_mm=200.0)
    both, twice = swaths(once), swaths(again)
    joined = type(both)(
        shapes=np.r_[both.shapes, twice.shapes], depth_mm=np.r_[np.full(len(both.depth_mm), np.nan), twice.depth_mm]
    )
    middle = shapely.get_coordinates(shapely.centroid(both.shapes))
    worked, depth = deepest_at(middle, joined)
    assert worked.all()
    assert (depth == 200.0).all()
    worked, depth = deepest_at(middle, type(both)(shapes=both.shapes, depth_mm=np.full(len(both.shapes), np.nan)))
    assert worked.all()
    assert np.isnan(depth).all()


def test_squares_of_a_row_are_joined_and_cover_what_their_points_stand_for():
    points, row, step = sample_points(ZONES, WIDTH_M, most=5_000)
    found = squares(points[row == 0], step, ZONES.crs)
    assert len(found) < (row == 0).sum() / 10
    assert found.area.sum() == pytest.approx((row == 0).sum() * step**2)
    assert squares(points[:0], step, ZONES.crs).empty
