"""What a plan of a season comes to: worth, the tables of its record, and what becomes of it in other years."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.records.season import Fate, Job, Rig, SeasonPlan, Stress
from hardpan.season.search import improve, settle, stints_of
from hardpan.season.walk import Stint, Walker, neighbours_of, rips

OTHER_YEAR_TRIALS = 30
"""Changes tried for each paddock in another year's fit days: enough to put right what the order of the plan spoils."""


def walkers_of(jobs: Sequence[Job], rigs: Sequence[Rig]) -> list[Walker]:
    """The rigs, to which what must be ripped is worth more than all else together."""
    scale = 1.0 + sum(abs(net) for job in jobs for net in job.net.values())
    return [Walker(jobs, rig, [scale * job.must for job in jobs]) for rig in rigs]


def worth_of(jobs: Sequence[Job], rigs: Sequence[Rig], plan: Sequence[Sequence[Stint]]) -> float:
    """Net return less waiting of a plan, money."""
    total = 0.0
    for rig, stints in zip(rigs, plan, strict=True):
        total += sum(jobs[number].net[rig.name] for number in {stint.job for stint in stints})
        total -= sum(_waiting(jobs[stint.job], rig, stint) for stint in stints)
    return total


def plan_of(
    jobs: Sequence[Job],
    rigs: Sequence[Rig],
    days: Sequence[date],
    plan: Sequence[Sequence[Stint]],
    *,
    bound: float,
    ranked: float,
) -> SeasonPlan:
    """The plan as tables."""
    work = [
        {"day": stint.day, "rig": rig.name, "paddock": jobs[stint.job].paddock, "hours": stint.hours,
         "move_h": stint.move_h, "share": stint.hours / jobs[stint.job].hours[rig.name]}
        for rig, stints in zip(rigs, plan, strict=True) for stint in stints
    ]  # fmt: skip
    columns = ["day", "rig", "paddock", "hours", "move_h", "share"]
    worth = worth_of(jobs, rigs, plan)
    return SeasonPlan(
        days=tuple(days),
        work=pd.DataFrame(work, columns=columns).sort_values("day", kind="stable", ignore_index=True),
        jobs=pd.DataFrame([job_row(number, job, rigs, plan) for number, job in enumerate(jobs)]),
        worth=worth,
        bound=max(bound, worth),
        ranked_worth=ranked,
    )


def job_row(number: int, job: Job, rigs: Sequence[Rig], plan: Sequence[Sequence[Stint]]) -> dict[str, object]:
    """Row of a paddock in `SeasonPlan.jobs`."""
    for rig, stints in zip(rigs, plan, strict=True):
        if own := [stint for stint in stints if stint.job == number]:
            return {
                "paddock": job.paddock, "fate": Fate.DONE, "rig": rig.name, "first_day": own[0].day,
                "last_day": own[-1].day, "hours": sum(stint.hours for stint in own), "net": job.net[rig.name],
                "waiting": sum(_waiting(job, rig, stint) for stint in own),
            }  # fmt: skip
    return {
        "paddock": job.paddock, "fate": _why_left(job, rigs), "rig": "", "first_day": -1, "last_day": -1, "hours": 0.0,
        "net": 0.0, "waiting": 0.0,
    }  # fmt: skip


def _waiting(job: Job, rig: Rig, stint: Stint) -> float:
    """What the ground of a stint cost by waiting for it, money."""
    return job.waiting_per_day * stint.day * stint.hours / job.hours[rig.name]


def _why_left(job: Job, rigs: Sequence[Rig]) -> Fate:
    """Why a paddock is left: no gain, too few days, or others before it."""
    able = [rig for rig in rigs if rig.name in job.hours]
    if not any(rig.hours[job.open_days].sum() >= job.hours[rig.name] + rig.move_h(0.0) for rig in able):
        return Fate.NEVER_FIT
    return Fate.DROPPED if any(job.net[rig.name] > 0 for rig in able) else Fate.NO_GAIN


def stress_plan(
    plan: SeasonPlan, jobs: Sequence[Job], rigs: Sequence[Rig], years: Mapping[int, Mapping[str, Bools]]
) -> Stress:
    """What becomes of a plan's order of paddocks in several years' fit days, and which are dropped first.

    Parameters
    ----------
    years : mapping
        Fit days, (n_days,), by year and paddock.

    Notes
    -----
    Paddocks are taken in the order of the plan, those it left behind the others; small changes make the best of the
    year. What must be ripped is asked for, not demanded: in a bad year it is dropped last.
    """
    rows, worth, beside = [], {}, neighbours_of(jobs)
    orders = _order_of(plan, jobs, rigs)
    for year, fit in years.items():
        own = [replace(job, fit=fit[job.paddock]) for job in jobs]
        walkers = walkers_of(own, rigs)
        found = settle(walkers, orders, len(jobs))
        found = improve(walkers, found, beside, trials=OTHER_YEAR_TRIALS * len(jobs), seed=year)
        stints = stints_of(walkers, found)
        worth[year] = worth_of(own, rigs, stints)
        table = pd.DataFrame([job_row(number, job, rigs, stints) for number, job in enumerate(own)])
        rows.append(table[["paddock", "fate", "rig", "last_day"]].assign(year=year))
    told = pd.concat(rows, ignore_index=True)[["year", "paddock", "fate", "rig", "last_day"]]
    done = told["fate"].eq(Fate.DONE).groupby(told["paddock"], sort=False).mean()
    shares = done.rename("done_share").reset_index().sort_values("done_share", kind="stable", ignore_index=True)
    return Stress(years=told, jobs=shares, worth=worth)


def _order_of(plan: SeasonPlan, jobs: Sequence[Job], rigs: Sequence[Rig]) -> list[list[int]]:
    """Paddocks of each rig as they are begun in a plan, and behind them those it left, each with its best rig."""
    number = {job.paddock: at for at, job in enumerate(jobs)}
    done = plan.jobs[plan.jobs["fate"] == Fate.DONE].sort_values("first_day", kind="stable")
    orders = [[number[paddock] for paddock in done.loc[done["rig"] == rig.name, "paddock"]] for rig in rigs]
    left = set(number.values()).difference(*orders)
    rate = {
        (at, column): jobs[at].net[rig.name] / jobs[at].hours[rig.name]
        for at in left
        for column, rig in enumerate(rigs)
        if rips(rig, jobs[at])
    }
    for at, column in sorted(rate, key=lambda pair: (-rate[pair], pair)):
        if at in left:
            left.discard(at)
            orders[column].append(at)
    return orders
