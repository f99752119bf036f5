"""Neighbours on one soil type that are worked alike are one zone, judged on its ground as a whole."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from builders.costs import with_zone_cost
from hardpan.records.issues import Issue, Outcome

BOTTOMS_MM = (380.0, 391.0, 463.0)
"""Two pans that one depth passes below, and one deeper."""


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
    seen = Issue(outcome=Outcome.WARN, stage="zones", code="seen", what="w", done="d", zones=(1, 2, 3))
    zones, plan = settled(made, catalog, (surfaces, survey, replace(zones, issues=(seen,))))
    before, joined = zones.issues
    assert before.zones == (1, 2)
    assert (joined.code, joined.zones) == ("zones-joined", (1,))
    assert str(plan.zones["depth_mm"].iloc[0]) in joined.what
