"""Each limit of soil, season and machine, alone, where it is what holds the depth: the zone's reason names it."""

from dataclasses import replace

import numpy as np
import pytest

from hardpan.options.effort import limit_values, machine_limit
from hardpan.records.reasons import MACHINE_LIMITS, Limit, Opening

WINGED = {"like": "seven-tine-600", "setups": ["winged"]}
STRONG = {"like": "tracked-370kw", "engine_power": 5000, "mass": 300_000}


def one_zone(made, *, tractor=STRONG, ripper=None, worth=3000.0, season=None, free=False, ask=None, **ground):
    """The zone of a paddock of one soil with a deep pan that is well worth breaking."""
    catalog = made.shipped_catalog(machine={"tractor": tractor, "ripper": WINGED | (ripper or {})})
    surfaces = made.ground(**{"bottom_mm": 500.0} | ground)
    price = {"per_hour": 0.0, "per_litre": 0.0, "wear": 0.0} if free else {}
    money = made.rates(surfaces[0].soil_types, worth=worth, **price)
    plan = made.decide(surfaces, catalog, money, season=season, **(ask or {}))[1]
    return plan.zones["depth_mm"][0], plan.reasons[0]


def test_the_deepest_the_ripper_goes_is_named(made):
    depth, reason = one_zone(made, ripper={"max_depth": 430})
    assert depth == reason.why.depth_mm == 425
    assert (reason.why.held.limit, reason.why.held.value) == (Limit.RIPPER_DEEPEST, 430)


def test_the_deepest_a_set_up_goes_is_named_as_its_own(made):
    catalog = made.shipped_catalog(machine={"tractor": STRONG, "ripper": WINGED})
    short = catalog.setups["winged"].model_copy(
        update={"max_depth": catalog.ripper.max_depth.model_copy(update={"value": 400.0})}
    )
    catalog = catalog.model_copy(update={"setups": {"winged": short}})
    plan = made.decide(made.ground(bottom_mm=500.0), catalog, made.rates(["deep sand"], worth=3000.0))[1]
    held = plan.reasons[0].why.held
    assert (held.limit, held.value, held.name) == (Limit.SETUP_DEEPEST, 400, "winged")


def test_the_shallowest_the_ripper_goes_is_named_where_less_would_pay_more(made):
    depth, reason = one_zone(made, ripper={"min_depth": 400}, bottom_mm=240.0, top_mm=150.0, sd_mm=5.0, worth=2000.0)
    assert depth == 400
    assert (reason.why.held.limit, reason.why.held.value) == (Limit.RIPPER_SHALLOWEST, 400)


def test_no_limit_is_named_where_money_holds_the_depth(made):
    _, reason = one_zone(made, bottom_mm=350.0, ripper={"max_depth": 650})
    assert reason.why.held is None


def test_an_end_of_the_ripper_that_costs_nothing_is_not_named(made):
    """The pan ends well above the deepest the ripper goes, which it is driven at for free: nothing is lost below."""
    _, reason = one_zone(made, ripper={"max_depth": 400, "spacing": 200}, bottom_mm=260.0, sd_mm=5.0, free=True)
    assert reason.why.held is None


@pytest.mark.parametrize(
    ("limit", "machine"),
    [
        (0, {"tractor": {"like": "rear-drive-110kw", "engine_power": 20, "mass": 300_000, "min_speed": 4}}),
        (1, {"ripper": {"breakout_rating": 8}}),
        (2, {"ripper": {"draft_rating": 8}}),
        (3, {"tractor": STRONG | {"mass": 1200}}),
    ],
    ids=MACHINE_LIMITS,
)
def test_what_a_single_tine_cannot_be_pulled_against_is_named_with_its_figure(made, limit, machine):
    ripper = {"breakout_rating": 500, "draft_rating": 500} | machine.get("ripper", {})
    tractor = machine.get("tractor", STRONG)
    depth, reason = one_zone(made, tractor=tractor, ripper=ripper, worth=50_000.0)
    catalog = made.shipped_catalog(machine={"tractor": tractor, "ripper": WINGED | ripper})
    held = reason.why.held
    assert (held.limit, held.value, held.from_mm) == (MACHINE_LIMITS[limit], limit_values(catalog)[limit], depth + 25)


def test_what_takes_tines_off_is_named_with_its_figure(made):
    _, reason = one_zone(made, tractor="rear-drive-110kw", ripper={"breakout_rating": 500}, worth=5000.0)
    pull = reason.why.pull
    assert pull.tines < pull.all_tines == 7
    assert pull.short_of.limit in MACHINE_LIMITS
    assert pull.short_of.value > 0


def test_soil_that_is_moist_only_so_deep_is_named(made):
    depth, reason = one_zone(made, season=made.SeasonSettings(moist_depth_mm=380.0), ask={"only_moist": True})
    assert depth == 375
    assert (reason.why.held.limit, reason.why.held.value) == (Limit.MOIST, 380)


def test_hostile_clay_is_named_with_the_depth_it_begins_at_where_it_is_shallowest(made):
    soils = ("sand over sodic clay", "sand over sodic clay")
    surfaces, survey, zones = made.ground(soils=soils, clay_mm=(430.0, 520.0), bottom_mm=500.0)
    zones.labels[zones.labels > 0] = 1
    whole = zones.table.dissolve(by="soil_type", aggfunc={"zone": "min", "kind": "first", "area_ha": "sum"})
    table = whole.reset_index().assign(length_m=200.0, heading_deg=0.0, headland_ha=0.0)
    one = replace(zones, table=table)
    catalog = made.shipped_catalog(machine={"tractor": STRONG, "ripper": WINGED})
    plan = made.decide((surfaces, survey, one), catalog, made.rates([soils[0]], worth=3000.0))[1]
    assert plan.zones["depth_mm"].tolist() == [375]
    held = plan.reasons[0].why.held
    assert (held.limit, held.value, held.kept_mm, held.from_mm) == (Limit.CLAY, 430, 50, 400)


def test_under_cover_the_limit_is_named_where_the_share_is_not_reached(made):
    _, reason = one_zone(made, ripper={"max_depth": 540}, ask={"rule": "cover", "least_cover_share": 0.1})
    assert (reason.why.held.limit, reason.why.held.value) == (Limit.RIPPER_DEEPEST, 540)
    assert reason.why.cover.reached < reason.why.cover.asked == 0.9
    depth, left = one_zone(made, ripper={"max_depth": 400}, ask={"rule": "cover"})
    assert depth == 0
    assert (left.why.best.held.limit, left.why.best.held.value) == (Limit.RIPPER_DEEPEST, 400)
    assert left.change.by is Opening.DEEPER


def test_under_cover_the_shallowest_the_ripper_goes_is_named_where_less_would_cover(made):
    depth, reason = one_zone(made, bottom_mm=250.0, top_mm=150.0, ripper={"min_depth": 400}, ask={"rule": "cover"})
    assert depth == 400
    assert (reason.why.held.limit, reason.why.held.value) == (Limit.RIPPER_SHALLOWEST, 400)
    depth, enough = one_zone(made, bottom_mm=370.0, sd_mm=5.0, ripper={"min_depth": 400}, ask={"rule": "cover"})
    assert depth == 400
    assert enough.why.held is None


def test_clay_above_the_least_depth_of_the_ripper_names_both(made):
    depth, reason = one_zone(made, soils=("sand over sodic clay",), clay_mm=440.0, ripper={"min_depth": 500})
    why = reason.why
    assert depth == 0
    assert why.best is None
    assert (why.barred.limit, why.barred.value, why.barred.from_mm) == (Limit.CLAY, 440, 500)
    assert (why.shallowest.limit, why.shallowest.value) == (Limit.RIPPER_SHALLOWEST, 500)
    assert reason.runner_up is None
    assert reason.change.by is Opening.LIMIT


def test_ground_that_no_limit_would_let_pay_is_left_without_naming_one(made):
    depth, reason = one_zone(made, worth=10.0, ripper={"max_depth": 300})
    assert depth == 0
    assert reason.why.best.held is None


def test_every_limit_of_the_machine_has_a_figure_with_its_unit(made):
    catalog = made.shipped_catalog()
    held = [machine_limit(catalog, number, 0.9) for number in range(-1, len(MACHINE_LIMITS))]
    assert held[0].limit is Limit.SPEED
    assert [one.limit for one in held[1:]] == list(MACHINE_LIMITS)
    assert [one.limit.unit for one in held[1:]] == ["kW", "kN", "kN", "kN"]
    assert np.isfinite([one.value for one in held[1:]]).all()


def test_doubt_of_hostile_clay_keeps_the_depth_shallower_and_its_chance_is_told(made):
    """Share of a zone whose hostile clay lies within the margin of the tines: at most the 5 % asked for."""
    ground = {"soils": ("sand over sodic clay",), "clay_mm": 500.0, "bottom_mm": 480.0}
    sure, _ = one_zone(made, **ground)
    depth, reason = one_zone(made, clay_sd_mm=40.0, **ground)
    assert (sure, depth) == (450, 375)  # 5 % of the ground has its clay above 434 mm, kept 50 mm above
    held = reason.why.held
    assert (held.limit, held.share, held.kept_mm) == (Limit.CLAY, 0.05, 50.0)
    assert held.value == pytest.approx(434.0, abs=4.0)
    assert 0.0 < reason.why.clay_chance < 0.005  # 375 mm is 3.1 standard deviations above the clay
    daring, told = one_zone(made, clay_sd_mm=40.0, ask={"clay_risk": 0.3, "clay_margin_mm": 0.0}, **ground)
    assert daring == 475
    assert told.why.clay_chance == pytest.approx(0.27, abs=0.02)
