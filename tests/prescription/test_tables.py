"""The tables of a plan: candidates, defaults, setting up, moisture, and what the shipped tables hold."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from hardpan.core.errors import SettingsError
from hardpan.money.rates import spread_rates
from hardpan.options.conditions import judge
from hardpan.options.soil_types import wetted_depth_mm
from hardpan.prescription.tables import conditions_of, moisture_window
from hardpan.records.advice import Known, Topic, Verdict
from hardpan.records.decision import SeasonSettings
from hardpan.records.plan import PLAN


@pytest.fixture(scope="module")
def plan(made):
    ground = made.ground(soils=("deep sand", "loam", "sand over sodic clay"), clay_mm=(np.nan, np.nan, 400.0))
    soils = ["deep sand", "loam", "sand over sodic clay"]
    money = made.rates(soils, worth=(500.0, 450.0, 80.0), per_hour=150.0)
    season = SeasonSettings(moist_depth_mm=300.0)
    return made.decide(ground, made.shipped_catalog(), money, season=season)[1]


def test_the_plan_has_the_columns_of_the_contract(plan):
    assert list(plan.zones.columns) == list(PLAN)


def test_every_zone_and_option_is_a_candidate_with_a_reason_where_it_is_not_allowed(plan):
    table = plan.candidates
    assert len(table) == 3 * table["option"].nunique()
    assert (table.loc[~table["allowed"], "limit"] != "").all()
    assert (table.loc[table["allowed"], "limit"] == "").all()
    assert table.loc[table["allowed"], "net_per_ha"].notna().all()


def test_the_machine_table_has_one_row_a_ripped_zone_that_agrees_with_the_plan(plan):
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    assert plan.machine["zone"].tolist() == ripped["zone"].tolist()
    hours = plan.machine["hours_per_ha"].to_numpy()
    rate = ripped["speed_kmh"] * plan.machine["width_m"].to_numpy() * plan.machine["field_efficiency"].to_numpy() / 10
    assert hours * rate.to_numpy() == pytest.approx(ripped["passes"].to_numpy(), rel=1e-6)


def test_hours_and_fuel_of_the_draws_agree_with_the_machine_table(plan):
    ripped = (plan.zones["depth_mm"] > 0).to_numpy()
    area = plan.zones.loc[ripped, "area_ha"].to_numpy()
    assert plan.fuel_l[ripped].mean(axis=1) == pytest.approx(area * plan.machine["fuel_l_per_ha"], rel=1e-6)
    assert plan.hours[ripped].mean(axis=1) == pytest.approx(area * plan.machine["hours_per_ha"], rel=1e-6)
    assert (plan.hours[~ripped] == 0).all()


def test_the_moisture_of_each_zone_is_judged_at_its_own_depth(plan):
    verdicts = plan.moisture.set_index("zone")["verdict"]
    depths = plan.zones.set_index("zone")["depth_mm"]
    for zone, depth in depths.items():
        assert verdicts[zone] == ("not ripped" if depth == 0 else "wait" if depth > 300 else "ready")


def test_every_shipped_number_is_listed_with_source_and_standing(plan):
    table = plan.defaults
    assert table[["unit", "source", "standing"]].ne("").all(axis=None)
    keys = set(table["key"])
    assert "rules.stranded lime.gain.inclusion" in keys
    assert {"effort.depth_exponent", "setups.winged.foot_width", "tractors.tracked-370kw.engine_power"} <= keys
    assert "soils.deep sand.first_year_gain" in keys
    assert not table["key"].duplicated().any()


def test_the_users_own_numbers_are_not_defaults(made):
    catalog = made.shipped_catalog(prices={"fuel_per_l": 1.9})
    _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"]))
    assert "prices.fuel_per_l" not in set(plan.defaults["key"])


def test_setting_up_covers_ballast_level_slip_and_what_to_dig_for(plan):
    topics = {step.topic for step in plan.setting_up}
    assert {Topic.BALLAST, Topic.BALANCE, Topic.SLIP, Topic.LEVEL, Topic.DIG} <= topics
    assert all(step.source for step in plan.setting_up)


def test_a_plan_without_a_ripped_zone_has_an_empty_machine_table(made, catalog):
    _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"], worth=0.0))
    assert isinstance(plan.machine, pd.DataFrame)
    assert plan.machine.empty
    assert {"zone", "hours_per_ha", "fuel_l_per_ha"} <= set(plan.machine.columns)


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
    low, high = spread_rates(catalog.soils["deep sand"], catalog.prices.gypsum_per_meq)["gypsum"].span
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


@pytest.mark.parametrize("rate", [{"value": 3000, "unit": "kg/m"}, {"value": -2, "unit": "t/ha"}])
@pytest.mark.parametrize("item", ["lime", "gypsum"])
def test_a_rate_in_another_unit_or_below_nothing_is_refused(made, item, rate):
    with pytest.raises(SettingsError, match=rf"{item} = .* cannot be used; expected .*t/ha"):
        made.shipped_catalog(soil={"types": {"deep sand": {item: rate | {"source": "user"}}}})


def test_closed_ground_has_no_conditions_to_tell(made, catalog):
    """Cores in an exclusion say nothing to anyone who works round it."""
    rules = catalog.rules[:1]
    facts = pd.DataFrame({"pan_probability": [0.9, 0.9], "cores": [0, 0], "cores_of": ["", ""]})
    table = pd.DataFrame({"zone": [1, 2], "kind": ["ground", "exclusion"], "soil_type": ["deep sand", "rock"]})
    context = SimpleNamespace(
        table=table, facts=facts, judged=judge(rules, facts), catalog=catalog.model_copy(update={"rules": rules})
    )
    (found,) = conditions_of(context, ["plain", ""])
    assert found.zone == 1
    assert made.words(catalog).ground.met(found) == "yes: a pan is likely (chance of a pan 90 %)"


@pytest.fixture
def sand(catalog):
    return catalog.available_water["sand"]


def window(depth_mm, water, *, repellent=False, **season):
    return moisture_window(depth_mm, SeasonSettings(**season), water, repellent=repellent)


def test_25_mm_of_rain_wet_sand_to_40_cm(sand):
    """Computed from the plant-available water of Agriculture Victoria (`agvic-raw`): 0.62 mm/cm."""
    assert wetted_depth_mm(25.0, sand) == pytest.approx(403.0, rel=0.005)


@pytest.mark.parametrize(
    ("texture", "rain_mm"), [("sand", 31.0), ("loamy sand", 43.5), ("sandy loam", 57.5), ("loam", 71.5)]
)
def test_the_rain_that_reaches_50_cm_depends_on_texture(catalog, texture, rain_mm):
    """Computed from the same table: 31, 43.5, 57.5 and 71.5 mm."""
    needed = window(500, catalog.available_water[texture], rain_since_dry_mm=0.0).rain_needed_mm
    assert needed == pytest.approx(rain_mm)


def test_moist_to_the_working_depth_is_ready(sand):
    found = window(450, sand, moist_depth_mm=500.0)
    assert (found.verdict, found.known) == (Verdict.READY, Known.DUG)


def test_moist_above_the_working_depth_waits_and_says_how_much_rain(sand):
    found = window(450, sand, moist_depth_mm=300.0)
    assert found.verdict == "wait"
    assert found.rain_needed_mm == pytest.approx(15 * 0.62)


def test_too_wet_by_hand_comes_before_everything(sand):
    assert window(450, sand, moist_depth_mm=900.0, too_wet=True).verdict == "too wet"


def test_rain_says_nothing_on_repellent_ground_and_nothing_is_never_ready(sand):
    repellent = window(450, sand, rain_since_dry_mm=100.0, repellent=True)
    assert (repellent.verdict, repellent.known) == (Verdict.UNKNOWN, Known.REPELLENT)
    nothing = window(450, sand)
    assert (nothing.verdict, nothing.known) == (Verdict.UNKNOWN, Known.NOT_GIVEN)
    assert np.isnan(nothing.moist_depth_mm)


def test_ground_that_is_left_needs_no_window(sand):
    for season in ({}, {"moist_depth_mm": 900.0}, {"too_wet": True}):
        found = window(0, sand, **season)
        assert found.verdict is Verdict.NOT_RIPPED
