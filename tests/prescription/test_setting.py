"""A further zone costs its setting, in the plan as in the ledger."""

import numpy as np
import pytest

from builders.costs import with_zone_cost


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
