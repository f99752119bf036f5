"""Laws of the ledger and of the money behind it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from builders import costs as made
from hardpan.costs.lines import AMENDMENTS, COSTS
from hardpan.money.draws import Draws, beta_at
from hardpan.money.machines import remaining_share
from hardpan.money.worth import season_weights
from hardpan.records.quantity import Quantity

N_DRAWS = 20
CENT = 0.01
FEW = settings(max_examples=25, deadline=None)

area_ha = st.floats(0.01, 500.0)
ground = st.tuples(st.sampled_from(["deep sand", "sand over clay"]), area_ha, st.sampled_from([0, 250, 300, 475, 600]))
paddocks = st.lists(ground, min_size=1, max_size=6)
work = st.fixed_dictionaries({"hours_per_ha": st.floats(0.1, 3.0), "fuel_l_per_ha": st.floats(1.0, 80.0)})


@st.composite
def quantities(draw):
    low, value, high = sorted(draw(st.lists(st.floats(-1e4, 1e4), min_size=3, max_size=3)))
    return Quantity(value=value, low=low, high=high, unit="1", source="user")


@pytest.fixture(scope="module")
def limed():
    lime = {"lime": {"value": 1.7, "unit": "t/ha", "source": "user"}}
    return made.shipped_catalog(soil={"types": {"sand over clay": lime}})


def ledger(zones, catalog=made.SHIPPED, *, zone_cost=13.37, **how):
    plan = made.plan_of(zones, n_draws=N_DRAWS, **how)
    options = made.options_of(n_draws=N_DRAWS)
    soils = ("deep sand", "sand over clay")
    return made.ledger_of(plan, catalog=catalog, options=options, soil_types=soils, zone_cost=zone_cost)


def cents(amounts):
    return np.rint(np.asarray(amounts, dtype=float) * 100).astype(np.int64)


@FEW
@given(zones=paddocks, how=work)
def test_the_ledger_adds_up_to_the_cent(zones, how, limed):
    lines = ledger(zones, limed, **how).lines
    for item, same in lines.groupby("item"):
        total = same.loc[same["zone"] == "total", "amount"].item()
        assert cents(total) == cents(same.loc[same["zone"] != "total", "amount"]).sum(), item
    for zone, own in lines.groupby("zone"):
        amount = own.set_index("item")["amount"]
        for name, parts in (("cost", COSTS), ("amendments", AMENDMENTS)):
            if name in amount:
                assert cents(amount[name]) == cents(amount[amount.index.isin(parts)]).sum(), zone
        if "benefit" in amount:
            assert cents(amount["benefit"]) == cents(amount["cost"]) + cents(amount["net return"])


@FEW
@given(zones=paddocks, how=work)
def test_no_amount_lies_outside_its_range(zones, how, limed):
    told = ledger(zones, limed, **how)
    assert (told.lines["low"] <= told.lines["amount"]).all()
    assert (told.lines["amount"] <= told.lines["high"]).all()
    assert (told.strategies["net_low"] <= told.strategies["net"]).all()
    assert (told.strategies["net"] <= told.strategies["net_high"]).all()


@pytest.mark.slow
@FEW
@given(area_ha=area_ha, share=st.floats(0.05, 0.95), zone_cost=st.floats(0.0, 100.0), how=work)
def test_a_zone_split_in_two_costs_at_least_as_much(area_ha, share, zone_cost, how):
    whole = ledger([("deep sand", area_ha, 400)], zone_cost=zone_cost, **how)
    parts = [("deep sand", part * area_ha, 400) for part in (share, 1.0 - share)]
    split = ledger(parts, zone_cost=zone_cost, **how)
    cost = [told.strategies["cost"].iloc[0] for told in (whole, split)]
    rounding = len(COSTS) * CENT  # each line of each part is a whole cent
    assert cost[1] >= cost[0] + zone_cost - rounding


@pytest.mark.slow
@FEW
@given(fuel=st.floats(0.0, 5.0), dearer=st.floats(0.1, 5.0), how=work)
def test_dearer_fuel_costs_more(fuel, dearer, how):
    cheap, dear = (
        ledger([("deep sand", 10.0, 400)], made.shipped_catalog(prices={"fuel_per_l": price}), **how)
        for price in (fuel, fuel + dearer)
    )
    assert dear.strategies["cost"].iloc[0] > cheap.strategies["cost"].iloc[0]


@given(
    persistence=st.floats(0.0, 1.0), seasons=st.floats(0.5, 15.0), rate=st.floats(0.0, 0.3), more=st.floats(0.01, 0.5)
)
def test_discounting_lowers_what_the_seasons_are_worth(persistence, seasons, rate, more):
    worth = [season_weights(np.array([persistence]), seasons, r).sum() for r in (rate, rate + more)]
    assert worth[1] < worth[0]


@example(persistence=0.0625, seasons=13.0, longer=3.0)
@given(persistence=st.floats(0.0, 0.9), seasons=st.floats(1.0, 15.0), longer=st.floats(0.0, 5.0))
def test_a_gain_that_lasts_is_worth_no_less(persistence, seasons, longer):
    def worth(kept, lasting):  # rounded once: sums of more terms may else be a last bit less
        return math.fsum(season_weights(np.array([kept]), lasting, 0.06).ravel())

    assert worth(persistence + 0.1, seasons) >= worth(persistence, seasons)
    assert worth(persistence, seasons + longer) >= worth(persistence, seasons)


@given(quantity=quantities(), seed=st.integers(0, 2**32))
def test_draws_stay_in_the_range_and_rise_with_the_level(quantity, seed):
    levels = Draws(n_draws=50, seed=seed).levels("any")
    drawn = beta_at(quantity, levels)
    assert drawn.min() >= quantity.low
    assert drawn.max() <= quantity.high
    assert (np.diff(drawn[np.argsort(levels)]) >= 0).all()


@given(low=st.floats(-100.0, 100.0), wide=st.floats(0.1, 100.0), at=st.floats(0.1, 0.9))
def test_the_mean_of_the_draws_is_the_value(low, wide, at):
    quantity = Quantity(value=low + at * wide, low=low, high=low + wide, unit="1", source="user")
    drawn = Draws(n_draws=200, seed=1)("any", quantity)
    assert drawn.mean() == pytest.approx(quantity.value, abs=2e-3 * wide)


@given(share=st.floats(0.0, 1.0))
def test_a_part_in_common_correlates_the_draws_by_that_part(share):
    drawn, known = Draws(n_draws=2000, seed=3), Quantity(value=0.5, low=0.0, high=1.0, unit="1", source="user")
    one, two = (drawn.partly_common(name, known, common="all", share=share) for name in ("one", "two"))
    assert np.corrcoef(one, two)[0, 1] == pytest.approx(share, abs=0.06)  # 2000 draws: standard error up to 0.022


@given(years=st.floats(0.0, 20.0), older=st.floats(0.1, 10.0), hours=st.floats(0.0, 2000.0))
def test_a_machine_never_gains_value_with_age(years, older, hours):
    for row in made.SHIPPED.prices.remaining_value.values():
        now, later = (remaining_share(row, np.array(age), np.array(hours)) for age in (years, years + older))
        assert 0.0 <= later <= now <= 1.0


@FEW
@given(zones=paddocks)
def test_the_order_of_the_draws_changes_no_amount(zones):
    plan = made.plan_of(zones, n_draws=N_DRAWS)
    back = replace(plan, returns=plan.returns[:, ::-1])
    one, two = (made.ledger_of(p, catalog=made.SHIPPED, options=made.options_of(n_draws=N_DRAWS)) for p in (plan, back))
    assert np.allclose(one.lines["amount"], two.lines["amount"], atol=CENT)
    assert (one.days, one.open_ha) == pytest.approx((two.days, two.open_ha))
    assert one.seasons == two.seasons
