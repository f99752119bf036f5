import numpy as np
import pandas as pd
import pytest

from hardpan.costs.lines import COSTS
from hardpan.records.advice import Condition, Met
from hardpan.records.ledger import TALLY


def cents(amounts):
    return np.rint(np.asarray(amounts) * 100).astype(int)


def test_the_columns_are_those_of_the_tally(ledger):
    assert tuple(ledger.lines.columns) == TALLY


def test_every_item_adds_up_over_the_zones_to_the_cent(ledger):
    zones = ledger.lines[ledger.lines["zone"] != "total"].groupby("item")["amount"].agg(lambda a: cents(a).sum())
    total = ledger.lines[ledger.lines["zone"] == "total"].set_index("item")["amount"]
    assert set(total.index) == set(zones.index)
    assert (cents(total[zones.index]) == zones).all()


def test_the_cost_of_a_zone_is_the_sum_of_its_items_to_the_cent(ledger):
    for _, lines in ledger.lines.groupby("zone"):
        amount = lines.set_index("item")["amount"]
        if "cost" in amount:
            assert cents(amount["cost"]) == cents(amount[amount.index.isin(COSTS)]).sum()
            assert cents(amount["benefit"]) == cents(amount["cost"]) + cents(amount["net return"])


def test_quantity_times_price_is_the_amount(ledger):
    paid = ledger.lines[ledger.lines["quantity"] > 0]
    assert np.allclose(paid["quantity"] * paid["price"], paid["amount"])


def test_ground_left_alone_and_excluded_has_an_area_and_no_cost(ledger):
    for zone in ("4", "5"):
        assert list(ledger.lines.loc[ledger.lines["zone"] == zone, "item"]) == ["area"]


def test_the_areas_add_up_to_the_paddock(made, ledger):
    area = ledger.lines[(ledger.lines["zone"] == "total") & (ledger.lines["item"] == "area")]
    assert area["quantity"].item() == pytest.approx(sum(area_ha for _, area_ha, _ in made.PADDOCK))


def test_lime_is_priced_only_where_the_configuration_says_how_much(made, ledger):
    assert not ledger.lines["item"].isin(["lime", "gypsum", "spreading", "amendments"]).any()
    lime = {"value": 3.0, "unit": "t/ha", "source": "user"}
    catalog = made.shipped_catalog(prices={"lime_per_t": 50.0}, soil={"types": {"sand over clay": {"lime": lime}}})
    limed = made.ledger_of(made.plan_of(made.PADDOCK), catalog=catalog, zone_cost=20.0)
    lines = limed.lines.set_index(["item", "zone"])
    assert list(lines.loc["lime"].index) == ["3", "total"]
    assert lines.loc[("lime", "3"), "quantity"] == pytest.approx(78.0)
    assert lines.loc[("lime", "3"), "amount"] == pytest.approx(3900.0)
    assert lines.loc[("spreading", "total"), "quantity"] == 26.0
    apart = lines.loc[("lime", "3"), "amount"] + lines.loc[("spreading", "3"), "amount"]
    assert lines.loc[("amendments", "3"), "amount"] == pytest.approx(apart)


def test_a_paddock_left_alone_has_a_ledger_of_areas(made):
    plan = made.plan_of([("deep sand", 10.0, 0)])
    lines = made.ledger_of(plan).lines
    assert list(lines["item"]) == ["area", "area"]
    assert lines["amount"].sum() == 0.0


def test_drawn_hours_and_litres_widen_the_range_but_hold_the_rates(made):
    plan = made.plan_of([("deep sand", 10.0, 400)])
    exact = {"value": 2.0, "low": 2.0, "high": 2.0, "unit": "AUD/L", "source": "user"}
    catalog = made.shipped_catalog(numbers={"prices": {"fuel_per_l": exact}})
    spread = np.linspace(0.5, 1.5, plan.returns.shape[1])[np.newaxis]
    drawn = made.plan_of([("deep sand", 10.0, 400)], hours=5.0 * spread, fuel_l=200.0 * spread)
    fuel = [
        made.ledger_of(p, catalog=catalog).lines.set_index(["zone", "item"]).loc[("1", "fuel")] for p in (plan, drawn)
    ]
    assert [line["quantity"] for line in fuel] == pytest.approx([200.0, 200.0])
    assert fuel[0]["low"] == fuel[0]["high"] == pytest.approx(400.0)
    assert fuel[1]["low"] == pytest.approx(220.0, rel=0.01)
    assert fuel[1]["high"] == pytest.approx(580.0, rel=0.01)


def test_the_order_of_zones_changes_nothing_but_the_order_of_lines(made):
    plan = made.plan_of(made.PADDOCK)
    back = made.reordered(plan)
    one, two = (
        made.ledger_of(p, soil_types=("deep sand", "sand over clay")).lines.sort_values(["zone", "item"])
        for p in (plan, back)
    )
    pd.testing.assert_frame_equal(one.reset_index(drop=True), two.reset_index(drop=True))


def test_points_worn_in_a_second_pass_are_paid_for(made):
    once, twice = (made.plan_of([("deep sand", 10.0, 500)]) for _ in range(2))
    twice.zones["passes"] = 2
    paid = [
        made.ledger_of(plan).lines.set_index(["zone", "item"]).loc[("1", "points and wear"), "amount"]
        for plan in (once, twice)
    ]
    assert paid[1] == pytest.approx(2.0 * paid[0], abs=0.01)


def test_what_a_plan_pays_for_setting_zones_is_a_line_of_each(made):
    def setting(*zones):
        return made.ledger_of(made.plan_of(zones), zone_cost=20.0).lines.query("item == 'further zone'")

    ripped = ("deep sand", 10.0, 500)
    assert setting(ripped, ("deep sand", 5.0, 0)).empty
    three = setting(("deep sand", 5.0, 0), ripped, ripped, ripped).set_index("zone")["amount"]
    assert three.to_dict() == {"3": 20.0, "4": 20.0, "total": 40.0}


def asked_for(made, *met, **prices):
    """Ledger of 10 ha where rules of the shipped decision table are met, by their constraint."""
    conditions = tuple(Condition(zone=1, met=Met.YES, constraint=name) for name in met)
    plan = made.plan_of([("deep sand", 10.0, 500), ("deep sand", 5.0, 0)], conditions=conditions)
    return made.ledger_of(plan, catalog=made.shipped_catalog(prices=prices))


def test_rolling_that_the_card_asks_for_is_paid_for_where_it_is_ripped(made):
    lines = asked_for(made, "soft seedbed", "gravel", rolling_per_ha=12.0).lines.set_index(["zone", "item"])
    assert lines.loc[("1", "rolling"), "quantity"] == 10.0
    assert lines.loc[("1", "rolling"), "amount"] == pytest.approx(120.0)
    assert lines.loc[("total", "rolling"), "amount"] == pytest.approx(120.0)


def test_ground_that_is_to_stay_rough_is_sown_to_cover_and_not_rolled(made):
    items = asked_for(made, "soft seedbed", "wind erosion", cover_crop_per_ha=60.0).lines.set_index(["zone", "item"])
    assert items.loc[("1", "cover crop"), "amount"] == pytest.approx(600.0)
    assert ("1", "rolling") not in items.index


def test_a_contractor_leaves_rolling_to_be_paid_as_well(made):
    bare, rolled = (
        asked_for(made, *met, rolling_per_ha={"value": 12.0, "low": 12.0, "high": 12.0, "unit": "AUD/ha"})
        for met in ((), ("gravel",))
    )
    hired = [each.strategies.set_index("strategy")["cost"] for each in (bare, rolled)]
    assert hired[1]["prescription by a contractor"] - hired[0]["prescription by a contractor"] == pytest.approx(120.0)


def test_work_after_the_pass_without_a_price_is_said_not_to_be_counted(made):
    known = made.shipped_catalog()
    unpriced = known.model_copy(update={"prices": known.prices.model_copy(update={"rolling_per_ha": None})})
    gravel = (Condition(zone=1, met=Met.YES, constraint="gravel"),)
    ledger = made.ledger_of(made.plan_of([("deep sand", 10.0, 500)], conditions=gravel), catalog=unpriced)
    assert not (ledger.lines["item"] == "rolling").any()
    (said,) = [issue for issue in ledger.issues if issue.code == "unpriced-after"]
    assert "rolling" in said.what
    assert "rolling_per_ha" in said.done
