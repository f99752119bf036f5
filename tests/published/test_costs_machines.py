"""Machine costs against the extension services' own figures; row ids are those of the table of worked examples."""

import numpy as np
import pytest

from hardpan.core.units import L_PER_US_GALLON, W_PER_HP
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
        # iowa-a329, its calculator: a 40,000 list price tillage implement after 10 years prints 11,852 (W60)
        ("ripper", 40_000.0, 10.0, 11_852.0, 0.5),
        # iowa-a329: 180 hp, 15 years, 400 h a year prints 23 % (W61), to the printed whole per cent
        ("large", 100.0, 15.0, 23.0, 0.5),
        # a trade page with Iowa's table: 105 hp, 10 years, 400 h prints 37 % of 75,000 (W62), to the whole per cent
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


def test_the_annual_average_fuel_factor_in_litres():
    # asae2000: 0.73 x 0.06 = 0.0438 US gallons per PTO horsepower hour (W56)
    litres_per_kwh = 0.0438 * L_PER_US_GALLON / (W_PER_HP / 1000.0)
    assert litres_per_kwh == pytest.approx(0.2223, rel=1e-3)


def test_labour_and_lubricant_are_the_shares_of_the_cost_equations(prices):
    # asae2000: labour 1.1 of machine hours, lubricant 15 % of fuel
    assert (prices.labour_factor.value, prices.lubricant_share.value) == (1.1, 0.15)
