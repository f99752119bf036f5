"""A further zone costs its setting and another set-up the change to it, in the plan as in the ledger."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely

from builders.costs import with_zone_cost
from hardpan.costs.stage import tally
from hardpan.money.stage import price_machines
from hardpan.records.advice import Topic
from hardpan.records.decision import DecisionSettings
from hardpan.records.issues import Issue

SOILS = ("deep sand", "gravelly sand")

BOTTOMS_MM = (380.0, 391.0, 463.0)
"""Two pans that one depth passes below, and one deeper."""


def test_zones_beside_one_another_at_one_depth_are_set_once(made, catalog):
    paddock = made.ground(side_m=(600.0, 200.0), sd_mm=1.0, soils=("deep sand",) * 3, bottom_mm=(388.0, 388.0, 463.0))
    _, plan = made.decide(paddock, with_zone_cost(catalog, 20.0), made.rates(["deep sand"], worth=600.0))
    same, beside, other = plan.zones["depth_mm"]
    assert same == beside != other
    assert plan.setting.tolist() == [0.0, 0.0, 20.0]


def test_zones_of_one_depth_with_another_between_them_are_set_each(made, catalog):
    paddock = made.ground(side_m=(600.0, 200.0), sd_mm=1.0, soils=("deep sand",) * 3, bottom_mm=(388.0, 463.0, 388.0))
    _, plan = made.decide(paddock, with_zone_cost(catalog, 20.0), made.rates(["deep sand"], worth=600.0))
    assert plan.setting.tolist() == [0.0, 20.0, 20.0]


def test_what_a_zone_returns_is_net_of_its_setting(made, catalog):
    paddock = made.ground(sd_mm=1.0, soils=("deep sand",) * 2, bottom_mm=(388.0, 463.0))
    rates = made.rates(["deep sand"], worth=600.0)
    (_, free), (_, paid) = (made.decide(paddock, with_zone_cost(catalog, price), rates) for price in (0.0, 30.0))
    assert paid.zones["depth_mm"].tolist() == free.zones["depth_mm"].tolist()
    assert np.allclose(free.returns - paid.returns, paid.setting[:, None])
    less = (free.zones["net_per_ha"] - paid.zones["net_per_ha"]) * paid.zones["area_ha"]
    assert less.tolist() == pytest.approx([0.0, 30.0])


def test_a_zone_that_does_not_pay_for_its_setting_is_left(made, catalog):
    paddock = made.ground(sd_mm=1.0, soils=("deep sand",) * 2, bottom_mm=(388.0, 463.0))
    rates = made.rates(["deep sand"], worth=388.0)
    _, cheap = made.decide(paddock, with_zone_cost(catalog, 1.0), rates)
    assert (cheap.zones["depth_mm"] > 0).all()
    _, dear = made.decide(paddock, with_zone_cost(catalog, 1e5), rates)
    assert (dear.zones["depth_mm"] > 0).sum() == 1
    left = next(reason.why for reason, depth in zip(dear.reasons, dear.zones["depth_mm"], strict=True) if depth == 0)
    assert left.best.cost_per_ha > left.best.gain_per_ha


@pytest.fixture(scope="module")
def unlike(made):
    """Sand of stranded lime, which brings inclusion plates, between gravel, which forbids them."""
    west, south = made.CORNER_M
    known = {
        "core": ["a", "b"], "soil_type": ["deep sand", "gravelly sand"], "ph_0_100": 5.8, "ph_100_200": [4.3, 5.5],
        "gravel_pct": [1.0, 45.0],
    }  # fmt: skip
    points = gpd.points_from_xy([west + 250.0, west + 750.0], [south + 500.0] * 2)
    cores = gpd.GeoDataFrame(known, geometry=points, crs=made.CRS)
    return made.ground(side_m=(1000.0, 1000.0), soils=SOILS, bottom_mm=(450.0, 380.0), cores=cores)


def with_changes_of(made, unlike, minutes):
    """Catalogue, money and plan where changing the fitting of one tine takes so long."""
    catalog = made.shipped_catalog(numbers={"effort": {"fitting_time": minutes}})
    rates = price_machines(catalog, made.SeasonSettings(), SOILS, n_draws=50, seed=1)
    easy = made.rates(SOILS, worth=(900.0, 180.0), per_hour=100.0).scenarios
    money = replace(rates, scenarios=rates.scenarios.assign({name: easy[name] for name in easy}))
    return catalog, money, made.decide(unlike, catalog, money, setups_per_paddock=2)


def test_changing_to_a_second_set_up_is_paid_with_the_labour_of_its_time(made, unlike):
    catalog, money, (options, plan) = with_changes_of(made, unlike, 12.0)
    _, _, (_, free) = with_changes_of(made, unlike, 0.0)
    assert plan.zones["setup"].nunique() == 2
    assert free.zones["setup"].tolist() == plan.zones["setup"].tolist()
    assert plan.fitting_h.sum() == pytest.approx(7 * 12.0 / 60.0)
    labour = catalog.prices.labour_per_h.value * catalog.prices.labour_factor.value
    less = (free.returns - plan.returns).sum(axis=0)
    assert less == pytest.approx(labour * 1.4, rel=1e-6)
    assert (plan.returns.mean(axis=1) > 0).all()
    lines = tally(plan, options, catalog, money, asked=DecisionSettings()).lines
    (line,) = lines[(lines["item"] == "change of fittings") & (lines["zone"] == "total")].to_dict("records")
    assert (line["quantity"], line["unit"]) == (pytest.approx(1.4), "h")
    assert line["amount"] == pytest.approx(labour * 1.4, abs=0.01)
    (step,) = (step for step in plan.setting_up if step.topic is Topic.FITTINGS)
    assert step.figures == {"changes": 1.0, "hours": pytest.approx(1.4), "money": pytest.approx(labour * 1.4)}
    assert "fittings change once, about 1.4 h and" in made.words(catalog).ground.step(step)[1]


def test_a_set_up_that_does_not_bring_what_changing_to_it_costs_is_not_fitted(made, unlike):
    _, _, (_, plan) = with_changes_of(made, unlike, 1e4)
    assert plan.zones.loc[plan.zones["depth_mm"] > 0, "setup"].nunique() == 1
    assert (plan.fitting_h == 0.0).all()
    assert not any(step.topic is Topic.FITTINGS for step in plan.setting_up)


def three(made, soils=("deep sand",) * 3, bottoms_mm=BOTTOMS_MM):
    return made.ground(side_m=(600.0, 200.0), sd_mm=1.0, soils=soils, bottom_mm=bottoms_mm)


def settled(made, catalog, paddock):
    soils = list(dict.fromkeys(paddock[0].soil_types))
    return made.settle(paddock, with_zone_cost(catalog, 20.0), made.rates(soils, worth=600.0))


def test_neighbours_of_one_depth_and_setup_are_one_zone(made, catalog):
    zones, plan = settled(made, catalog, three(made))
    assert plan.zones["zone"].tolist() == zones.table["zone"].tolist() == [1, 2]
    assert plan.zones["depth_mm"].is_unique
    assert plan.zones["area_ha"].tolist() == pytest.approx([8.0, 4.0], rel=2e-3)  # of the plane, by the ellipsoid
    assert [reason.zone for reason in plan.reasons] == [1, 2]
    assert zones.count.joined == 1


def test_it_is_planned_as_if_it_had_been_drawn_as_one(made, catalog):
    surfaces, survey, apart = three(made)
    zones, plan = settled(made, catalog, (surfaces, survey, apart))
    labels = np.where(apart.labels == 3, 2, 1)
    assert (zones.labels == labels).all()
    as_one = replace(apart, labels=labels, table=zones.table)
    _, whole = made.decide(
        (surfaces, survey, as_one), with_zone_cost(catalog, 20.0), made.rates(["deep sand"], worth=600.0)
    )
    for name in ("returns", "runner_up_returns", "hours", "fuel_l", "setting"):
        assert np.array_equal(getattr(plan, name), getattr(whole, name)), name
    assert plan.candidates.equals(whole.candidates)
    assert plan.reasons == whole.reasons


def test_the_ground_of_the_joined_zone_is_that_of_both(made, catalog):
    paddock = three(made)
    apart, (zones, _) = paddock[2], settled(made, catalog, paddock)
    shapes = zones.table.geometry.to_numpy()
    assert shapely.coverage_is_valid(shapes)
    both = shapely.union_all(apart.table.geometry.to_numpy()[:2])
    assert shapely.equals(shapes[0], both)
    assert zones.table["length_m"].iloc[0] == pytest.approx(400.0)  # driven across what were two zones
    assert zones.table["heading_deg"].iloc[0] == 90.0


def test_a_heading_that_was_asked_for_holds_for_the_joined_zone(made, catalog):
    surfaces, survey, zones = three(made)
    zones, _ = settled(made, catalog, (surfaces, survey, replace(zones, heading_deg=0.0)))
    assert (zones.table["heading_deg"].iloc[0], zones.table["length_m"].iloc[0]) == (0.0, pytest.approx(200.0))


def test_zones_of_one_depth_with_another_between_them_stay_two(made, catalog):
    zones, plan = settled(made, catalog, three(made, bottoms_mm=(388.0, 463.0, 388.0)))
    assert len(plan.zones) == 3
    assert zones.count.joined == 0


def test_soil_types_stay_apart_at_one_depth(made, catalog):
    """Speed, tines and what the crop gives back are those of the soil type."""
    paddock = three(made, soils=("deep sand", "gravelly sand", "deep sand"), bottoms_mm=(388.0, 388.0, 463.0))
    _, plan = settled(made, catalog, paddock)
    assert plan.zones["depth_mm"].tolist()[0] == plan.zones["depth_mm"].tolist()[1] > 0
    assert len(plan.zones) == 3


def test_ground_that_is_left_is_joined_as_well(made, catalog):
    zones, plan = made.settle(three(made), with_zone_cost(catalog, 20.0), made.rates(["deep sand"], worth=1.0))
    assert plan.zones["depth_mm"].tolist() == [0]
    assert zones.count.joined == 2


def test_remarks_follow_the_numbers_and_say_what_was_joined(made, catalog):
    surfaces, survey, zones = three(made)
    seen = Issue(stage="zones", code="seen", what="w", done="d", zones=(1, 2, 3))
    zones, plan = settled(made, catalog, (surfaces, survey, replace(zones, issues=(seen,))))
    before, joined = zones.issues
    assert before.zones == (1, 2)
    assert (joined.code, joined.zones) == ("zones-joined", (1,))
    assert str(plan.zones["depth_mm"].iloc[0]) in joined.what
