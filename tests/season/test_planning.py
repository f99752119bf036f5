"""Plans of a season: published knapsacks, an independent walk, other solvers, and what is refused."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from builders.seasons import large_season, ordinary_season, other_season
from hardpan.core.errors import InputError
from hardpan.records.season import Fate, Job, Rig
from hardpan.season import planning, rounds
from hardpan.season.accounts import stress_plan
from hardpan.season.planning import plan_season
from hardpan.season.walk import fleets_of

KNAPSACKS = {
    "p01": (165, "23 31 29 44 53 38 63 85 89 82", "92 57 49 68 60 43 67 84 87 72", 309),
    "p02": (26, "12 7 11 8 9", "24 13 23 15 16", 51),
    "p03": (190, "56 59 80 64 75 17", "50 50 64 46 50 5", 150),
    "p04": (50, "31 10 20 19 4 3 6", "70 20 39 37 7 5 10", 107),
    "p05": (104, "25 35 45 5 25 3 2 2", "350 400 450 20 70 8 5 5", 900),
    "p06": (170, "41 50 49 59 55 57 60", "442 525 511 593 546 564 617", 1735),
    "p07": (
        750,
        "70 73 77 80 82 87 90 94 98 106 110 113 115 118 120",
        "135 139 149 150 156 163 173 184 192 201 210 214 221 229 240",
        1458,
    ),
}
"""Capacity, weights, profits and optimum (`burkardt-knapsack`; optima computed again by trying every choice)."""


def days(n: int) -> list[date]:
    return [date(2027, 3, 1) + timedelta(day) for day in range(n)]


def job(name: str, hours: float, net: float, fit: str, **more: object) -> Job:
    """Paddock that rig "a" can rip; fit days are marked 1."""
    return Job(paddock=name, hours={"a": hours}, net={"a": net}, fit=np.array([c == "1" for c in fit]), **more)


def rig(hours: list[float], **more: float) -> Rig:
    return Rig(name="a", hours=np.array(hours, dtype=float), **more)


def season(seed: int, n_jobs: int, n_rigs: int, n_days: int, *, spread_km: float) -> tuple[list[Job], list[Rig]]:
    """A random season: sands fit most days, clays few, rigs of unlike speed, every seventh day off."""
    chance = np.random.default_rng(seed)
    hours = np.where(np.arange(n_days) % 7 == 6, 0.0, 10.0)
    rigs = [Rig(name=f"rig {n}", hours=hours, fold_h=0.3, road_kmh=25.0) for n in range(n_rigs)]
    rate, wetness, jobs = chance.uniform(1.5, 3.5, n_rigs), chance.random(n_days), []
    for number in range(n_jobs):
        ha = chance.uniform(15.0, 90.0)
        net = ha * chance.uniform(-5.0, 90.0)
        jobs.append(
            Job(
                paddock=f"paddock {number}",
                hours={one.name: ha / speed for one, speed in zip(rigs, rate, strict=True)},
                net={one.name: net - ha * chance.uniform(0.0, 10.0) for one in rigs},
                fit=wetness < chance.uniform(0.4, 0.9),
                waiting_per_day=max(net, 0.0) * chance.uniform(0.0, 0.01),
                x_m=chance.uniform(0.0, spread_km * 1000.0),
                y_m=chance.uniform(0.0, spread_km * 1000.0),
            )
        )
    return jobs, rigs


def walk_through(jobs, rigs, plan) -> float:
    """Worth of a plan, walked row by row without anything of the planner."""
    by_name = {one.paddock: one for one in jobs}
    worked, worth, owner = dict.fromkeys(by_name, 0.0), 0.0, {}
    for one in rigs:
        place, spent = None, np.zeros(len(one.hours))
        for row in plan.work[plan.work["rig"] == one.name].itertuples():
            here = by_name[row.paddock]
            assert owner.setdefault(row.paddock, one.name) == one.name, "two rigs in one paddock"
            assert here.open_days[row.day], "worked on a day that is not fit"
            km = 0.0 if place is None else np.hypot(place.x_m - here.x_m, place.y_m - here.y_m) / 1000.0
            needed = 0.0 if place is here else 2.0 * one.fold_h + km / one.road_kmh
            assert row.move_h == pytest.approx(needed, abs=1e-9)
            spent[row.day] += row.hours + needed
            worked[row.paddock] += row.hours
            worth -= here.waiting_per_day * row.day * row.hours / here.hours[one.name]
            place = here
        assert (spent <= one.hours + 1e-6).all(), "more hours than the day has"
    for name, rig_name in owner.items():
        assert worked[name] == pytest.approx(by_name[name].hours[rig_name], abs=1e-5), "a paddock ripped in part"
        worth += by_name[name].net[rig_name]
    return worth


@pytest.mark.parametrize("name", KNAPSACKS)
def test_a_season_of_one_day_is_a_knapsack_and_its_published_optimum_is_found(name):
    capacity, weights, profits, optimum = KNAPSACKS[name]
    hour = 24.0 / capacity  # the day is as long as the sack is large
    jobs = [
        job(str(n), float(weight) * hour, float(profit), "1")
        for n, (weight, profit) in enumerate(zip(weights.split(), profits.split(), strict=True))
    ]
    plan = plan_season(jobs, [rig([24.0])], days(1), gap=0.0)
    assert plan.worth == pytest.approx(optimum, abs=1e-6)
    assert plan.bound == pytest.approx(optimum, abs=1e-4)
    assert walk_through(jobs, [rig([24.0])], plan) == pytest.approx(optimum, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [8, 14])
def test_few_paddocks_that_fill_a_season_are_planned_to_one_percent(seed):
    jobs, rigs, between = ordinary_season(seed)
    plan = plan_season(jobs, rigs, between)
    assert plan.gap <= 0.01
    assert walk_through(jobs, rigs, plan) == pytest.approx(plan.worth)


@pytest.mark.slow
def test_a_walk_through_a_large_plan_finds_no_day_too_long_and_no_rig_in_two_places():
    """60 paddocks, 3 machines, 40 days."""
    jobs, rigs, span = large_season(alike=False)
    plan = plan_season(jobs, rigs, span)
    assert walk_through(jobs, rigs, plan) == pytest.approx(plan.worth, rel=1e-9)
    assert plan.ranked_worth < plan.worth <= plan.bound * (1 + 1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["two clusters 60 km apart", "a contractor with ten days", "six that must be ripped"])
def test_a_walk_through_large_plans_of_other_kinds_ends_at_their_worth(kind):
    jobs, rigs, span = other_season(kind)
    plan = plan_season(jobs, rigs, span)
    assert walk_through(jobs, rigs, plan) == pytest.approx(plan.worth, rel=1e-9)
    assert plan.worth <= plan.bound * (1 + 1e-9)
    done = set(plan.jobs.loc[plan.jobs["fate"] == Fate.DONE, "paddock"])
    assert done >= {job.paddock for job in jobs if job.must}


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "alike"), [(2, True), (1, False)])
def test_a_large_season_is_planned_to_one_percent_of_what_no_plan_can_surpass(seed, alike):
    """60 paddocks, 3 machines, 40 days."""
    pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    jobs, rigs, span = large_season(seed, alike=alike)
    plan = plan_season(jobs, rigs, span)
    assert plan.gap <= 0.01
    assert walk_through(jobs, rigs, plan) == pytest.approx(plan.worth, rel=1e-9)


@pytest.mark.parametrize("seed", [3, 4])
def test_machines_alike_are_bounded_as_one_fleet_and_planned_each_by_itself(seed):
    jobs, rigs, span = large_season(seed, paddocks=6, machines=2, n_days=7)
    hardly_unlike = [rigs[0], replace(rigs[1], fold_h=rigs[1].fold_h + 1e-9)]
    assert [len(one.members) for one in fleets_of(jobs, rigs)] == [2]
    assert [len(one.members) for one in fleets_of(jobs, hardly_unlike)] == [1, 1]
    alike, apart = (plan_season(jobs, each, span, gap=0.0) for each in (rigs, hardly_unlike))
    assert alike.worth == pytest.approx(apart.worth, rel=1e-6)
    assert walk_through(jobs, rigs, alike) == pytest.approx(alike.worth)
    assert max(alike.worth, apart.worth) <= alike.bound * (1 + 1e-9)


def test_ranking_by_return_per_hour_leaves_money_where_slack_is_left():
    capacity, weights, profits, _ = KNAPSACKS["p02"]
    hour = 24.0 / capacity
    jobs = [
        job(str(n), float(weight) * hour, float(profit), "1")
        for n, (weight, profit) in enumerate(zip(weights.split(), profits.split(), strict=True))
    ]
    plan = plan_season(jobs, [rig([24.0])], days(1), gap=0.0)
    assert (plan.worth, plan.ranked_worth) == pytest.approx((51.0, 47.0))  # by ratio: 11 at 23, 12 at 24


@pytest.mark.parametrize(
    ("n_jobs", "n_rigs", "n_days", "spread_km"),
    [(5, 1, 8, 0.0), (8, 2, 9, 12.0), (14, 2, 21, 12.0), (6, 2, 7, 60.0)],
)
def test_an_independent_walk_through_the_plan_ends_at_its_worth(n_jobs, n_rigs, n_days, spread_km):
    jobs, rigs = season(n_jobs, n_jobs, n_rigs, n_days, spread_km=spread_km)
    plan = plan_season(jobs, rigs, days(n_days))
    assert walk_through(jobs, rigs, plan) == pytest.approx(plan.worth, rel=1e-9)
    assert plan.worth <= plan.bound * (1 + 1e-9)
    assert plan.worth >= plan.ranked_worth - 1e-9
    done = plan.jobs["fate"] == Fate.DONE
    assert plan.jobs.loc[done, "net"].sum() - plan.jobs["waiting"].sum() == pytest.approx(plan.worth)


def test_clay_is_ripped_while_it_is_fit_and_the_sand_when_nothing_else_is():
    jobs = [job("sand", 20.0, 1000.0, "111111", waiting_per_day=5.0), job("clay", 20.0, 900.0, "011000")]
    plan = plan_season(jobs, [rig([10.0] * 6)], days(6), gap=0.0)
    assert plan.work.loc[plan.work["paddock"] == "clay", "day"].tolist() == [1, 2]
    assert plan.work.loc[plan.work["paddock"] == "sand", "day"].tolist() == [0, 3]
    assert plan.worth == pytest.approx(1900.0 - 5.0 * 3 * 0.5)
    assert plan.gap == pytest.approx(0.0, abs=1e-6)


def test_what_waits_dearly_comes_first():
    jobs = [job("idle", 10.0, 500.0, "11"), job("seeded soon", 10.0, 400.0, "11", waiting_per_day=50.0)]
    plan = plan_season(jobs, [rig([10.0] * 2)], days(2))
    assert plan.work["paddock"].tolist() == ["seeded soon", "idle"]


def test_moves_take_hours_and_a_far_paddock_that_no_longer_fits_is_dropped():
    near = [job("one", 5.0, 100.0, "1"), job("two", 5.0, 100.0, "1")]
    assert plan_season(near, [rig([10.0])], days(1)).worth == pytest.approx(200.0)
    far = [near[0], replace(near[1], x_m=30_000.0)]
    plan = plan_season(far, [rig([10.0])], days(1))
    assert plan.worth == pytest.approx(100.0)
    assert sorted(plan.jobs["fate"]) == [Fate.DONE, Fate.DROPPED]


def test_what_must_be_ripped_is_ripped_at_a_loss_and_says_so_where_it_cannot_be():
    jobs = [job("asked", 10.0, -50.0, "11", must=True), job("rich", 10.0, 900.0, "10")]
    plan = plan_season(jobs, [rig([10.0] * 2)], days(2))
    assert plan.jobs.set_index("paddock")["last_day"].to_dict() == {"asked": 1, "rich": 0}
    late = [replace(jobs[0], allowed=np.array([False, False])), jobs[1]]
    with pytest.raises(InputError, match=r"must be ripped, and no plan found rips it: asked"):
        plan_season(late, [rig([10.0] * 2)], days(2))


def test_each_paddock_left_has_its_reason():
    jobs = [
        job("poor", 5.0, -1.0, "11"), job("wet", 5.0, 100.0, "00"), job("rich", 20.0, 500.0, "11"),
        job("small", 5.0, 50.0, "11"),
    ]  # fmt: skip
    fates = plan_season(jobs, [rig([10.0] * 2)], days(2)).jobs.set_index("paddock")["fate"].to_dict()
    assert fates == {"poor": Fate.NO_GAIN, "wet": Fate.NEVER_FIT, "rich": Fate.DONE, "small": Fate.DROPPED}


def test_no_day_of_work_gives_an_empty_plan():
    plan = plan_season([job("poor", 5.0, -1.0, "11")], [rig([10.0] * 2)], days(2))
    assert (len(plan.work), plan.worth, plan.bound, plan.gap) == (0, 0.0, 0.0, 0.0)


def test_bad_years_drop_the_poorest_paddock_first():
    jobs = [job("rich", 10.0, 900.0, "111"), job("middle", 10.0, 500.0, "111"), job("poor", 10.0, 100.0, "111")]
    calendars = {2001: "111", 2002: "011", 2003: "001"}
    years = {year: {one.paddock: np.array([c == "1" for c in fit]) for one in jobs} for year, fit in calendars.items()}
    rigs = [rig([10.0] * 3)]
    stress = stress_plan(plan_season(jobs, rigs, days(3)), jobs, rigs, years)
    assert stress.jobs["paddock"].tolist() == ["poor", "middle", "rich"]
    assert stress.jobs["done_share"].tolist() == pytest.approx([1 / 3, 2 / 3, 1.0])
    assert stress.worth == pytest.approx({2001: 1500.0, 2002: 1400.0, 2003: 900.0})


def test_what_must_be_ripped_is_dropped_last_in_a_bad_year():
    jobs = [job("rich", 10.0, 900.0, "111"), job("asked", 10.0, 10.0, "111", must=True)]
    years = {2003: {one.paddock: np.array([False, False, True]) for one in jobs}}
    rigs = [rig([10.0] * 3)]
    stress = stress_plan(plan_season(jobs, rigs, days(3)), jobs, rigs, years)
    assert stress.jobs.set_index("paddock")["done_share"].to_dict() == {"rich": 0.0, "asked": 1.0}
    assert stress.worth == pytest.approx({2003: 10.0})


def test_a_rig_that_waits_in_a_paddock_through_days_that_are_not_fit_need_not_come_again():
    jobs = [job("one", 15.0, 100.0, "1001")]
    fold = [rig([10.0] * 4, fold_h=2.0)]
    plan = plan_season(jobs, fold, days(4), gap=0.0)
    assert plan.work["move_h"].tolist() == [4.0, 0.0]
    assert (plan.worth, plan.bound) == pytest.approx((100.0, 100.0))


@pytest.mark.parametrize(
    ("jobs", "rigs", "words"),
    [
        ([job("x", 1, 1, "1"), job("x", 1, 1, "1")], [rig([10])], "paddock 'x' is listed twice"),
        ([job("x", 1, 1, "11")], [rig([10])], "2 days of fit soil"),
        ([job("x", 1, 1, "1")], [rig([25])], "expected 0 to 24"),
        ([job("x", 0, 1, "1")], [rig([10])], "no hours or no return"),
    ],
)
def test_what_makes_no_season_is_refused_in_one_line(jobs, rigs, words):
    with pytest.raises(InputError, match=words):
        plan_season(jobs, rigs, days(1))


@pytest.mark.parametrize("seed", range(30))
def test_a_small_plan_is_worth_what_another_solver_finds(seed, monkeypatch):
    """OR-Tools CP-SAT, quarter hours as whole numbers, a model of its own: who is where at the end of each day.

    Planned as a large season is, its bound holds too.
    """
    cp_model = pytest.importorskip("ortools.sat.python.cp_model", reason="OR-Tools is not installed")
    chance = np.random.default_rng(seed)
    n_jobs, n_rigs, n_days = int(chance.integers(2, 6)), int(chance.integers(1, 3)), int(chance.integers(2, 6))
    day_q, move_q = 40, int(chance.integers(0, 4))
    rigs = [Rig(name=f"r{m}", hours=np.full(n_days, 10.0), fold_h=move_q / 8.0) for m in range(n_rigs)]
    work_q = chance.integers(8, 70, size=(n_jobs, n_rigs))
    net = chance.integers(1, 100, size=(n_jobs, n_rigs)) * 10
    fit = chance.random((n_jobs, n_days)) < 0.7
    jobs = [
        Job(
            paddock=f"p{j}", fit=fit[j], hours={f"r{m}": work_q[j, m] / 4.0 for m in range(n_rigs)},
            net={f"r{m}": float(net[j, m]) for m in range(n_rigs)},
        )
        for j in range(n_jobs)
    ]  # fmt: skip
    model = cp_model.CpModel()
    value = []
    done = {(j, m): model.new_bool_var("") for j in range(n_jobs) for m in range(n_rigs)}
    for j in range(n_jobs):
        model.add_at_most_one(done[j, m] for m in range(n_rigs))
    for m in range(n_rigs):
        night = [[model.new_bool_var("") for _ in range(n_jobs + 1)] for _ in range(n_days + 1)]  # last: nowhere known
        model.add(night[0][n_jobs] == 1)
        work = [[model.new_int_var(0, day_q, "") for _ in range(n_days)] for _ in range(n_jobs)]
        here = [[model.new_bool_var("") for _ in range(n_days)] for _ in range(n_jobs)]
        for place in night:
            model.add_exactly_one(place)
        for d in range(n_days):
            moves = []
            for j in range(n_jobs):
                if not fit[j, d]:
                    model.add(here[j][d] == 0)
                model.add(work[j][d] <= day_q * here[j][d])
                came = model.new_bool_var("")  # entered today: once, or again when it was left in between
                model.add(came >= here[j][d] - night[d][j])
                others = sum(here[k][d] for k in range(n_jobs) if k != j)
                model.add(n_jobs * (came + 2 - night[d][j] - night[d + 1][j]) >= others).only_enforce_if(here[j][d])
                if d + 1 <= n_days:
                    model.add(night[d + 1][j] <= here[j][d] + night[d][j])
                # who waits through a day was nowhere else on it
                model.add(n_jobs * (2 - night[d][j] - night[d + 1][j]) >= others).only_enforce_if(here[j][d].negated())
                moves.append(came * move_q)
            model.add(sum(work[j][d] for j in range(n_jobs)) + sum(moves) <= day_q)
        for j in range(n_jobs):
            model.add(sum(work[j]) == int(work_q[j, m]) * done[j, m])
            value.append(done[j, m] * int(net[j, m]))
    model.maximize(sum(value))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    plan = plan_season(jobs, rigs, days(n_days), gap=0.0)
    assert plan.worth == pytest.approx(solver.objective_value, abs=1e-6)
    assert plan.bound == pytest.approx(solver.objective_value, abs=1e-3)
    assert walk_through(jobs, rigs, plan) == pytest.approx(plan.worth)
    monkeypatch.setattr(planning, "EXACT_VISITS", 0)
    monkeypatch.setattr(rounds, "COMPILED_TRIALS_PER_JOB", 60)
    for size in (planning.WHOLE_VISITS, 0):
        monkeypatch.setattr(planning, "WHOLE_VISITS", size)
        large = plan_season(jobs, rigs, days(n_days), gap=0.0)
        assert large.worth - 1e-6 <= solver.objective_value <= large.bound + 1e-6
