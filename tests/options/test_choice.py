"""Depths and set-ups chosen, and one number of tines for the whole paddock, by what the paddock returns."""

import numpy as np
import pytest

from hardpan.core.errors import SettingsError
from hardpan.options.choice import ZoneEvaluation, by_cover, by_return, fit_setups, runner_up
from hardpan.records.decision import MachineSettings

DEPTH = np.array([0.0, 300, 400, 300, 400])
SETUP = np.array([-1, 0, 0, 1, 1])

SOILS = ("deep sand", "sand over clay")
WEAK = {"tractor": {"like": "tracked-370kw", "engine_power": 150}}


def evaluation(net, covered=None):
    net = np.asarray(net, dtype=float)
    shape = net.shape
    return ZoneEvaluation(
        net=net,
        cost=np.ones(shape),
        gain=net + 1,
        loosened=np.zeros(shape),
        breach=np.zeros(shape),
        held=np.full(shape, None, dtype=object),
        credit=np.ones((*shape, 3)),
        covered=np.zeros(shape) if covered is None else np.asarray(covered, dtype=float),
        ha=np.arange(1.0, shape[0] + 1),
        depth_mm=DEPTH,
        setup=SETUP,
    )


def test_by_return_takes_each_set_ups_best_and_leaves_what_does_not_pay():
    best, value = by_return(evaluation([[0, 5, 9, -3, -1]]), 2)
    assert best.tolist() == [[2, 4]]
    assert value.tolist() == [[9.0, -np.inf]]


def test_by_cover_takes_the_shallowest_that_covers_and_the_deepest_allowed_where_none_does():
    covered = [[0, 0.95, 1.0, 0.5, 0.8]]
    best, value = by_cover(evaluation([[0, 5, 9, -3, -7]], covered), 2, 0.9)
    assert best.tolist() == [[1, 4]]
    assert value.tolist() == [[5.0, -7.0]]


def test_by_cover_leaves_ground_that_no_allowed_depth_covers_to_the_least_share():
    covered = [[0.1, 0.3, 0.4, 0.2, 0.45]]
    _, value = by_cover(evaluation([[0, 5, 9, 3, 7]], covered), 2, 0.9, 0.5)
    assert not np.isfinite(value).any()
    _, value = by_cover(evaluation([[0, 5, 9, 3, 7]], covered), 2, 0.9, 0.4)
    assert np.isfinite(value).any()


def test_by_cover_rips_ground_that_its_deepest_covers_to_the_least_share():
    best, value = by_cover(evaluation([[0, 5, 9, -np.inf, -np.inf]], [[0.1, 0.7, 1.0, 1.0, 1.0]]), 2, 0.6, 0.9)
    assert best[0, 0] == 1
    assert value[0].tolist() == [5.0, -np.inf]


def test_by_cover_leaves_ground_that_has_no_pan_on_the_share_asked_for():
    _, value = by_cover(evaluation([[0, 5, 9, 3, 7]], [[0.92, 1, 1, 1, 1]]), 2, 0.9)
    assert np.isneginf(value).all()


def test_one_set_up_is_the_one_with_most_money_over_all_zones():
    """Zone 2 is twice as large, so its gain with set-up 1 outweighs zone 1's with set-up 0."""
    asked = evaluation([[0, 10, 8, 2, 1], [0, -5, -5, 4, 6]])
    fit = fit_setups(*by_return(asked, 2), asked.ha, 1, cover=False)
    assert fit.setups.tolist() == [1]
    assert fit.option.tolist() == [3, 4]


def test_two_set_ups_give_each_zone_its_own():
    asked = evaluation([[0, 10, 8, 2, 1], [0, -5, -5, 4, 6]])
    fit = fit_setups(*by_return(asked, 2), asked.ha, 2, cover=False)
    assert fit.option.tolist() == [1, 4]


def test_a_second_set_up_is_fitted_only_where_it_brings_more_than_changing_to_it_costs():
    """With set-up 1 alone both zones return 2 + 2 x 6 = 14; set-up 0 in zone 1 adds 8 (10 for 2)."""
    asked = evaluation([[0, 10, 8, 2, 1], [0, -5, -5, 4, 6]])
    cheap, dear = (fit_setups(*by_return(asked, 2), asked.ha, 2, cover=False, change=change) for change in (7.9, 8.1))
    assert (cheap.option.tolist(), cheap.worth[1]) == ([1, 4], pytest.approx(22.0 - 7.9))
    assert (dear.option.tolist(), dear.worth[1]) == ([3, 4], pytest.approx(14.0))


def test_more_set_ups_than_there_are_are_all_of_them():
    asked = evaluation([[0, 10, 8, 2, 1]])
    assert fit_setups(*by_return(asked, 2), asked.ha, 4, cover=False).option.tolist() == [1]


def test_where_nothing_pays_all_is_left_and_every_set_up_stays_open():
    asked = evaluation([[0, -1, -2, -3, -4]])
    fit = fit_setups(*by_return(asked, 2), asked.ha, 1, cover=False)
    assert fit.option.tolist() == [0]
    assert fit.setups.tolist() == [0, 1]


def test_under_cover_ripping_comes_before_money():
    asked = evaluation([[0, -9, -9, -np.inf, -np.inf], [0, -9, -9, 50, 50]], np.ones((2, 5)) * [0, 1, 1, 1, 1])
    chosen = fit_setups(*by_cover(asked, 2, 0.9), asked.ha, 1, cover=True).option
    assert chosen.tolist() == [1, 1]


def test_the_runner_up_is_another_depth_with_a_fitted_set_up_or_leaving():
    asked = evaluation([[0, 10, 8, 9, 1], [0, 10, -8, 9, 1]])
    assert runner_up(asked, np.array([1, 1]), np.array([0])).tolist() == [2, 0]


@pytest.mark.parametrize("n_fitted", [1, 2])
def test_an_option_that_is_forbidden_is_never_taken(n_fitted):
    asked = evaluation([[0, -np.inf, 3, -np.inf, 2]])
    chosen = fit_setups(*by_return(asked, 2), asked.ha, n_fitted, cover=False).option
    assert chosen.tolist() == [2]


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
