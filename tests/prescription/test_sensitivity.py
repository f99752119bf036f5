"""Which number that nobody could check moves the plan by how much money."""

import numpy as np
import pytest

from hardpan.money.stage import price_machines
from hardpan.prescription.sensitivity import money_moved
from hardpan.prescription.stage import prescribe
from hardpan.records.decision import SeasonSettings

SEASON = SeasonSettings(moist_depth_mm=700.0)


def priced(catalog, n_draws):
    return price_machines(catalog, SEASON, ("deep sand",), n_draws=n_draws, seed=1)


def moved(made, catalog):
    """Plan of the made paddock, and the money each number moves it by."""
    rates, ground = priced(catalog, 50), made.ground()
    options, evidence, asked = made.weighed(ground, catalog, rates, season=SEASON)
    plan = prescribe(ground[2], options, evidence, catalog, rates, asked=asked)
    table = money_moved(plan, ground[2], options, evidence, catalog, rates=rates, price=priced, asked=asked)
    return plan, table.set_index("key")["money"]


@pytest.fixture(scope="module")
def shipped(made):
    return moved(made, made.shipped_catalog())


def test_the_money_of_a_cost_is_half_its_range_times_what_is_paid_for(made, shipped):
    plan, money = shipped
    prices, hours = made.shipped_catalog().prices, float(plan.hours.mean(axis=1).sum())
    low, high = prices.labour_per_h.span
    half = (high - low) / 2.0 * prices.labour_factor.value * hours
    # a few nodes and draws stand for all: 5 %
    assert money["prices.labour_per_h"] == pytest.approx(half, rel=0.05)


def test_a_number_without_a_range_is_moved_by_a_tenth_either_way(made):
    """Repairs are in proportion to the first coefficient of their equation, of which no range is stated."""
    catalog = made.shipped_catalog()
    first, second = catalog.prices.repair["track"]
    assert first.low is None
    unread = {**catalog.prices.repair, "track": (first.model_copy(update={"source": "unverified"}), second)}
    catalog = catalog.model_copy(update={"prices": catalog.prices.model_copy(update={"repair": unread})})
    plan, money = moved(made, catalog)
    an_hour = float(priced(catalog, 50).scenarios["tractor repairs"].mean())
    assert money["prices.repair.track.1"] == pytest.approx(0.1 * an_hour * plan.hours.mean(axis=1).sum(), rel=0.05)


def test_numbers_that_were_read_and_those_of_the_user_are_not_ranked(made, shipped):
    _, money = moved(made, made.shipped_catalog(prices={"labour_per_h": 60.0}))
    assert "prices.labour_per_h" in shipped[1]
    assert "prices.labour_per_h" not in money
    assert not {"prices.fuel_per_l", "soils.deep sand.first_year_gain"} & set(money.index)


def test_numbers_of_geometry_draft_and_machine_are_ranked_beside_prices(shipped):
    plan, money = shipped
    (setup,) = set(plan.zones.loc[plan.zones["depth_mm"] > 0, "setup"])
    assert {"setups.plain.side_angle", "effort.fuel.load", "rippers.seven-tine-600.list_price"} <= set(money.index)
    assert {key.split(".")[1] for key in money.index if key.startswith("setups.")} <= {setup, "plain"}
    assert (money > 0.0).all()
    assert (np.diff(money) <= 0.0).all()


def test_every_ranked_number_is_one_of_the_shipped_ones(shipped):
    plan, money = shipped
    assert set(money.index) <= set(plan.defaults["key"])


def test_where_nothing_is_ripped_nothing_moves(made):
    poor = made.shipped_catalog(soil={"types": {"deep sand": {"first_year_gain": 0.0}}})
    plan, money = moved(made, poor)
    assert not (plan.zones["depth_mm"] > 0).any()
    assert money.empty
