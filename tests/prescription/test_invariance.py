"""What must not change the result."""

from dataclasses import replace

import numpy as np
import pytest

import hardpan.options.ground as ground_module


@pytest.fixture(scope="module")
def paddock(made):
    return made.ground(
        soils=("deep sand", "sand over sodic clay"), clay_mm=(np.nan, 430.0), sd_mm=40.0, presence=0.8, n_draws=40
    )


@pytest.fixture(scope="module")
def money(made):
    return made.rates(["deep sand", "sand over sodic clay"], worth=(500.0, 400.0), n_draws=40, per_hour=120.0)


def test_the_size_of_the_blocks_changes_nothing(made, catalog, paddock, money, monkeypatch):
    before, _ = made.decide(paddock, catalog, money)
    monkeypatch.setattr(ground_module, "BLOCK_NODES", 5)
    after, _ = made.decide(paddock, catalog, money)
    assert np.array_equal(before.net, after.net)
    assert after.uniform.returns == pytest.approx(before.uniform.returns, rel=1e-5, abs=0.01)  # a cent


def test_the_order_of_the_draws_changes_no_expectation(made, catalog, paddock, money):
    surfaces, survey, zones = paddock
    turned = replace(surfaces, draws=surfaces.draws.isel(draw=slice(None, None, -1)))
    scenarios = money.scenarios.isel(draw=slice(None, None, -1))
    before, _ = made.decide(paddock, catalog, money)
    after, _ = made.decide((turned, survey, zones), catalog, replace(money, scenarios=scenarios))
    finite = np.isfinite(before.net)
    gain = before.net[finite] + before.cost[finite]
    assert (after.net + after.cost)[finite] == pytest.approx(gain, rel=1e-5, abs=1e-4)


def test_two_runs_are_the_same_to_the_last_bit(made, catalog, paddock, money):
    first, second = (made.decide(paddock, catalog, money) for _ in range(2))
    assert np.array_equal(first[0].net, second[0].net)
    assert np.array_equal(first[1].returns, second[1].returns)
    assert first[1].zones.drop(columns="geometry").equals(second[1].zones.drop(columns="geometry"))


def test_the_plan_returns_what_the_nodes_of_its_zones_expect(made, catalog, paddock, money):
    """Where runs are long the turns are the usual ones, so zone and nodes see the same cost."""
    surfaces, survey, zones = paddock
    long_runs = replace(zones, table=zones.table.assign(length_m=10_000.0))
    options, plan = made.decide((surfaces, survey, long_runs), catalog, money)
    expected = []
    for zone in plan.zones.itertuples():
        table = options.table
        option = table.index[(table["depth_mm"] == zone.depth_mm) & (table["setup"] == zone.setup)][0]
        nodes = np.unique(surfaces.node_of_cell[zones.labels == zone.zone])
        expected.append(options.node_ha[nodes] @ options.net[nodes, option])
    assert plan.returns.mean(axis=1) + plan.setting == pytest.approx(expected, rel=1e-4, abs=0.5)
