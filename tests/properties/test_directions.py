"""Which way the plan moves with each input, as published sources or the plain meaning of the input have it.

One input is moved at a time, all else equal, on a made paddock of deep sand and of sand over clay.
"""

from functools import cache

import numpy as np
import pytest

from builders import decision
from hardpan.money.stage import price_machines
from hardpan.records.decision import MachineSettings, PrescriptionSettings, SeasonSettings

SOILS = ("deep sand", "sand over clay")


def soils(**changes):
    return {"soil": {"types": dict.fromkeys(SOILS, changes)}}


def wings(**changes):
    """Numbers of the winged set-ups."""
    return {"numbers": {"setups": {"winged": changes, "leading": changes}}}


CASES = {
    # farmweekly2022: 28 left of 198 $/ha at 3 $/L where more is left at 2
    "fuel at 3 $/L": ({"prices": {"fuel_per_l": 3.0}}, "less"),
    "labour at 70 $/h": ({"prices": {"labour_per_h": 70.0}}, "less"),
    "grain at 450 $/t": ({"prices": {"grain_per_t": 450.0}}, "more"),
    "points and wear at 20 $/ha": ({"prices": {"wear_per_ha": 20.0}}, "less"),
    "a discount rate of 10 %": ({"prices": {"discount_rate": 0.1}}, "less"),
    # ep496: fewer hours a year carry the same ownership
    "a tractor used 300 h a year": ({"numbers": {"tractors": {"tracked-370kw": {"hours_per_year": 300}}}}, "less"),
    "a tractor for a quarter more": ({"numbers": {"tractors": {"tracked-370kw": {"list_price": 812_500}}}}, "less"),
    # grdc2021-mallee: first gains of 0.2 to 1.2 t/ha
    "a first gain of 0.9 t/ha": (soils(first_year_gain=0.9), "more"),
    "0.7 of the gain kept each season": (soils(persistence=0.7), "more"),
    "five seasons": (soils(seasons=5), "more"),
    # dpird-ripping, grdc-ctf: three seasons without, more than ten with tramlines on light sand
    "controlled traffic": ({"season": {"controlled_traffic": True}}, "more"),
    # grdc-erosion: less than half of the ground covered asks for a cover crop, which is paid for
    "a third of the ground covered": ({"season": {"cover_pct": 33.0}}, "less"),
    # nre-tas-moisture, uf-subsoiling: dry soil pulls harder and comes up in clods; by default no deeper than moist
    "soil moist to 350 mm": ({"season": {"moist_depth_mm": 350.0}}, "not more"),
    "soil moist to 350 mm, worked dry below": (
        {"season": {"moist_depth_mm": 350.0}, "prescription": {"only_moist": False}},
        "less",
    ),
    "barley every other season": ({"season": {"rotation": ("wheat", "barley")}}, "less"),
    "turns of 40 s": ({"numbers": {"effort": {"turn_time": 40}}}, "less"),
    "repairs for a quarter more": ({"numbers": {"prices": {"repair_level": 1.25}}}, "less"),
    # ballast-trade: weight is what the drive holds the pull with
    "a tractor of 18 t": ({"numbers": {"tractors": {"tracked-370kw": {"mass": 18_000}}}}, "not more"),
    # steeper sides break less soil between the same tines
    "sides of 55 degrees at the wings": (wings(side_angle=55), "less"),
    # hamza2006: leading tines at a third to three quarters of the depth; nothing here lies below the critical depth
    "leading tines at a third of the depth": (
        {"numbers": {"setups": {"leading": {"leading_depth_share": 0.33}}}},
        "not more",
    ),
    "points of wings that wear a third faster": (wings(wear_factor=2.4), "less"),
    "a contractor at 250 $/ha": ({"prices": {"contractor_per_ha": 250.0}}, "the same"),
    # pm696: 0.70 to 0.90 of the time at work
    "field efficiency of 0.70": ({"numbers": {"effort": {"field_efficiency": 0.70}}}, "less"),
    # d497: its own range is +-50 %
    "a draft half as large again": (
        {"numbers": {"effort": {"rows": {"narrow": {"a": 339, "c": 2.7}, "winged": {"a": 441, "c": 3.6}}}}},
        "less",
    ),
    "0.70 of the power usable": ({"numbers": {"effort": {"usable_power": 0.70}}}, "not more"),
    # of the same price: a smaller one of another class costs less as well
    "an engine of 300 kW": ({"numbers": {"tractors": {"tracked-370kw": {"engine_power": 300}}}}, "less"),
    # bc-soil-handbook: five to seven times the foot, and only a slot is loosened below
    "critical depths of five feet": (wings(critical_ratio=5), "not more"),
    # usfs0834: 152 to 406 mm across the wings
    "wings of 152 mm": (wings(foot_width=152), "less"),
    "a ripper that ends at 400 mm": ({"numbers": {"rippers": {"seven-tine-600": {"max_depth": 400}}}}, "not more"),
    "two set-ups in the paddock": ({"prescription": {"setups_per_paddock": 2}}, "not less"),
    "trials in a thinner pan": ({"numbers": {"response": {"reference": {"bottom": 350}}}}, "more"),
    # crabtree1989: nothing is gained in clay, and deep tillage brings up what seals (brown-book)
    "clay that is hostile": (soils(hostile_subsoil=True), "not more"),
    "100 mm kept above it": (soils(hostile_subsoil=True) | {"prescription": {"clay_margin_mm": 100.0}}, "not more"),
}
"""Input to what is changed and what becomes of the return."""


@cache
def ground():
    return decision.ground(soils=SOILS, bottom_mm=(450.0, 400.0), clay_mm=(np.nan, 480.0), clay_sd_mm=20.0)


def outcome(tables):
    """Expected return of the paddock and the plan."""
    tables = {name: dict(table) for name, table in tables.items()}
    prescription = tables.pop("prescription", {})
    asked = {"moist_depth_mm": 700.0} | tables.pop("season", {})
    season, catalog = SeasonSettings(**asked), decision.shipped_catalog(season=asked, **tables)
    money = price_machines(catalog, season, SOILS, n_draws=50, seed=1)
    machine = MachineSettings(**tables.get("machine", {}))
    plan = decision.decide(ground(), catalog, money, season=season, machine=machine, **prescription)[1]
    return float(plan.returns.mean(axis=1).sum()), plan


@cache
def as_shipped():
    return outcome({})


def test_the_paddock_is_worth_ripping_as_shipped():
    net, plan = as_shipped()
    assert net > 0
    assert (plan.zones["depth_mm"] > 0).any()


@pytest.mark.parametrize(("tables", "becomes"), CASES.values(), ids=CASES)
def test_the_return_moves_the_way_it_should(tables, becomes):
    before, after = as_shipped()[0], outcome(tables)[0]
    close = 1e-6 * abs(before)
    assert {
        "more": after > before + close,
        "less": after < before - close,
        "not more": after <= before + close,
        "not less": after >= before - close,
        "the same": after == pytest.approx(before, abs=close),
    }[becomes], (before, after)


def test_more_dry_seasons_leave_the_mean_and_add_to_the_chance_of_a_loss():
    """The gain of trials is a mean over seasons, so what dry ones lose the others have more (`grdc2021-mallee`)."""
    (before, plan), (after, dry) = as_shipped(), outcome({"numbers": {"response": {"season": {"dry_chance": 0.4}}}})
    assert after == pytest.approx(before, rel=0.15)
    assert dry.zones["loss_probability"].sum() >= plan.zones["loss_probability"].sum()


def test_more_risk_of_clay_never_goes_shallower():
    held = soils(hostile_subsoil=True)
    depth = [
        outcome(held | {"prescription": {"clay_risk": risk}})[1].zones["depth_mm"].to_numpy(float)
        for risk in (PrescriptionSettings().clay_risk, 0.3)
    ]
    assert (depth[1] >= depth[0]).all()
