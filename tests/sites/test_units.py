"""Ground that is decided on as one, and what is at stake there."""

from dataclasses import replace

import numpy as np
import pytest

from builders import decision
from hardpan.options import build_ground, economy_on, stakes_at
from hardpan.records.surfaces import MapErrors
from hardpan.sites.units import units_of


@pytest.fixture(scope="module")
def worked():
    """Two zones, one over hostile clay, each of two classes: what is at stake, its units, plan and zones."""
    catalog = decision.shipped_catalog()
    soils = ("deep sand", "sand over clay")
    surfaces, survey, zones = decision.ground(soils=soils, bottom_mm=(380.0, 420.0), clay_mm=(np.nan, 480.0))
    place = np.arange(surfaces.node_of_cell.max() + 1) // 10
    surfaces = replace(
        surfaces, errors=MapErrors(place_of_node=place, xy_m=np.zeros((place.max() + 1, 2)), covariances={})
    )
    zones = replace(zones, classes=np.indices(zones.labels.shape)[0] // (zones.labels.shape[0] // 2))
    money = decision.rates(soils)
    options, evidence, asked = decision.weighed((surfaces, survey, zones), catalog, money)
    _, plan = decision.decide((surfaces, survey, zones), catalog, money)
    ground = build_ground(surfaces, survey, catalog, asked.prescription)
    fitted = options.table.loc[options.fitted, ["option", "setup", "depth_mm", "spacing_mm"]]
    economy = economy_on(
        ground, fitted, evidence, catalog, money, draft=options.draft, asked=asked, tines=options.tines
    )
    stakes = stakes_at(economy, options)
    return stakes, units_of(zones, plan, surfaces, stakes), plan, zones


def test_each_class_of_a_zone_is_a_unit_and_none_of_the_ground_is_left(worked):
    _, units, _, zones = worked
    assert len(units.cost) == 4
    assert units.ha.sum() == pytest.approx(zones.table["area_ha"].sum())
    assert (np.diff(units.unit) >= 0).all()


def test_units_together_return_what_the_plan_says_of_their_zone(worked):
    """For every option that is allowed there, the price of setting the zone in it."""
    stakes, units, plan, zones = worked
    net = np.stack([units.gain[units.unit == unit].sum(axis=0) for unit in range(4)]) - units.cost
    for row, pair in enumerate(([0, 1], [2, 3])):
        said = plan.candidates[plan.candidates["zone"] == row + 1].set_index("option")["net_per_ha"]
        said = said.reindex(stakes.option).to_numpy() * zones.table["area_ha"].iloc[row]
        allowed = np.isfinite(said)
        assert allowed.sum() >= 3
        assert net[pair].sum(axis=0)[allowed] == pytest.approx(said[allowed], abs=0.01)
        assert np.isneginf(net[pair][:, ~allowed]).all()


def test_leaving_is_open_to_all_and_costs_nothing(worked):
    _, units, _, _ = worked
    assert units.cost[:, 0] == pytest.approx(np.zeros(4), abs=1e-9)
    assert units.gain[:, 0] == pytest.approx(0.0)


def test_shares_of_the_places_of_a_unit_add_up_to_one(worked):
    _, units, _, _ = worked
    for shares in (units.bottom_shares(20), units.pan_shares(20)):
        assert shares.sum(axis=1) == pytest.approx(np.ones(4))
        assert ((shares > 0).sum(axis=1) > 1).all()
