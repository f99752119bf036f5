"""One number of tines for the whole paddock, by what the paddock returns."""

import numpy as np
import pytest

from hardpan.core.errors import SettingsError
from hardpan.records.decision import MachineSettings

SOILS = ("deep sand", "sand over clay")
WEAK = {"tractor": {"like": "tracked-370kw", "engine_power": 150}}


@pytest.fixture
def paddock(made):
    """A deep pan on the first soil and a shallow one on the second, both worth breaking."""
    return made.ground(soils=SOILS, bottom_mm=(560.0, 330.0), top_mm=(300.0, 200.0))


def plan_with(made, paddock, tines=None, **asked):
    catalog, money = made.shipped_catalog(machine=WEAK), made.rates(SOILS, worth=(1200.0, 500.0))
    machine = MachineSettings(setup="plain", tines=tines)
    return made.decide(paddock, catalog, money, machine=machine, **asked)


def test_every_zone_is_worked_with_one_number_of_tines(made, paddock):
    options, plan = plan_with(made, paddock)
    assert (plan.zones["depth_mm"] > 0).all()
    assert plan.zones["depth_mm"].nunique() == 2
    assert plan.machine["tines"].tolist() == [options.tines] * 2
    ripped = options.table[(options.table["depth_mm"] > 0) & options.table["feasible"]]
    assert set(ripped["tines"]) == {options.tines}


def test_the_zones_would_not_all_be_worked_with_one_number_if_each_had_the_quickest(made, paddock):
    """Else the tests beside this one could not fail."""
    _, plan = plan_with(made, paddock)
    quickest = []
    for depth_mm in plan.zones["depth_mm"]:
        tables = (plan_with(made, paddock, tines)[0].table for tines in (7, 5, 3, 1))
        at = [table[table["depth_mm"] == depth_mm].iloc[0] for table in tables]
        quickest.append(np.nanargmin([one["hours_per_ha"] if one["feasible"] else np.nan for one in at]))
    assert quickest[0] != quickest[1]


def test_no_other_number_of_tines_returns_more_on_the_whole_paddock(made, paddock):
    options, plan = plan_with(made, paddock)
    returns = {tines: float(plan_with(made, paddock, tines)[1].returns.mean(axis=1).sum()) for tines in (7, 5, 3, 1)}
    assert plan.returns.mean(axis=1).sum() == pytest.approx(returns[options.tines])
    assert returns[options.tines] == max(returns.values())
    assert min(returns.values()) < max(returns.values())


def test_a_number_that_is_asked_for_is_kept_to(made, paddock):
    options, plan = plan_with(made, paddock, 4)
    assert options.tines == 4
    assert set(plan.machine["tines"]) == {4}


def test_more_tines_than_there_are_are_refused(made, paddock):
    with pytest.raises(SettingsError, match="8 tines"):
        plan_with(made, paddock, 8)


def test_a_uniform_depth_is_worked_with_the_number_that_costs_it_least_where_all_its_ground_is_pulled(made, paddock):
    free = plan_with(made, paddock)[0].uniform
    each = [plan_with(made, paddock, tines)[0].uniform for tines in (7, 5, 3, 1)]
    most = np.max([one.ripped_ha for one in each], axis=0)
    cost = [np.where(one.ripped_ha >= most - 1e-9, one.costs.mean(axis=1), np.inf) for one in each]
    np.testing.assert_allclose(free.ripped_ha, most)
    np.testing.assert_allclose(free.costs.mean(axis=1), np.min(cost, axis=0))
    assert len(set(np.argmin(cost, axis=0)[1:].tolist())) > 1
