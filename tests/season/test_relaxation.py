"""The bound by the routes of rigs that pay for paddocks: never under the worth of a plan."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from builders.seasons import large_season
from hardpan.records.season import Job, Rig
from hardpan.season import routes
from hardpan.season.planning import plan_season
from hardpan.season.relaxation import bound_by_routes
from hardpan.season.search import can_compile
from hardpan.season.walk import fleets_of

STEPS_H = ((0.2, 12), (0.1, 4))


@pytest.fixture(scope="module")
def price():
    """The best route of a rig, compiled where that is possible."""
    if not can_compile():
        return routes.price
    from hardpan.season import compiled

    return compiled.price


def days(n: int) -> list[date]:
    return [date(2027, 5, 10) + timedelta(day) for day in range(n)]


def small_season(seed: int, *, near: bool) -> tuple[list[Job], list[Rig]]:
    """Up to six paddocks, one or two rigs, rain between; every third season has a paddock that must be ripped."""
    chance = np.random.default_rng(seed)
    n_jobs, n_rigs, n_days = int(chance.integers(2, 7)), int(chance.integers(1, 3)), int(chance.integers(3, 8))
    hours = np.where(chance.random(n_days) < 0.1, 0.0, 10.0)
    hours[0] = 10.0
    rigs = [Rig(name=f"rig {n}", hours=hours, fold_h=0.25, road_kmh=25.0) for n in range(n_rigs)]
    fit = chance.random((n_jobs, n_days)) < 0.6
    jobs = []
    for number in range(n_jobs):
        work_h, net = chance.uniform(2.0, 24.0), chance.uniform(100.0, 2000.0)
        jobs.append(
            Job(
                paddock=f"paddock {number}", hours={rig.name: work_h * chance.uniform(0.8, 1.2) for rig in rigs},
                net={rig.name: net * chance.uniform(0.8, 1.2) for rig in rigs}, fit=fit[number],
                waiting_per_day=net * chance.uniform(0.0, 0.02), x_m=0.0 if near else chance.uniform(0.0, 20_000.0),
            )
        )  # fmt: skip
    if seed % 3 == 0:
        soft = replace(jobs[0], must=True, fit=np.ones(n_days, dtype=bool), net={rig.name: -50.0 for rig in rigs})
        jobs[0] = replace(soft, hours={rig.name: 5.0 for rig in rigs})
    return jobs, rigs


@pytest.mark.parametrize("seed", [*range(12), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(12, 50))])
@pytest.mark.parametrize("near", [True, False])
def test_no_plan_of_a_small_season_is_worth_more_than_the_bound(price, seed, *, near):
    """Where moves are all alike the plan is the best there is (`plan_season` proves it); else a good one."""
    jobs, rigs = small_season(seed, near=near)
    plan = plan_season(jobs, rigs, days(len(rigs[0].hours)), gap=0.0)
    if near:
        assert plan.gap == pytest.approx(0.0, abs=1e-6)
    bound = bound_by_routes(jobs, fleets_of(jobs, rigs), np.zeros(2 * len(jobs)), price=price, steps_h=STEPS_H)
    assert bound >= plan.worth - 1e-6 * abs(plan.worth)


@pytest.mark.parametrize("seed", range(12))
def test_the_bound_holds_at_whatever_prices(price, seed):
    jobs, rigs = small_season(seed, near=True)
    plan = plan_season(jobs, rigs, days(len(rigs[0].hours)), gap=0.0)
    chance = np.random.default_rng(seed)
    for _ in range(20):
        first = chance.uniform(0.0, 1000.0, 2 * len(jobs)) * np.repeat(chance.random(2), len(jobs))
        bound = bound_by_routes(jobs, fleets_of(jobs, rigs), first, price=price, steps_h=((0.2, 1),))
        assert bound >= plan.worth - 1e-6 * abs(plan.worth)


@pytest.mark.parametrize("piece", [0.0, 50.0, 200.0, 400.0])
def test_a_paddock_that_is_left_and_come_back_to_is_worth_all_of_its_return(price, piece):
    """14 h on the first and third day, with 9.5 h of another between: both are ripped."""
    jobs = [
        Job(paddock=name, hours={"a": hours}, net={"a": 1000.0}, fit=np.array([day == "1" for day in fit]))
        for name, hours, fit in (("long", 14.0, "101"), ("between", 9.5, "010"))
    ]
    rigs = [Rig(name="a", hours=np.full(3, 10.0), fold_h=0.25)]
    assert plan_season(jobs, rigs, days(3), gap=0.0).worth == pytest.approx(2000.0)
    first = np.array([300.0, 300.0, piece, piece])
    bound = bound_by_routes(jobs, fleets_of(jobs, rigs), first, price=price, steps_h=((0.1, 1),))
    assert bound >= 2000.0 - 1e-6


def alone(hours: float, fit: str, **more: float) -> tuple[list[Job], list[Rig]]:
    """One paddock worth 1000 and one rig that works 10 h a day, with moves of half an hour."""
    open_days = np.array([day == "1" for day in fit])
    jobs = [Job(paddock="one", hours={"a": hours}, net={"a": 1000.0}, fit=open_days, **more)]
    return jobs, [Rig(name="a", hours=np.full(len(fit), 10.0), fold_h=0.25)]


def test_a_paddock_alone_is_worth_its_return_less_what_waiting_costs(price):
    """A move of half an hour, 9.5 h on the first open day, 5.5 h on the next: it waits 1 x 9.5 / 15 + 3 x 5.5 / 15."""
    jobs, rigs = alone(15.0, "0101", waiting_per_day=30.0)
    bound = bound_by_routes(jobs, fleets_of(jobs, rigs), np.zeros(2), price=price, steps_h=((0.1, 30),))
    worth = 1000.0 - 30.0 * (9.5 + 3.0 * 5.5) / 15.0
    assert worth - 1e-6 <= bound <= worth + 1.0


def test_what_is_not_ripped_in_one_visit_takes_two(price):
    """Two paddocks of 9.7 h, 9.5 h each can be worked: each paid its share they would earn 1960, in halves 1000."""
    hours = np.array([10.0, 10.0])
    rig = Rig(name="a", hours=hours, fold_h=0.25)
    jobs = [
        Job(paddock=name, hours={"a": 9.7}, net={"a": 1000.0}, fit=np.array(fit))
        for name, fit in (("early", [True, False]), ("late", [False, True]))
    ]
    assert plan_season(jobs, [rig], days(2), gap=0.0).worth == 0.0
    bound = bound_by_routes(jobs, fleets_of(jobs, [rig]), np.repeat([100.0, 0.0], 2), price=price, steps_h=((0.1, 60),))
    assert bound < 1.05 * 1000.0


@pytest.mark.parametrize("seed", [1, 2])
def test_compiled_and_plain_loops_find_the_same_bound(seed):
    pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    from hardpan.season import compiled

    jobs, rigs, _ = large_season(seed, paddocks=8, machines=2, n_days=8, alike=False)
    fleets, first = fleets_of(jobs, rigs), np.zeros(2 * len(jobs))
    found = [
        bound_by_routes(jobs, fleets, first, price=one, steps_h=((0.25, 6),))
        for one in (routes.price, compiled.price)
    ]  # fmt: skip
    assert found[0] == found[1]


def test_a_rig_that_can_rip_nothing_changes_no_bound(price):
    jobs, rigs = small_season(2, near=True)
    idle = [Rig(name="idle", hours=rigs[0].hours, fold_h=0.25), replace(rigs[0], name="off", hours=0.0 * rigs[0].hours)]
    found = [
        bound_by_routes(jobs, fleets_of(jobs, some), np.zeros(2 * len(jobs)), price=price, steps_h=((0.2, 5),))
        for some in (rigs, [*rigs, *idle])
    ]
    assert found[0] == found[1]


def test_where_waiting_pays_or_moves_take_no_time_there_is_no_such_bound(price):
    jobs, rigs = small_season(1, near=True)
    fleets = fleets_of(jobs, rigs)
    assert bound_by_routes([replace(jobs[0], waiting_per_day=-1.0)], fleets, np.zeros(2), price=price) == np.inf
    still = [replace(rig, fold_h=0.0) for rig in rigs]
    assert bound_by_routes(jobs, fleets_of(jobs, still), np.zeros(2 * len(jobs)), price=price) == np.inf
