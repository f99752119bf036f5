"""Lime and gypsum in the plan: an amount only where the data and a rule with a source give one."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from hardpan.core.errors import SettingsError
from hardpan.options.conditions import judge
from hardpan.prescription.tables import conditions_of

RECLAIM = {
    name: {"value": value, "unit": unit, "source": "irrigation-ex87"}
    for name, value, unit in (
        ("esp", 35.0, "%"),
        ("target_esp", 15.0, "%"),
        ("exchange_capacity", 22.0, "meq/100 g"),
        ("depth", 400.0, "mm"),
        ("field_factor", 1.25, "1"),
    )
}


def conditions(made, *, worth=900.0, soil_type=None, **measured):
    """The conditions met in a paddock of deep sand with one core, and the catalogue behind them."""
    types = {} if soil_type is None else {"soil": {"types": {"deep sand": soil_type}}}
    at = gpd.points_from_xy([made.CORNER_M[0] + 50.0], [made.CORNER_M[1] + 50.0])
    known = {"core": ["a"], "soil_type": ["deep sand"]} | {name: [value] for name, value in measured.items()}
    ground = made.ground(bottom_mm=400.0, cores=gpd.GeoDataFrame(known, geometry=at, crs=made.CRS))
    catalog = made.shipped_catalog(**types)
    return made.decide(ground, catalog, made.rates(["deep sand"], worth=worth))[1].conditions, catalog


def advice(made, **ground):
    """What is said of each, by its name."""
    found, catalog = conditions(made, **ground)
    say = made.words(catalog).ground
    return pd.Series({say.constraint(condition): say.advice(condition) for condition in found})


def test_the_gypsum_of_a_soil_test_is_told_with_what_it_rests_on(made):
    """Published, Practices of Irrigation, example 8.7 (`irrigation-ex87`): 28.23 t/ha with a field factor of 1.25."""
    told = advice(made, soil_type={"reclaim": RECLAIM}, esp_pct=35.0)["sodic clay"]
    assert "Spread 28.2 t/ha of gypsum before ripping (irrigation-ex87: exchangeable sodium 35 to 15 %" in told
    assert "22 meq/100 g, 400 mm, field factor 1.25" in told


def test_the_range_of_a_soil_test_goes_into_the_amount(made):
    """Computed: 40 to 30 % less 15 % is 25 and 15 of the 20 points that give 28.23 t/ha."""
    spread = RECLAIM | {"esp": RECLAIM["esp"] | {"low": 30.0, "high": 40.0}}
    catalog = made.shipped_catalog(soil={"types": {"deep sand": {"reclaim": spread}}})
    low, high = catalog.soils["deep sand"].spread(catalog.prices.gypsum_per_meq)["gypsum"].span
    assert (low, high) == pytest.approx((28.23 * 15 / 20, 28.23 * 25 / 20), rel=1e-3)


def test_sodium_without_exchange_capacity_asks_for_what_is_missing(made):
    told = advice(made, esp_pct=9.0)["sodic clay"]
    assert "No gypsum is priced" in told
    assert "the exchange capacity (meq/100 g)" in told
    assert told.endswith('give it as soil.types."deep sand".gypsum.')


def test_acid_soil_without_a_rate_asks_for_the_recovery_table(made):
    told = advice(made, ph_0_100=5.0, ph_100_200=4.9)["acid topsoil"]
    assert "No lime is priced: a rate needs the recovery table" in told
    assert "t/ha" not in told


def test_a_rate_of_lime_that_was_given_is_told_with_its_range(made):
    rate = {"value": 2.5, "low": 2.0, "high": 3.0, "unit": "t/ha", "source": "user"}
    told = advice(made, soil_type={"lime": rate}, ph_0_100=5.8, ph_100_200=4.3)
    assert "Spread 2.5 t/ha (2.0 to 3.0) of lime before ripping (the rate you gave)." in told["stranded lime"]
    assert "lime" not in told.index


def test_a_rate_that_no_rule_asks_for_has_its_own_line(made):
    rate = {"value": 2.5, "unit": "t/ha", "source": "user"}
    assert advice(made, soil_type={"lime": rate})["lime"].startswith("Spread 2.5 t/ha of lime")


def test_ground_that_is_left_says_that_its_amount_is_not_priced(made):
    rate = {"value": 2.5, "unit": "t/ha", "source": "user"}
    assert advice(made, worth=5.0, soil_type={"lime": rate})["lime"].endswith("priced while the ground is left.")


def test_two_rules_that_ask_for_the_same_item_tell_it_once(made, catalog):
    assert {rule.spreads for rule in catalog.rules} == {None, "lime", "gypsum"}
    found, _ = conditions(made, ph_0_100=5.0, ph_100_200=4.3, esp_pct=9.0)
    spreads = [condition.spread.item for condition in found if condition.spread is not None]
    assert sorted(spreads) == ["gypsum", "lime"]


@pytest.mark.parametrize("rate", [{"value": 3000, "unit": "kg/ha"}, {"value": -2, "unit": "t/ha"}])
@pytest.mark.parametrize("item", ["lime", "gypsum"])
def test_a_rate_in_another_unit_or_below_nothing_is_refused(made, item, rate):
    with pytest.raises(SettingsError, match=rf"{item} = .* 0 or more, in unit = \"t/ha\""):
        made.shipped_catalog(soil={"types": {"deep sand": {item: rate | {"source": "user"}}}})


def test_closed_ground_has_no_conditions_to_tell(made, catalog):
    """Cores in an exclusion say nothing to anyone who works round it."""
    rules = catalog.rules[:1]
    facts = pd.DataFrame({"pan_probability": [0.9, 0.9], "cores": [0, 0], "cores_of": ["", ""]})
    table = pd.DataFrame({"zone": [1, 2], "kind": ["ground", "exclusion"], "soil_type": ["deep sand", "rock"]})
    context = SimpleNamespace(
        table=table, facts=facts, judged=judge(rules, facts), catalog=catalog.model_copy(update={"rules": rules})
    )
    (found,) = conditions_of(context, np.array([True, False]))
    assert found.zone == 1
    assert made.words(catalog).ground.met(found) == "yes: a pan is likely (chance of a pan 90%)"
