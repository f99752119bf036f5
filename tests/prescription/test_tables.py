"""The tables of a plan: candidates, defaults, setting up, moisture, and what the shipped tables hold."""

import numpy as np
import pandas as pd
import pytest

from hardpan.prescription.reasons import turning_bottom_mm
from hardpan.prescription.setting_up import ballast_figures
from hardpan.records.advice import Topic
from hardpan.records.columns import PLAN
from hardpan.records.season import SeasonSettings


@pytest.fixture(scope="module")
def plan(made):
    ground = made.ground(soils=("deep sand", "loam", "sand over sodic clay"), clay_mm=(np.nan, np.nan, 400.0))
    soils = ["deep sand", "loam", "sand over sodic clay"]
    money = made.rates(soils, worth=(500.0, 450.0, 80.0), per_hour=150.0)
    season = SeasonSettings(moist_depth_mm=300.0)
    return made.decide(ground, made.shipped_catalog(), money, season=season)[1]


def test_the_plan_has_the_columns_of_the_contract(plan):
    assert list(plan.zones.columns) == list(PLAN)


def test_every_zone_and_option_is_a_candidate_with_a_reason_where_it_is_not_allowed(plan):
    table = plan.candidates
    assert len(table) == 3 * table["option"].nunique()
    assert (table.loc[~table["allowed"], "limit"] != "").all()
    assert (table.loc[table["allowed"], "limit"] == "").all()
    assert table.loc[table["allowed"], "net_per_ha"].notna().all()


def test_the_machine_table_has_one_row_a_ripped_zone_that_agrees_with_the_plan(plan):
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    assert plan.machine["zone"].tolist() == ripped["zone"].tolist()
    hours = plan.machine["hours_per_ha"].to_numpy()
    rate = ripped["speed_kmh"] * plan.machine["width_m"].to_numpy() * plan.machine["field_efficiency"].to_numpy() / 10
    assert hours * rate.to_numpy() == pytest.approx(ripped["passes"].to_numpy(), rel=1e-6)


def test_hours_and_fuel_of_the_draws_agree_with_the_machine_table(plan):
    ripped = (plan.zones["depth_mm"] > 0).to_numpy()
    area = plan.zones.loc[ripped, "area_ha"].to_numpy()
    assert plan.fuel_l[ripped].mean(axis=1) == pytest.approx(area * plan.machine["fuel_l_per_ha"], rel=0.05)
    assert (plan.hours[ripped].mean(axis=1) >= area * plan.machine["hours_per_ha"] * (1 - 1e-9)).all()
    assert (plan.hours[~ripped] == 0).all()


def test_the_moisture_of_each_zone_is_judged_at_its_own_depth(plan):
    verdicts = plan.moisture.set_index("zone")["verdict"]
    depths = plan.zones.set_index("zone")["depth_mm"]
    for zone, depth in depths.items():
        assert verdicts[zone] == ("not ripped" if depth == 0 else "wait" if depth > 300 else "ready")


def test_every_shipped_number_is_listed_with_source_and_standing(plan):
    table = plan.defaults
    assert table[["unit", "source", "standing"]].ne("").all(axis=None)
    keys = set(table["key"])
    assert "rules.stranded lime.gain.inclusion" in keys
    assert {"effort.depth_exponent", "setups.winged.foot_width", "tractors.tracked-370kw.engine_power"} <= keys
    assert "soils.deep sand.first_year_gain" in keys
    assert not table["key"].duplicated().any()


def test_the_users_own_numbers_are_not_defaults(made):
    catalog = made.shipped_catalog(prices={"fuel_per_l": 1.9})
    _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"]))
    assert "prices.fuel_per_l" not in set(plan.defaults["key"])


def test_setting_up_covers_ballast_level_slip_and_what_to_dig_for(plan):
    topics = {step.topic for step in plan.setting_up}
    assert {Topic.BALLAST, Topic.BALANCE, Topic.SLIP, Topic.LEVEL, Topic.DIG} <= topics
    assert all(step.source for step in plan.setting_up)


def test_a_tractor_far_too_light_is_said_to_be(made):
    light = made.shipped_catalog(machine={"tractor": {"like": "articulated-400kw", "mass": 12000}})
    found = ballast_figures(light)
    assert found["mass_kg"] / found["pto_hp"] < found["low"]
    _, decided = made.decide(made.ground(), light, made.rates(["deep sand"]))
    (issue,) = (issue for issue in decided.issues if issue.code == "ballast")
    assert "below the usual" in issue.what


def test_the_turning_bottom_parts_the_draws_in_which_the_runner_up_wins():
    bottom = np.arange(300.0, 500.0)
    assert turning_bottom_mm(bottom, bottom > 419.0, deeper=True) == pytest.approx(419.5, abs=1)
    assert turning_bottom_mm(bottom, bottom < 380.0, deeper=False) == pytest.approx(379.5, abs=1)


def test_no_bottom_parts_draws_that_money_decides():
    rng = np.random.default_rng(0)
    assert turning_bottom_mm(rng.uniform(300, 500, 300), rng.uniform(size=300) < 0.2, deeper=True) is None


def test_a_plan_without_a_ripped_zone_has_an_empty_machine_table(made, catalog):
    _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"], worth=0.0))
    assert isinstance(plan.machine, pd.DataFrame)
    assert plan.machine.empty
    assert {"zone", "hours_per_ha", "fuel_l_per_ha"} <= set(plan.machine.columns)
