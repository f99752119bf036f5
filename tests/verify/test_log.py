"""What is taken out of a log: each rule counted, on passes in which it is known what it has to take."""

import numpy as np
import pytest
import shapely

from builders.machine_log import WIDTH_M, machine_log, passes, plan
from hardpan.records.applied import LogRule
from hardpan.verify.log import (
    TURN_RAD,
    clean_log,
    deepest_at,
    not_measured,
    sample_points,
    speed_kmh,
    squares,
    swaths_of,
    turning,
)

PADDOCK = shapely.union_all(plan().zones.geometry.to_numpy())
SETTINGS = machine_log(passes(lines=[0])).settings

ZONES = plan().zones


def cleaned(records):
    taken, rules = clean_log(records, PADDOCK, SETTINGS)
    counts = rules.set_index("rule")["records"]
    assert counts.sum() == len(records)
    for rule in LogRule:
        assert counts[rule] == (taken == rule).sum()
    return taken, counts


def test_headlands_are_lifted_and_the_passes_are_kept():
    records = passes()
    _, counts = cleaned(records)
    # 201 records within 400 m at 2 m, both ends included, of each of twenty passes
    assert counts[""] == 20 * 201
    assert counts[LogRule.LIFTED] == len(records) - 20 * 201


def test_work_beyond_the_boundary_is_outside():
    records = passes(lines=[0]).assign(depth_mm=300.0, working=1.0)
    _, counts = cleaned(records)
    assert counts[LogRule.OUTSIDE] == len(records) - 201


def test_lifted_tines_are_known_by_work_state_or_else_by_depth():
    records = passes(lines=[0, 1])
    part = slice(60, 80)
    up = records.assign(working=records["working"].where(~np.isin(np.arange(len(records)), np.r_[part]), 0.0))
    assert (cleaned(up)[0][part] == LogRule.LIFTED).all()
    assert cleaned(up)[1][""] == 2 * 201 - 20
    by_depth = records.assign(working=np.nan, depth_mm=records["depth_mm"].where(up["working"] > 0, 30.0))
    assert (cleaned(by_depth)[0][part] == LogRule.LIFTED).all()


def test_a_work_state_written_once_says_nothing_where_the_depth_does():
    records = passes(lines=[0, 1]).assign(working=1.0)
    records.loc[60:79, "depth_mm"] = 0.0
    taken, _ = cleaned(records)
    assert (taken[60:80] == LogRule.LIFTED).all()


def test_records_without_a_fix_and_jumps_are_taken():
    records = passes(lines=[0])
    records.loc[50:54, "fix"] = False
    records.loc[100, "y_m"] += 40.0
    taken, counts = cleaned(records)
    assert counts[LogRule.NO_FIX] == 5
    assert np.flatnonzero(taken == LogRule.JUMP).tolist() == [100, 101]


def test_standing_is_told_from_working():
    records = passes(lines=[0])
    wait = records.iloc[[80] * 30].assign(time_s=lambda one: one["time_s"] + np.arange(1, 31))
    after = records.iloc[81:].assign(time_s=lambda one: one["time_s"] + 30)
    records = np.concatenate([records.iloc[:81], wait, after])
    stood = passes(lines=[0]).iloc[[0] * len(records)].reset_index(drop=True)
    for at, name in enumerate(stood.columns):
        stood[name] = records[:, at].astype(stood[name].dtype)
    assert cleaned(stood)[1][LogRule.STANDING] == 30


def test_a_turn_is_a_change_of_heading_and_noise_is_none():
    way = np.arange(0.0, 100.0, 2.0)
    rng = np.random.default_rng(1)
    angle = np.linspace(0, np.pi, 13)[1:]
    x = np.r_[way, 98 + 8 * np.sin(angle), way[::-1]]
    y = np.r_[0 * way, 8 - 8 * np.cos(angle), 0 * way + 16.0]
    records = passes(lines=[0, 1]).iloc[: len(x)].assign(x_m=x, y_m=y + rng.normal(0, 0.3, len(y)))
    hit = turning(records, np.ones(len(x), dtype=bool), SETTINGS)
    assert hit[52:60].all()
    assert not hit[:44].any()
    assert not hit[72:].any()


def test_zero_throughout_is_a_sensor_that_is_not_there():
    records = passes(lines=[0, 1]).assign(depth_mm=0.0)
    taken, counts = cleaned(records)
    assert not_measured(records).all()
    assert counts[LogRule.NOT_MEASURED] > 300
    assert not (taken == "").any()


def test_zero_for_long_in_work_is_a_sensor_that_fell_out_and_for_short_tines_on_their_way():
    records = passes(lines=[0, 1])
    records.loc[60:99, "depth_mm"] = 0.0
    records.loc[150:152, "depth_mm"] = 0.0
    taken, _ = cleaned(records)
    assert (taken[60:100] == LogRule.NOT_MEASURED).all()
    assert (taken[150:153] == LogRule.LIFTED).all()


def test_speed_is_way_over_time_and_that_of_the_log_where_there_is_no_time():
    records = passes(lines=[0])
    assert speed_kmh(records) == pytest.approx(7.2)
    assert speed_kmh(records.assign(time_s=np.nan, speed_kmh=6.5)) == pytest.approx(6.5)


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
