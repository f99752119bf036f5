"""Machine costs against the extension services' own figures."""

import numpy as np
import pytest

from builders import costs
from hardpan.money.machines import remaining_share, repair_share
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config


@pytest.fixture(scope="module")
def prices():
    return read_catalog(
        Config.model_validate({"paddock": {"name": "p", "boundary": "b"}, "probes": {"file": "p"}})
    ).prices


@pytest.mark.parametrize(
    ("row", "price", "years", "published", "within"),
    [
        # iowa-a329, its calculator: a 40,000 list price tillage implement after 10 years prints 11,852
        ("ripper", 40_000.0, 10.0, 11_852.0, 0.5),
        # iowa-a329: 180 hp, 15 years, 400 h a year prints 23 %, to the printed whole per cent
        ("large", 100.0, 15.0, 23.0, 0.5),
        # a trade page with Iowa's table: 105 hp, 10 years, 400 h prints 37 % of 75,000, to the whole per cent
        ("medium", 100.0, 10.0, 37.0, 0.5),
    ],
)
def test_remaining_value_is_that_of_the_iowa_tables(prices, row, price, years, published, within):  # noqa: PLR0917
    share = remaining_share(prices.remaining_value[row], np.array(years), np.array(400.0))
    assert price * share == pytest.approx(published, abs=within)


@pytest.mark.parametrize(
    ("row", "life_h", "total"),
    # life totals of d497, from memory: the tables round them to 5 %
    [("track", 16_000.0, 0.80), ("4wd", 16_000.0, 0.80), ("2wd", 12_000.0, 1.00)],
)
def test_repairs_over_a_life_are_the_totals_of_the_standard(prices, row, life_h, total):
    assert repair_share(prices.repair[row], np.array(life_h)) == pytest.approx(total, abs=0.05)


def test_a_ripper_without_its_points_is_repaired_for_half_of_a_chisel_plough(prices):
    # d497, from memory: 75 % of the price over 2,000 h, points included
    assert repair_share(prices.repair["ripper"], np.array(2_000.0)) == pytest.approx(0.75 / 2, abs=0.025)


def test_an_hour_of_labour_and_a_litre_of_fuel_cost_what_the_equations_add():
    """`asae2000`: labour is 1.1 of the machine's hours, lubricant 15 % of the fuel, in every draw of their prices."""
    price = {
        "labour_per_h": {"value": 40.0, "low": 40.0, "high": 40.0, "unit": "AUD/h", "source": "user"},
        "fuel_per_l": {"value": 2.0, "low": 2.0, "high": 2.0, "unit": "AUD/L", "source": "user"},
    }
    drawn = costs.rates_of(costs.shipped_catalog(numbers={"prices": price})).scenarios
    assert drawn["labour"].to_numpy() == pytest.approx(1.1 * 40.0)
    assert (drawn["lubricant"] / drawn["fuel"]).to_numpy() == pytest.approx(0.15)
    assert drawn["per_litre"].to_numpy() == pytest.approx(2.0 * 1.15)
