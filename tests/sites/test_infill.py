"""Further sites by the worth of their answers."""

import numpy as np
import pytest

from hardpan.records.surfaces import ErrorCovariance, MapErrors
from hardpan.sites.infill import Cost, choose_sites, questions_of
from hardpan.sites.information import FALLS, Values

LINE = np.column_stack([np.arange(40) * 25.0, np.zeros(40)])


EACH = np.eye(40)


def covariances(sill=1600.0, range_m=100.0, noise=600.0):
    apart = np.abs(LINE[:, :1] - LINE[:, 0])
    error = ErrorCovariance(covariance=sill * np.exp(-3.0 * apart / range_m), site=100.0, insertion=noise)
    sure = ErrorCovariance(covariance=1e-9 * np.eye(40), site=0.1, insertion=1.0)
    return {"bottom": error, "pan": sure}


def values(money):
    """Worth of each unit in proportion to the fall of the variance."""
    table = np.asarray(money, dtype=float)[:, None, None] * FALLS[None, :, None] * np.ones(FALLS.size)
    return Values(table=table)


def batch(money, *, seen=1.0, per_hour=0.0, most=5, may=None, onto=EACH, noise=600.0, **more):
    errors = MapErrors(place_of_node=np.arange(40), xy_m=LINE, covariances=covariances(noise=noise))
    questions = questions_of(errors, (onto, onto), insertions=3, seen=np.full(40, seen))
    cost = Cost(xy_m=LINE, gate_xy=None, probing_h=0.1, km_h=4.0, per_hour=per_hour)
    may = np.ones(40, dtype=bool) if may is None else may
    return choose_sites(values(money), questions, cost, may=may, most=most, **({"hours": None, "paying": False} | more))


def test_sites_go_where_the_money_is_and_not_where_the_variance_alone_is():
    money = np.where(np.arange(40) < 10, 100.0, 0.0)
    assert batch(money, most=4).place.max() < 12


def test_what_a_site_brings_is_told_of_once():
    """Each site brings less than the one before it, and none stands beside another while far ground is open."""
    found = batch(np.full(40, 50.0), most=6)
    assert (np.diff(found.worth) <= 1e-9).all()
    assert np.diff(np.sort(found.place)).min() >= 3


def test_worths_add_up_to_what_the_whole_batch_lets_one_know():
    """Against kriging all answers at once: the fall of the variance at every place, worth as much as it is wide."""
    money = np.linspace(10.0, 60.0, 40)
    found = batch(money, most=5)
    error = covariances()["bottom"]
    onto = error.covariance[:, found.place]
    answers = onto[found.place] + np.eye(5) * (error.site + error.insertion / 3)
    fall = np.einsum("ij,jk,ik->i", onto, np.linalg.inv(answers), onto) / 1600.0
    assert found.worth.sum() == pytest.approx(float(money @ fall), rel=1e-9)


def test_a_rod_that_may_stop_short_lowers_the_worth_in_proportion():
    whole, half = batch(np.full(40, 50.0), most=1), batch(np.full(40, 50.0), most=1, seen=0.5)
    assert half.worth[0] == pytest.approx(0.5 * whole.worth[0])
    assert batch(np.full(40, 50.0), most=1, seen=0.0).worth[0] == pytest.approx(0.0, abs=1e-6)


def test_the_search_ends_where_a_site_costs_more_than_it_brings():
    money = np.full(40, 50.0)
    dear, cheap = (batch(money, per_hour=rate, most=40, paying=True) for rate in (900.0, 400.0))
    assert 1 <= len(dear.place) < len(cheap.place) < 40
    assert (dear.worth[1:] >= dear.cost[1:]).all()
    assert len(batch(money, per_hour=1e6, most=40, paying=True).place) == 1


def test_hours_are_not_overdrawn_and_shut_places_are_left():
    may = np.arange(40) % 2 == 1
    found = batch(np.full(40, 50.0), per_hour=10.0, most=40, hours=0.55, may=may)
    assert 2 <= len(found.place) <= 5
    assert (found.place % 2 == 1).all()
    assert found.cost.sum() <= 5.5


def test_an_answer_lost_in_noise_is_worth_nothing():
    assert batch(np.full(40, 50.0), noise=1e15).worth == pytest.approx(np.zeros(5), abs=1e-6)


def test_ground_that_is_decided_on_as_one_is_worth_the_fall_of_the_variance_of_its_mean():
    """Against kriging the mean over twenty places from one answer among them."""
    onto = np.vstack([np.arange(40) < 20, np.arange(40) >= 20]) / 20.0
    found = batch(np.array([70.0, 0.0]), onto=onto, most=1)
    covariance = covariances()["bottom"].covariance
    one = onto[0]
    fall = (one @ covariance[:, found.place[0]]) ** 2 / (1600.0 + 100.0 + 200.0) / (one @ covariance @ one)
    assert found.worth[0] == pytest.approx(70.0 * fall, rel=1e-9)
    assert found.place[0] in range(5, 15)
