"""Each limit of soil, season and machine, alone, where it is what holds the depth: the zone's sentence names it."""

import numpy as np
import pandas as pd
import pytest

from hardpan.options.effort import LIMITS, limit_values, machine_limit

WINGED = {"like": "seven-tine-600", "setups": ["winged"]}
STRONG = {"like": "tracked-370kw", "engine_power": 5000, "mass": 300_000}


def one_zone(made, *, tractor=STRONG, ripper=None, worth=3000.0, season=None, free=False, ask=None, **ground):
    """The zone of a paddock of one soil with a deep pan that is well worth breaking."""
    catalog = made.shipped_catalog(machine={"tractor": tractor, "ripper": WINGED | (ripper or {})})
    surfaces = made.ground(**{"bottom_mm": 500.0} | ground)
    price = {"per_hour": 0.0, "per_litre": 0.0, "wear": 0.0} if free else {}
    money = made.rates(surfaces[0].soil_types, worth=worth, **price)
    return made.decide(surfaces, catalog, money, season=season, **(ask or {}))[1].zones.iloc[0]


def test_the_deepest_the_ripper_goes_is_named(made):
    zone = one_zone(made, ripper={"max_depth": 430})
    assert zone["depth_mm"] == 425
    assert "the ripper goes no deeper than 430 mm" in zone["reason"]


def test_the_deepest_a_set_up_goes_is_named_as_its_own(made):
    catalog = made.shipped_catalog(machine={"tractor": STRONG, "ripper": WINGED})
    short = catalog.setups["winged"].model_copy(
        update={"max_depth": catalog.ripper.max_depth.model_copy(update={"value": 400.0})}
    )
    catalog = catalog.model_copy(update={"setups": {"winged": short}})
    plan = made.decide(made.ground(bottom_mm=500.0), catalog, made.rates(["deep sand"], worth=3000.0))[1]
    assert "winged tines go no deeper than 400 mm" in plan.zones["reason"][0]


def test_the_shallowest_the_ripper_goes_is_named_where_less_would_pay_more(made):
    zone = one_zone(made, ripper={"min_depth": 400}, bottom_mm=240.0, top_mm=150.0, sd_mm=5.0, worth=900.0)
    assert zone["depth_mm"] == 400
    assert "the ripper goes no shallower than 400 mm" in zone["reason"]


def test_no_limit_is_named_where_money_holds_the_depth(made):
    reason = one_zone(made, bottom_mm=350.0, ripper={"max_depth": 650})["reason"]
    assert "no deeper than" not in reason
    assert "forbids" not in reason


def test_an_end_of_the_ripper_that_costs_nothing_is_not_named(made):
    """The pan ends well above the deepest the ripper goes, which it is driven at for free: nothing is lost below."""
    zone = one_zone(made, ripper={"max_depth": 400, "spacing": 200}, bottom_mm=260.0, sd_mm=5.0, free=True)
    assert "no deeper than" not in zone["reason"]


@pytest.mark.parametrize(
    ("limit", "machine"),
    [
        (0, {"tractor": {"like": "rear-drive-110kw", "engine_power": 20, "mass": 300_000, "min_speed": 4}}),
        (1, {"ripper": {"breakout_rating": 8}}),
        (2, {"ripper": {"draft_rating": 8}}),
        (3, {"tractor": STRONG | {"mass": 2000}}),
    ],
    ids=LIMITS,
)
def test_what_a_single_tine_cannot_be_pulled_against_is_named_with_its_figure(made, limit, machine):
    ripper = {"breakout_rating": 500, "draft_rating": 500} | machine.get("ripper", {})
    tractor = machine.get("tractor", STRONG)
    zone = one_zone(made, tractor=tractor, ripper=ripper, worth=50_000.0)
    catalog = made.shipped_catalog(machine={"tractor": tractor, "ripper": WINGED | ripper})
    figure = f"({limit_values(catalog)[limit]:.3g} {'kW usable' if limit == 0 else 'kN'})"
    assert f"{LIMITS[limit]} {figure} forbids {zone['depth_mm'] + 25} mm and deeper" in zone["reason"]


def test_what_takes_tines_off_is_named_with_its_figure(made):
    zone = one_zone(made, tractor="rear-drive-110kw", ripper={"breakout_rating": 500}, worth=5000.0)
    assert "of 7 tines, because" in zone["reason"]
    assert "kW usable)" in zone["reason"] or "kN)" in zone["reason"]


def test_soil_that_is_moist_only_so_deep_is_named(made):
    zone = one_zone(made, season=made.SeasonSettings(moist_depth_mm=380.0), ask={"only_moist": True})
    assert zone["depth_mm"] == 375
    assert "the soil is moist to only 380 mm" in zone["reason"]


def test_hostile_clay_is_named_with_the_depth_it_begins_at_where_it_is_shallowest(made):
    soils = ("sand over sodic clay", "sand over sodic clay")
    surfaces, survey, zones = made.ground(soils=soils, clay_mm=(430.0, 520.0), bottom_mm=500.0)
    zones.labels[zones.labels > 0] = 1
    whole = zones.table.dissolve(by="soil_type", aggfunc={"zone": "min", "kind": "first", "area_ha": "sum"})
    table = whole.reset_index().assign(length_m=200.0, heading_deg=0.0)
    one = type(zones)(frame=zones.frame, labels=zones.labels, table=table, indices=pd.DataFrame(), why="")
    catalog = made.shipped_catalog(machine={"tractor": STRONG, "ripper": WINGED})
    plan = made.decide((surfaces, survey, one), catalog, made.rates([soils[0]], worth=3000.0))[1]
    assert plan.zones["depth_mm"].tolist() == [375]
    assert "hostile clay from 430 mm (kept 50 mm above) forbids 400 mm and deeper" in plan.zones["reason"][0]


def test_under_cover_the_limit_is_named_where_the_share_is_not_reached(made):
    zone = one_zone(made, ripper={"max_depth": 540}, ask={"rule": "cover", "least_cover_share": 0.1})
    assert "the ripper goes no deeper than 540 mm" in zone["reason"]
    assert "(short of the 90% asked for)" in zone["reason"]
    left = one_zone(made, ripper={"max_depth": 400}, ask={"rule": "cover"})
    assert left["depth_mm"] == 0
    assert "the ripper goes no deeper than 400 mm" in left["reason"]
    assert left["would_change"].startswith("a ripper or limits that let the tines go deeper")


def test_under_cover_the_shallowest_the_ripper_goes_is_named_where_less_would_cover(made):
    zone = one_zone(made, bottom_mm=250.0, top_mm=150.0, ripper={"min_depth": 400}, ask={"rule": "cover"})
    assert zone["depth_mm"] == 400
    assert "the ripper goes no shallower than 400 mm" in zone["reason"]
    enough = one_zone(made, bottom_mm=370.0, sd_mm=5.0, ripper={"min_depth": 400}, ask={"rule": "cover"})
    assert enough["depth_mm"] == 400
    assert "no shallower" not in enough["reason"]


def test_clay_above_the_least_depth_of_the_ripper_names_both(made):
    zone = one_zone(made, soils=("sand over sodic clay",), clay_mm=440.0, ripper={"min_depth": 500})
    assert zone["depth_mm"] == 0
    assert zone["reason"] == (
        "Leave unripped: hostile clay from 440 mm (kept 50 mm above) forbids 500 mm and deeper, "
        "and the ripper goes no shallower than 500 mm."
    )
    assert zone["runner_up"] == "no other choice is open here"
    assert zone["would_change"] == "clay found deeper than the map and the cores say"


def test_ground_that_no_limit_would_let_pay_is_left_without_naming_one(made):
    zone = one_zone(made, worth=10.0, ripper={"max_depth": 300})
    assert zone["depth_mm"] == 0
    assert "no deeper" not in zone["reason"]


def test_every_limit_of_the_machine_has_words_and_a_figure(made):
    catalog = made.shipped_catalog()
    texts = [machine_limit(catalog, number) for number in range(-1, len(LIMITS))]
    assert texts[0] == "the speed window"
    assert all(text.startswith(name) and text.endswith((" kN)", "usable)")) for name, text in zip(LIMITS, texts[1:]))  # noqa: B905
    assert np.isfinite(limit_values(catalog)).all()
