import numpy as np
import pytest

from hardpan.geostat import Effect
from hardpan.trials.effects import pool


def zones(*estimates, se=1.0):
    return {zone: Effect(estimate=one, se=se, df=5.0) for zone, one in enumerate(estimates, start=1)}


def test_zones_that_agree_stay_where_they_are_and_grow_surer():
    found = pool(zones(2.0, 2.0, 2.0), np.eye(3))
    assert [one.estimate for one in found.values()] == pytest.approx([2.0, 2.0, 2.0])
    assert all(one.se < 1.0 for one in found.values())


def test_zones_far_apart_keep_their_own():
    found = pool(zones(0.0, 40.0), np.eye(2))
    assert found[1].estimate < 4.0
    assert found[2].estimate > 36.0


def test_zones_that_differ_less_than_their_errors_are_drawn_together():
    found = pool(zones(0.0, 1.0), np.eye(2))
    assert found[1].estimate + found[2].estimate == pytest.approx(1.0)
    assert found[2].estimate - found[1].estimate < 0.7


def test_the_unit_does_not_matter():
    one, other = pool(zones(0.0, 1.0), np.eye(2)), pool(zones(0.0, 1000.0, se=1000.0), 1e6 * np.eye(2))
    assert other[2].estimate == pytest.approx(1000 * one[2].estimate)
    assert other[2].se == pytest.approx(1000 * one[2].se)
