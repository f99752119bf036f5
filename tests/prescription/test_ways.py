"""Cash cost, a contractor and a stronger tractor, each at its own best depths."""

import numpy as np
import pytest

from hardpan.records.reasons import Limit, Way


def planned(made, *, worth=150.0, tables=None, **rates):
    """Plan of a paddock of one soil, and what else was tried by way."""
    catalog = made.shipped_catalog(**(tables or {}))
    plan = made.decide(made.ground(), catalog, made.rates(("deep sand",), worth=worth, **rates))[1]
    return plan, {tried.way: tried for tried in plan.ways}


def best(tried):
    return next(iter(one for one in tried.best if one is not None), None)


def test_at_cash_cost_a_plan_returns_more_by_what_owning_costs_at_least(made):
    plan, ways = planned(made, worth=300.0, owning=60.0)
    owning = (60.0 * plan.hours.sum(axis=0)).mean()
    assert plan.zones["depth_mm"].max() > 0
    assert ways[Way.CASH].net.sum(axis=0).mean() >= plan.returns.sum(axis=0).mean() + owning - 1e-6


def test_without_owning_cost_cash_and_full_are_the_same(made):
    plan, ways = planned(made, worth=300.0, owning=0.0)
    assert ways[Way.CASH].net.sum(axis=0) == pytest.approx(plan.returns.sum(axis=0))
    assert ways[Way.CASH].hours.sum(axis=0) == pytest.approx(plan.hours.sum(axis=0))


def test_ground_that_pays_at_cash_cost_only_is_left_and_said_to_pay_so(made):
    plan, ways = planned(made, worth=120.0, owning=249.0, contractor=1000.0)
    assert plan.zones["depth_mm"].max() == 0
    assert ways[Way.CASH].ripped_ha.sum() == pytest.approx(plan.zones["area_ha"].sum())
    assert [way for way, _ in plan.reasons[0].why.elsewhere] == [Way.CASH]


def test_a_contractor_costs_his_rate_and_the_fuel_he_leaves(made):
    plan, ways = planned(made, worth=300.0, contractor=10.0, tables={"prices": {"contractor_fuel": 0.0}})
    hired = ways[Way.CONTRACTOR]
    assert hired.cost.sum(axis=0) == pytest.approx(10.0 * plan.zones["area_ha"].sum())
    dearer = planned(made, worth=300.0, contractor=10.0, tables={"prices": {"contractor_fuel": 1.0}})[1]
    assert dearer[Way.CONTRACTOR].cost.sum() > hired.cost.sum()
    assert np.isnan(hired.hours).all()


def test_a_contractor_goes_no_deeper_than_his_rate_holds_for(made):
    deepest = {}
    for depth_mm in (350.0, 450.0, 700.0):
        tables = {"prices": {"contractor_depth": depth_mm}}
        _, ways = planned(made, worth=900.0, contractor=10.0, tables=tables)
        deepest[depth_mm] = best(ways[Way.CONTRACTOR]).depth_mm
    assert deepest[350.0] <= 350 < deepest[450.0] <= 450 < deepest[700.0]


def test_a_contractor_is_not_held_by_the_tractor_of_the_farm(made):
    weak = {"tractor": {"like": "front-assist-220kw", "engine_power": "35 kW", "mass": "3 t", "max_speed": 5}}
    tables = {"machine": weak, "numbers": {"prices": {"power_class": {"medium": 20}}}}
    plan, ways = planned(made, worth=900.0, contractor=10.0, tables=tables)
    assert best(ways[Way.CONTRACTOR]).depth_mm > plan.zones["depth_mm"].max()


def test_too_small_a_tractor_is_named_with_the_power_that_would_do(made):
    weak = {"tractor": {"like": "front-assist-220kw", "engine_power": "35 kW", "mass": "3 t"}}
    tables = {"machine": weak, "numbers": {"prices": {"power_class": {"medium": 20}}}}
    plan, ways = planned(made, worth=420.0, contractor=1000.0, owning=5.0, tables=tables)
    assert plan.zones["depth_mm"].max() == 0
    stronger = ways[Way.STRONGER]
    assert stronger.power_kw > 35.0
    assert stronger.power_kw % 10.0 == pytest.approx(0.0)
    assert stronger.net.sum(axis=0).mean() > 0.0
    # the same ripper behind a tractor of that power, weight and price is a plan that rips
    share = stronger.power_kw / 35.0
    enough = weak["tractor"] | {"engine_power": f"{stronger.power_kw} kW", "mass": f"{3.0 * share} t"}
    bought, _ = planned(
        made, worth=420.0, contractor=1000.0, owning=5.0, tables=tables | {"machine": {"tractor": enough}}
    )
    assert bought.zones["depth_mm"].max() > 0


def test_a_limit_of_the_tractor_goes_with_what_would_do(made):
    weak = {"tractor": {"like": "front-assist-220kw", "engine_power": "60 kW", "mass": "30 t"}}
    tables = {"machine": weak, "numbers": {"prices": {"power_class": {"medium": 20}}}}
    held = planned(made, worth=900.0, tables=tables)[0].reasons[0].why.pull.short_of
    assert held.limit is Limit.POWER
    assert held.enough_kw > 60.0


def test_a_strong_tractor_is_not_tried_again(made):
    assert Way.STRONGER not in planned(made, worth=1.0)[1]
