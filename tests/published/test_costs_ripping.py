"""Whole costs and returns of ripping against published ones."""

from dataclasses import replace

import numpy as np
import pytest

from builders import costs
from hardpan.money.machines import ownership_share, remaining_share
from hardpan.money.worth import season_weights
from hardpan.options.effort import Puller


@pytest.fixture(scope="module")
def made():
    return costs


def one_hectare(made, *, other, litres=0.0, fuel_per_l=0.0, gain=0.0, lime_t=0.0, lime_per_t=0.0, crop="wheat"):
    """The ledger of a hectare where `other` and fuel are all the ripping costs, and spreading comes with the lime."""
    lime = {"lime": {"value": lime_t, "unit": "t/ha", "source": "farmtrials26127"}}
    spreading = {"value": 0.0, "unit": "AUD/ha", "source": "farmtrials26127"}
    prices = {"grain_per_t": 330.0, "lime_per_t": lime_per_t, "spreading_per_ha": spreading}
    catalog = made.shipped_catalog(prices=prices, soil={"types": {"deep sand": lime}}, season={"crop": crop})
    rates = made.rates_of(catalog, ("deep sand",), n_draws=2)
    paid = {name: np.zeros(2) for name in rates.items["item"]} | {
        "labour": np.full(2, other),
        "fuel": np.full(2, fuel_per_l),
    }
    rates = replace(rates, scenarios=rates.scenarios.assign({name: ("draw", rate) for name, rate in paid.items()}))
    plan = made.plan_of([("deep sand", 1.0, 500)], n_draws=2, hours_per_ha=1.0, fuel_l_per_ha=litres)
    plan = replace(plan, returns=np.full((1, 2), gain * 330.0 - other - litres * fuel_per_l))
    return made.ledger_of(plan, catalog=catalog, rates=rates, options=made.options_of(n_draws=2))


def total(ledger, item):
    return ledger.lines.set_index(["zone", "item"]).loc[("total", item), "amount"]


def test_break_even_of_the_2022_article(made):
    # farmweekly2022: 62 of labour, wages and depreciation, 132 in all at 2 a litre; 0.4 t/ha at 330 pays it
    ledger = one_hectare(made, other=62.0, litres=35.0, fuel_per_l=2.0)
    assert total(ledger, "cost") == 132.0
    assert ledger.investment.set_index("zone").loc["total", "break_even_t_per_ha"] == pytest.approx(0.4, rel=1e-9)


def test_net_return_of_the_2022_article_at_dearer_fuel(made):
    # farmweekly2022: 0.6 t/ha at 330, other costs 62, fuel at 3 a litre leaves 28 with the 36 L/ha it implies
    ledger = one_hectare(made, other=62.0, litres=36.0, fuel_per_l=3.0, gain=0.6)
    assert total(ledger, "benefit") == pytest.approx(0.6 * 330.0)
    assert total(ledger, "net return") == pytest.approx(28.0)


@pytest.mark.parametrize(
    ("lime_t", "lime_cost", "work", "published"),
    # farmtrials26127: 3 t lime 188.6, 6 t lime 377.1, rip 38.5, rip and spade 113.7
    [(3.0, 188.6, 38.5, 227.1), (6.0, 377.1, 38.5, 415.6), (3.0, 188.6, 113.7, 302.2), (6.0, 377.1, 113.7, 490.8)],
)
def test_treatments_add_up_as_in_the_trial(made, lime_t, lime_cost, work, published):
    ledger = one_hectare(made, other=work, lime_t=lime_t, lime_per_t=lime_cost / lime_t)
    # the trial prints tenths: two roundings may stand between its sum and its parts
    assert total(ledger, "cost") + total(ledger, "amendments") == pytest.approx(published, abs=0.11)


@pytest.mark.parametrize(("factor", "published"), [(1.0, 22.58), (1.25, 28.23)])
def test_gypsum_requirement_of_the_irrigation_text(made, factor, published):
    # irrigation-ex87: ESP 35 to 15, 22 meq/100 g, 400 mm, 3.85 t per meq in 300 mm, printed to 0.01
    test = {"esp": 35, "target_esp": 15, "exchange_capacity": 22, "depth": 400, "field_factor": factor}
    reclaim = {
        name: {"value": value, "unit": "as printed", "source": "irrigation-ex87"} for name, value in test.items()
    }
    catalog = made.shipped_catalog(soil={"types": {"deep sand": {"reclaim": reclaim}}})
    lines = made.ledger_of(made.plan_of([("deep sand", 1.0, 400)]), catalog=catalog).lines.set_index(["zone", "item"])
    assert lines.loc[("1", "gypsum"), "quantity"] == pytest.approx(published, abs=0.0101)


@pytest.mark.parametrize(
    ("crop", "kg_per_t"), [("wheat", 9.0), ("barley", 8.0), ("triticale", 7.0), ("canola", 2.0), ("lupin", 20.0)]
)
def test_grain_takes_lime_off_at_the_published_rates(made, crop, kg_per_t):
    # dpird-ph: kg CaCO3 per t of grain.
    # Money of 0.6 t/ha, if all seasons count in one, is that of a first season's gain of 0.6 t/ha over their sum.
    row = one_hectare(made, other=62.0, gain=0.6, crop=crop).investment.iloc[0]
    sand, prices = made.SHIPPED.soils["deep sand"], made.SHIPPED.prices
    lasts = season_weights(np.array([sand.persistence.value]), sand.seasons.value, prices.discount_rate.value).sum()
    assert row["lime_removed_kg_per_ha"] == pytest.approx(0.6 / lasts * kg_per_t, rel=0.02)  # persistence is drawn


@pytest.mark.parametrize(
    ("depth_mm", "highest"),
    # whole costs were 40 to 90 AUD/ha in 2017 (grdc2017-data) and 132 in 2022 at 550 mm, 2 a litre (farmweekly2022:
    # labour, wages, depreciation and fuel; interest, housing, repairs and points are in ours as well). Prices rose, so
    # a quarter more is allowed. Hours and litres are those the pipeline reckons.
    [(325, 1.25 * 90.0), (550, 1.25 * 132.0)],
)
def test_the_shipped_machine_costs_what_ripping_costs(made, depth_mm, highest):
    catalog = made.shipped_catalog(prices={"fuel_per_l": 2.0})
    setups, depths_mm = (catalog.setups["plain"],), np.array([float(depth_mm)])
    passes = Puller(catalog=catalog, texture="coarse", setups=setups, depth_mm=depths_mm).plan()
    litres = float(passes.pull_l_per_ha[0] + passes.idle_l_per_ha[0])
    plan = made.plan_of(
        [("deep sand", 1.0, depth_mm)], hours_per_ha=float(passes.hours_per_ha[0]), fuel_l_per_ha=litres
    )
    assert 40.0 < total(made.ledger_of(plan, catalog=catalog), "cost") < highest


def test_labour_and_depreciation_alone_are_near_those_of_the_2022_article(made):
    # farmweekly2022: 62 of labour, wages and depreciation at 550 mm, beside fuel. Interest, housing, repairs, points
    # and lubricant are in our cost and not in it. Plausibility: another machine, so from half of it to a quarter more.
    catalog = made.shipped_catalog()
    hours = 10.0 / (7.0 * catalog.ripper.width_m * 0.83)  # pm696, h/ha at 7 km/h
    labour = catalog.prices.labour_per_h.value * catalog.prices.labour_factor.value
    depreciation = 0.0
    for row, machine in (("large", catalog.tractor), ("ripper", catalog.ripper)):
        years, yearly_hours = np.array(machine.years.value), np.array(machine.hours_per_year.value)
        remaining = remaining_share(catalog.prices.remaining_value[row], years, yearly_hours)
        yearly = machine.list_price.value * ownership_share(remaining, years, np.array(0.0))
        depreciation += float(yearly / yearly_hours)
    assert 0.5 * 62.0 < hours * (labour + depreciation) < 1.25 * 62.0


def test_the_second_year_gives_half_of_the_first(made):
    # farmweekly-mullewa, quoting GRDC: about half of the first year's gain is left in the second
    sand = made.SHIPPED.soils["deep sand"]
    by_season = season_weights(np.array([sand.persistence.value]), sand.seasons.value, 0.0)[0]
    assert by_season[1] / by_season[0] == pytest.approx(0.5)


def test_the_gain_of_southern_sands_is_drawn_over_the_published_range(made):
    # grdc2021-mallee: 0.2 to 1.2, mean 0.6 t/ha in the first year
    gain = made.rates_of(made.SHIPPED, ("deep sand",)).scenarios["first_year_t_per_ha"].to_numpy()[:, 0]
    assert gain.mean() == pytest.approx(0.6, rel=1e-3)
    assert 0.2 <= gain.min() < 0.3  # a beta distribution over 200 draws reaches near the ends
    assert 1.0 < gain.max() <= 1.2


def test_the_gain_over_clay_is_the_mean_of_the_duplex_trials(made):
    # crabtree1989: 230 kg/ha over 35 sites
    gain = made.rates_of(made.SHIPPED, ("sand over clay",)).scenarios["first_year_t_per_ha"]
    assert float(gain.mean()) == pytest.approx(0.23, rel=1e-3)
