import numpy as np
import pytest

from hardpan.core.errors import SettingsError
from hardpan.money.machines import ownership_share, tractor_class


def test_owning_is_depreciation_and_a_yearly_share_of_the_mean_value():
    # straight-line arithmetic, no published value: 120,000 list, 10 years, 29.63 % left, 6 % interest and 1 % housing
    per_year = 120_000.0 * ownership_share(np.array(0.2963), np.array(10.0), np.array(0.07))
    assert per_year == pytest.approx(8_444.0 + 77_778.0 * 0.07, rel=1e-4)


@pytest.mark.parametrize(("power_kw", "row"), [(60, "medium"), (111.9, "medium"), (112, "large"), (400, "large")])
def test_a_tractor_takes_the_row_of_its_power(made, power_kw, row):
    catalog = made.shipped_catalog(machine={"tractor": {"like": "rear-drive-110kw", "engine_power": power_kw}})
    assert tractor_class(catalog.tractor, catalog.prices) == row


def test_a_tractor_below_every_class_is_said(made):
    catalog = made.shipped_catalog(machine={"tractor": {"like": "rear-drive-110kw", "engine_power": 40}})
    with pytest.raises(SettingsError, match=r"no remaining value is known for a tractor of 40 kW"):
        made.rates_of(catalog)


def test_more_hours_a_year_make_an_hour_cheaper(made):
    own = [
        made.rates_of(
            made.shipped_catalog(machine={"ripper": {"like": "seven-tine-600", "hours_per_year": hours}})
        ).scenarios["ripper ownership"]
        for hours in (100.0, 200.0)
    ]
    assert (own[0] > own[1]).all()


def test_an_hour_costs_a_point_of_capital_more_with_each_point_of_interest(made):
    rates = [
        made.rates_of(made.shipped_catalog(prices={"discount_rate": {"value": rate}})).scenarios
        for rate in (0.05, 0.12)
    ]
    dearer = (rates[1]["per_hour"] - rates[0]["per_hour"]).to_numpy()
    assert dearer == pytest.approx(0.07 * rates[0]["capital_per_hour"].to_numpy(), rel=1e-9)
