"""Whole costs and returns of ripping against published ones."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from builders import costs
from hardpan.core.units import M2_PER_ACRE, M2_PER_HA, POUND_KG
from hardpan.costs.lines import BY_WORK
from hardpan.money.machines import ownership_share, remaining_share, tractor_class
from hardpan.money.worth import season_weights
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock
from small_paddock import Small, rectangle


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
    paid = {name: np.zeros(2) for name in (*BY_WORK, "points and wear")} | {
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


FORGOTTEN = ("tractor repairs", "ripper repairs", "lubricant", "points and wear")
"""What the articles do not list, beside the interest and insurance of owning."""


def labour_and_depreciation(made, money):
    """Labour, wages and depreciation, as farmweekly2022 lists them, from the money of a whole run.

    Owning without interest and insurance, by the shares that those have at the mean price, years and hours.
    """
    catalog = made.SHIPPED
    prices, machines = catalog.prices, {"tractor": catalog.tractor, "ripper": catalog.ripper}
    sizes = {"tractor": tractor_class(catalog.tractor, prices), "ripper": "ripper"}
    yearly = prices.discount_rate.value + prices.housing_insurance_tax.value
    total = money["labour"]
    for name, machine in machines.items():
        years, hours = np.array(machine.years.value), np.array(machine.hours_per_year.value)
        remaining = remaining_share(prices.remaining_value[sizes[name]], years, hours)
        depreciation, owning = (ownership_share(remaining, years, rate) for rate in (0.0, yearly))
        total += money[f"{name} ownership"] * float(depreciation / owning)
    return total


@pytest.fixture(scope="module")
def whole_runs(tmp_path_factory):
    """Money, litres and hours per ha that whole runs of a paddock of deep sand with long runs come to.

    By depth and set-up. Shipped tractor, ripper and prices, fuel at 2 AUD/L; one depth is offered, and the gain is such
    that it pays.
    """
    found = {}
    for depth_mm, setup in ((325, "plain"), (550, "plain"), (325, "inclusion")):
        given = {
            "machine": f'setup = "{setup}"',
            "numbers.rippers.seven-tine-600": f"min_depth = {depth_mm}\nmax_depth = {depth_mm}",
            "prices": "fuel_per_l = 2.0",
            "season": "moist_depth_mm = 700",
            'soil.types."deep sand"': "first_year_gain = 3.0",
            "surfaces": "cell_m = 20",
        }
        paddock = Small(
            ring=rectangle(0, 0, 1000, 200),
            sites=tuple((east, north) for east in (100, 350, 600, 850) for north in (40, 160)),
            tables=given,
        )
        config = read_config(paddock.write(tmp_path_factory.mktemp("ripped")))
        run = run_paddock(config, Clock(now=datetime(2027, 3, 1, tzinfo=UTC)))
        lines = run.ledger.lines[run.ledger.lines["zone"] == "total"].set_index("item")
        ripped_ha = lines.loc["cost", "quantity"]
        found[depth_mm, setup] = (lines["amount"] / ripped_ha, lines["quantity"] / ripped_ha)
    return found


@pytest.mark.parametrize(
    ("depth_mm", "lowest", "highest"),
    # grdc2017-data: 40 to 90 AUD/ha by soil, 2017, at 300 to 700 mm. farmweekly2022: 132 at 550 mm and 2 a litre, of
    # which 62 beside fuel; another machine, so within 15 %. Prices and hours of the machines come from elsewhere.
    [(325, 40.0, 90.0), (550, 0.85 * 132.0, 1.15 * 132.0)],
)
def test_what_the_articles_count_costs_as_much_in_a_whole_run(made, whole_runs, depth_mm, lowest, highest):
    money, _ = whole_runs[depth_mm, "plain"]
    assert lowest < labour_and_depreciation(made, money) + money["fuel"] < highest


def test_labour_and_depreciation_cost_what_the_2022_article_says(made, whole_runs):
    # farmweekly2022: 62 of labour, wages and depreciation at 550 mm; within 15 %, another machine
    money, _ = whole_runs[550, "plain"]
    assert labour_and_depreciation(made, money) == pytest.approx(62.0, rel=0.15)


@pytest.mark.parametrize(("depth_mm", "published"), [(325, 90.0), (550, 132.0)])
def test_repairs_points_and_lubricant_add_no_more_than_a_quarter_to_the_articles(whole_runs, depth_mm, published):
    # grdc2017-data and farmweekly2022 count none of them; no published share was found: a quarter is our allowance
    money, _ = whole_runs[depth_mm, "plain"]
    assert money[list(FORGOTTEN)].sum() < 0.25 * published


def test_fuel_of_a_whole_run_at_550_mm_is_what_two_published_sums_imply(whole_runs):
    # farmweekly2022: 36 and 35 L/ha follow from its sums; 15 %, machine not stated
    assert whole_runs[550, "plain"][1]["fuel"] == pytest.approx(35.5, rel=0.15)


def test_fuel_of_a_whole_run_at_325_mm_is_that_of_two_trials(whole_runs):
    # hamza2006 (its 2013 part, abstract): 13.6 L/ha at 330 mm; grdc2019-inclusion: up to 15.4 with plates at 320 mm.
    # Plain tines lie inside; with plates the shipped tractor, far from its rated power, may burn a tenth more.
    plain, plates = whole_runs[325, "plain"][1]["fuel"], whole_runs[325, "inclusion"][1]["fuel"]
    assert 11.5 <= plain <= 15.4
    assert plain < plates <= 1.1 * 15.4


def test_hours_of_a_whole_run_are_those_of_field_capacity(whole_runs):
    # pm696: speed x width x field efficiency / 10; 83 % of the time at work, 8 km/h at most, 4.2 m
    assert whole_runs[325, "plain"][1]["hours"] == pytest.approx(10.0 / (8.0 * 4.2 * 0.83), rel=0.02)


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


def test_loam_gains_the_bushels_of_the_ohio_trials(made):
    # ohio-subsoiling: six years, about 5 bushels an acre of maize, 56 lb each; half a bushel decides
    catalog = made.shipped_catalog(season={"crop": "maize"})
    gain = catalog.crops["maize"].gain_factor.value * catalog.soils["loam"].first_year_gain.value
    bushels = 1000.0 * gain / (56.0 * POUND_KG) * M2_PER_ACRE / M2_PER_HA
    assert bushels == pytest.approx(5.0, abs=0.5)


def test_loamy_sand_gains_what_it_did_on_the_coastal_plain(made):
    """`busscher2000`: 0.31 to 0.36 MPa softer, 1.5 to 1.7 t/ha of wheat for each MPa; `busscher2004`: 0.67 t/ha."""
    gain = made.SHIPPED.soils["loamy sand"].first_year_gain
    assert 0.31 * 1.5 <= gain.value <= 0.36 * 1.7
    assert gain.low < 0.67 < gain.high


def test_soybean_gains_beside_wheat_as_in_the_double_crop(made):
    # busscher2000: for each MPa 1.1 to 1.8 t/ha of soybean, 1.5 to 1.7 of wheat
    factor = made.shipped_catalog(season={"crop": "soybean"}).crops["soybean"].gain_factor
    assert factor.value == pytest.approx((1.1 + 1.8) / (1.5 + 1.7), rel=0.01)
    assert (factor.low, factor.high) == pytest.approx((1.1 / 1.7, 1.8 / 1.5), rel=0.1)
