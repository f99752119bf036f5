"""A plan in the fit days of other years: what becomes of each paddock, and which are dropped first."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.records.season import Fate, Job, Rig, SeasonPlan, Stress
from hardpan.season.accounts import job_row, walkers_of, worth_of
from hardpan.season.search import improve, settle, stints_of
from hardpan.season.visits import neighbours_of

OTHER_YEAR_TRIALS = 30
"""Changes tried for each paddock in another year's fit days: enough to put right what the order of the plan spoils."""


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
        if rig.name in jobs[at].hours and (jobs[at].must or jobs[at].net[rig.name] > 0)
    }
    for at, column in sorted(rate, key=lambda pair: (-rate[pair], pair)):
        if at in left:
            left.discard(at)
            orders[column].append(at)
    return orders
