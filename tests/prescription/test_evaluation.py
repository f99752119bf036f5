"""What expected returns are made of adds up to them, and scales as it says."""

import numpy as np
import pytest

from builders.costs import with_zone_cost

SOILS = ("deep sand", "gravelly sand", "sand over clay")


def paddock(made):
    return made.ground(soils=SOILS, bottom_mm=(350.0, 420.0, 480.0), clay_mm=(np.nan, np.nan, 550.0))


def net_of(plan, catalog):
    parts = plan.makeup
    return parts.gain.sum(axis=2) - parts.fuel - parts.other - catalog.prices.discount_rate.value * parts.capital


def test_the_parts_add_up_to_the_return_of_every_candidate(made, catalog):
    _, plan = made.decide(paddock(made), catalog, made.rates(list(SOILS), worth=400.0))
    told = plan.candidates["net_per_ha"].to_numpy().reshape(plan.makeup.fuel.shape)
    ripped = plan.candidates["depth_mm"].to_numpy().reshape(told.shape) > 0
    setting = ripped * (plan.setting / plan.zones["area_ha"].to_numpy())[:, None]
    made_up = net_of(plan, catalog) - setting
    assert made_up == pytest.approx(np.where(np.isnan(told), made_up, told), abs=1e-6)
    assert np.isfinite(told).sum() > len(plan.zones)
    assert (plan.makeup.eligible <= np.isfinite(told)).all()


def test_a_zone_is_told_the_return_it_was_chosen_by(made, catalog):
    """Of set-ups with a gain of their own too."""
    _, plan = made.decide(paddock(made), catalog, made.rates(list(SOILS), worth=400.0), setups_per_paddock=3)
    chosen = plan.candidates.merge(plan.zones[["zone", "depth_mm", "setup"]], on=["zone", "depth_mm", "setup"])
    assert (plan.zones["depth_mm"] > 0).any()
    assert plan.zones["net_per_ha"].to_numpy() == pytest.approx(chosen["net_per_ha"].to_numpy(), rel=1e-4, abs=1e-3)


@pytest.mark.parametrize(("prices", "part"), [({"per_litre": 4.0}, "fuel"), ({"worth": 800.0}, "gain")])
def test_a_part_goes_with_its_price_and_the_others_do_not(made, catalog, prices, part):
    """Setting a zone is left out: who pays for it follows the choice."""
    base, free = {"worth": 400.0, "per_litre": 2.0}, with_zone_cost(catalog, 0.0)
    plans = [made.decide(paddock(made), free, made.rates(list(SOILS), **(base | change)))[1] for change in ({}, prices)]
    for name in ("gain", "fuel", "capital", "other", "hours", "fuel_l"):
        before, after = (getattr(plan.makeup, name) for plan in plans)
        assert after == pytest.approx(before * (2.0 if name == part else 1.0), rel=1e-5, abs=1e-5)
        assert before.any()


def test_the_rule_cover_leaves_one_depth_a_set_up(made, catalog):
    _, plan = made.decide(paddock(made), catalog, made.rates(list(SOILS)), rule="cover")
    assert not plan.makeup.must_pay
    eligible = plan.candidates[plan.makeup.eligible.ravel()]
    assert len(eligible)
    assert not eligible.duplicated(["zone", "setup"]).any()
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    assert len(ripped.merge(eligible, on=["zone", "setup", "depth_mm"])) == len(ripped)
