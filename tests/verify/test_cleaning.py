"""What is taken out of a log: each rule counted, on passes in which it is known what it has to take."""

import numpy as np
import pytest
import shapely

from builders.machine_log import machine_log, passes, plan
from hardpan.records.applied import LogRule
from hardpan.verify.cleaning import clean_log, not_measured, speed_kmh, turning

PADDOCK = shapely.union_all(plan().zones.geometry.to_numpy())
SETTINGS = machine_log(passes(lines=[0])).settings


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
