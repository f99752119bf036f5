"""A log beside the plan: hectares, hours and fuel of passes that are known."""

import numpy as np
import pandas as pd
import pytest

from builders.machine_log import machine_log, passes, plan
from hardpan.records.applied import ALL, APPLIED, AppliedAs
from hardpan.verify.applied import compare_with_plan, outcomes

HECTARES = ["within_ha", "shallow_ha", "deep_ha", "not_measured_ha", "not_worked_ha"]


def beside(records, **settings):
    return compare_with_plan(plan(), machine_log(records, **settings), level=0.9)


def rows(applied):
    table = applied.zones.set_index("zone")
    assert list(applied.zones) == list(APPLIED)
    assert table[HECTARES].sum(axis=1).to_numpy() == pytest.approx(table["area_ha"].to_numpy(), rel=1e-9)
    return table


def test_a_pass_as_planned_is_within_the_plan_everywhere():
    found = beside(passes())
    table = rows(found)
    assert table.loc[ALL, "within_ha"] == pytest.approx(3.2, rel=0.01)
    assert table.loc["3", ["within_ha", "deep_ha"]].tolist() == pytest.approx([0.8, 0.0], abs=0.005)
    assert table.loc[["1", "2"], "applied_mm"].tolist() == pytest.approx([300, 450], abs=2)
    assert found.lag.seconds == pytest.approx(0.0, abs=0.5)


def test_a_late_machine_is_too_shallow_one_way_and_too_deep_the_other():
    table = rows(beside(passes(late_s=5.0)))
    # ten passes of 10 m each way, 4 m wide: 0.04 ha
    assert table.loc["2", "shallow_ha"] == pytest.approx(0.04, abs=0.01)
    assert table.loc["1", "deep_ha"] == pytest.approx(0.04, abs=0.01)


def test_passes_left_out_are_not_worked_and_a_pass_beyond_is_ripped_though_left():
    table = rows(beside(passes(lines=[at for at in range(22) if at not in {4, 5}])))
    assert table.loc[ALL, "not_worked_ha"] == pytest.approx(2 * 400 * 4 / 1e4, rel=0.03)
    assert table.loc["3", "deep_ha"] == pytest.approx(2 * 400 * 4 / 1e4, rel=0.03)


def test_a_zone_worked_too_shallow_is_told_so():
    records = passes()
    records["depth_mm"] -= np.where(records["depth_mm"] > 400, 60.0, 0.0)
    table = rows(beside(records))
    assert table.loc["2", "shallow_ha"] == pytest.approx(1.6, rel=0.02)
    assert rows(beside(records, step_mm=60.0)).loc["2", "within_ha"] == pytest.approx(1.6, rel=0.02)


@pytest.mark.parametrize("working", [True, False])
def test_a_log_whose_depth_is_zero_throughout_tells_only_where_it_worked(working):
    records = passes(lines=range(10)).assign(depth_mm=0.0)
    found = beside(records if working else records.assign(working=np.nan))
    table = rows(found)
    assert table.loc[ALL, "not_measured_ha"] == pytest.approx(1.6, rel=0.02)
    assert table.loc[ALL, ["within_ha", "shallow_ha", "deep_ha"]].sum() == 0
    assert np.isnan(table.loc[ALL, "applied_mm"])
    assert [issue.code for issue in found.issues] == ["depth-not-measured"]
    assert found.lag is None
    assert np.isnan(found.observed.depth_mm)


def test_hours_and_fuel_are_those_of_the_log():
    records = passes()
    table = rows(beside(records))
    hours = records["time_s"].iloc[-1] / 3600.0
    assert table.loc[ALL, "hours"] == pytest.approx(hours)
    assert table.loc[ALL, "fuel_l"] == pytest.approx(20.0 * hours)
    assert table.loc[ALL, "planned_hours"] == pytest.approx(1.4)
    assert table.loc[ALL, ["speed_kmh", "planned_speed_kmh"]].tolist() == pytest.approx([7.2, 7.2])


def test_the_pass_for_the_next_run_is_fuel_over_ground_worked():
    records = passes()
    one = beside(records).observed
    assert (one.setup, one.zones) == ("winged", (1, 2))
    assert one.worked_ha == pytest.approx(3.2, rel=0.01)
    assert one.fuel_l_per_ha == pytest.approx(20.0 * records["time_s"].iloc[-1] / 3600.0 / 3.2, rel=0.02)
    assert one.depth_mm == pytest.approx(375.0, abs=2)
    assert one.speed_kmh == pytest.approx(7.2)


def test_a_log_without_time_or_fuel_says_nothing_of_them():
    found = beside(passes().assign(time_s=np.nan, fuel_l=np.nan))
    table = rows(found)
    assert table.loc[ALL, ["hours", "fuel_l", "speed_kmh"]].isna().all()
    assert table.loc[ALL, "within_ha"] == pytest.approx(3.2, rel=0.01)
    assert "no-time" in {issue.code for issue in found.issues}


def test_a_log_in_which_nothing_was_in_work_leaves_all_unworked():
    found = beside(passes().assign(working=0.0, depth_mm=-100.0))
    assert rows(found).loc[ALL, "not_worked_ha"] == pytest.approx(3.2)
    assert found.observed is None
    assert "nothing-in-work" in {issue.code for issue in found.issues}


def test_the_width_is_that_of_the_settings_the_log_or_the_plan():
    half = rows(beside(passes(), width_m=2.0)).loc[ALL, "not_worked_ha"]
    assert half == pytest.approx(1.6, rel=0.05)
    assert rows(beside(passes().assign(width_m=np.nan))).loc[ALL, "within_ha"] == pytest.approx(3.2, rel=0.01)


def test_the_order_of_zones_changes_nothing():
    log = machine_log(passes(late_s=2.0))
    turned = plan()
    turned = type(turned)(
        **{name: getattr(turned, name) for name in turned.__slots__} | {"zones": turned.zones.iloc[::-1]}
    )
    first, second = (compare_with_plan(one, log, level=0.9).zones.set_index("zone") for one in (plan(), turned))
    pd.testing.assert_frame_equal(first.sort_index(), second.sort_index())


def test_each_place_has_one_outcome():
    planned = np.array([400.0, 400, 400, 400, 400, 0, 0])
    covered = np.array([True, True, True, True, False, True, False])
    found = np.array([420.0, 370, 430, np.nan, np.nan, 300, np.nan])
    assert outcomes(planned, covered, found, 25.0).tolist() == [
        AppliedAs.WITHIN, AppliedAs.SHALLOW, AppliedAs.DEEP, AppliedAs.NOT_MEASURED, AppliedAs.NOT_WORKED,
        AppliedAs.DEEP, AppliedAs.WITHIN,
    ]  # fmt: skip


def test_the_pieces_of_the_map_are_the_ground_of_the_table():
    found = beside(passes(lines=range(15)))
    area = found.pieces.set_index("outcome").geometry.area / 1e4
    table = rows(found).loc[ALL]
    for one in ("within", "not worked"):
        # squares of 1.4 m on ground 20 m wide
        assert area[one] == pytest.approx(table[f"{one.replace(' ', '_')}_ha"], rel=0.08)
