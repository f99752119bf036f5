"""Which paddock is ripped by which rig on which days: the best plan found, how good one could be, and a simple one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple, Self

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.season import Job, Rig, SeasonPlan
from hardpan.season.accounts import plan_of, walkers_of, worth_of
from hardpan.season.programme import Solution, Whole, solve
from hardpan.season.relaxation import bound_by_routes
from hardpan.season.rounds import best_found
from hardpan.season.search import can_compile, settle, stints_of
from hardpan.season.walk import (
    Fleet,
    Pairs,
    Stint,
    Visits,
    Walker,
    each_alone,
    fleets_of,
    pairs_of,
    visits_of,
)

EXACT_VISITS = 150
"""Visits up to which a plan is also sought in whole visits, which then soon ends; more of them are searched only."""
WHOLE_VISITS = 2_000
"""Visits up to which a plan is also sought in whole paddocks with each rig by itself."""
PRICED = 1_000_000
"""Visits times paddocks up to which the bound is brought down by routes, which take as much time."""
PATIENCE = 20.0
"""The programme without whole numbers soon ends, and gives the bound where the other does not: it may take so many
times as long."""
DAY_H = 24.0


def plan_season(
    jobs: Sequence[Job],
    rigs: Sequence[Rig],
    days: Sequence[date],
    *,
    gap: float = 0.01,
    seconds: float = 25.0,
    seed: int = 1,
    threads: int = 2,
) -> SeasonPlan:
    """Plan worth most among those found, with the worth that no plan can surpass.

    Parameters
    ----------
    jobs : sequence of Job
        Paddocks; each is ripped whole by one rig or left.
    rigs : sequence of Rig
        What can rip, each in one place at a time.
    days : sequence of date
        The days of the plan, in order.
    gap : float
        Relative gap at which the integer programme may stop.
    seconds : float
        Time the integer programme may take; where it is cut short the bound is higher than it need be.
    seed : int
        Of the search.
    threads : int
        In which searches run side by side; the plan does not hang on them.

    Raises
    ------
    InputError
        A paddock is listed twice, a calendar has other days, a day has more than 24 hours, or a paddock that must be
        ripped cannot be.

    Notes
    -----
    A programme that lets a rig be in two paddocks by halves bounds the worth of every plan from above (`programme`).
    Its order of paddocks is walked through, and bettered by small changes (`rounds`). Up to `WHOLE_VISITS` it is solved
    in whole paddocks too, each rig by itself, and up to `EXACT_VISITS` in whole visits. For more than those the bound
    is brought down by rigs that pay for paddocks (`relaxation`) where that can be compiled, else by the programme in
    whole paddocks. `SeasonPlan.gap` is between the plan walked and the bound.
    """
    _check(jobs, rigs, days)
    walkers = walkers_of(jobs, rigs)
    ranked = settle(walkers, _ranking(jobs, rigs, walkers), len(jobs))
    alike = _Programme.of(jobs, fleets_of(jobs, rigs))
    if not len(alike.visits.pair):
        _refuse_undone(jobs, set())
        return plan_of(jobs, rigs, days, [[] for _ in rigs], bound=0.0, ranked=0.0)
    single = _Programme.of(jobs, each_alone(rigs))
    small = len(single.visits.pair) <= EXACT_VISITS
    fast = not small and can_compile()
    priced = fast and len(alike.visits.pair) * len(jobs) <= PRICED
    whole = single if len(single.visits.pair) <= WHOLE_VISITS else None if priced else alike
    ideals = _ideals(jobs, alike, whole, gap=gap / 20.0, seconds=seconds / 3.0)
    orders = [_orders(one, jobs, walkers) for one in ideals if one.solution.ended]
    begun = [ranked, *(settle(walkers, order, len(jobs)) for order in orders)]
    stints = stints_of(walkers, best_found(jobs, rigs, begun, seed, compiled=fast, threads=threads))
    bound, enough = _least_bound(jobs, ideals), (1.0 + gap) * worth_of(jobs, rigs, stints)
    if priced and bound > enough:
        bound = min(bound, _bound_by_routes(jobs, ideals[0], enough))
    if small:
        stints, bound = _exact(jobs, rigs, single, stints=stints, bound=bound, gap=gap, seconds=seconds / 2.0)
    _refuse_undone(jobs, {stint.job for track in stints for stint in track})
    alone = worth_of(jobs, rigs, stints_of(walkers, ranked))
    musts = {number for number, job in enumerate(jobs) if job.must}
    return plan_of(jobs, rigs, days, stints, bound=bound, ranked=alone if not musts & set(ranked.left) else np.nan)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Programme:
    """What an integer programme is about."""

    fleets: Sequence[Fleet]
    pairs: Pairs
    visits: Visits

    @classmethod
    def of(cls, jobs: Sequence[Job], fleets: Sequence[Fleet]) -> Self:
        """All that the fleets can do."""
        pairs = pairs_of(jobs, fleets)
        return cls(fleets=fleets, pairs=pairs, visits=visits_of(jobs, fleets, pairs))

    def solve(self, jobs: Sequence[Job], *, move_h: Floats, whole: Whole, gap: float, seconds: float) -> Solution:
        """Plan worth most, as `programme.solve`."""
        return solve(
            jobs, self.fleets, self.pairs, self.visits, move_h=move_h, whole=whole, gap=gap, seconds=seconds
        )  # fmt: skip


class _Ideal(NamedTuple):
    """A programme, and its solution with moves no longer than any plan's."""

    programme: _Programme
    solution: Solution


def _check(jobs: Sequence[Job], rigs: Sequence[Rig], days: Sequence[date]) -> None:
    """Refuse what makes no season."""
    for kind, names in (("paddock", [job.paddock for job in jobs]), ("rig", [rig.name for rig in rigs])):
        if twice := [name for number, name in enumerate(names) if name in names[:number]]:
            raise InputError(what=f"{kind} {twice[0]!r} is listed twice", where="season plan", right="each once")
    for job in jobs:
        if len(job.open_days) != len(days):
            raise InputError(
                what=f"{len(job.open_days)} days of fit soil",
                where=job.paddock,
                right=f"one for each of {len(days)} days",
            )
        if bad := [rig for rig, hours in job.hours.items() if not hours > 0 or rig not in job.net]:
            raise InputError(what=f"no hours or no return with {bad[0]}", where=job.paddock, right="both for each rig")
    for rig in rigs:
        if len(rig.hours) != len(days) or not ((rig.hours >= 0) & (rig.hours <= DAY_H)).all():
            raise InputError(what="hours of its days", where=rig.name, right=f"0 to 24 for each of {len(days)} days")


def _bound_by_routes(jobs: Sequence[Job], ideal: _Ideal, enough: float) -> float:
    """Bound by the routes of rigs that pay for paddocks, first what the programme says they are worth."""
    from hardpan.season import compiled  # noqa: PLC0415 - slow to import, not always installed

    first = np.zeros(2 * len(jobs))
    if ideal.solution.price is not None:
        first[: len(jobs)] = ideal.solution.price
    return bound_by_routes(jobs, ideal.programme.fleets, first, price=compiled.price, enough=enough)


def _ideals(
    jobs: Sequence[Job], alike: _Programme, whole: _Programme | None, *, gap: float, seconds: float
) -> list[_Ideal]:
    """Solution in parts of paddocks, and that in whole ones where it is asked for.

    Raises
    ------
    InputError
        No plan can rip what must be ripped.
    """
    asked = [(alike, Whole.NOTHING, PATIENCE * seconds)] + ([] if whole is None else [(whole, Whole.PADDOCKS, seconds)])
    found = [
        _Ideal(one, one.solve(jobs, move_h=one.pairs.least_move_h, whole=kind, gap=gap, seconds=limit))
        for one, kind, limit in asked
    ]
    if not all(one.solution.possible for one in found):
        _refuse_undone(jobs, set())
    return found


def _least_bound(jobs: Sequence[Job], ideals: Sequence[_Ideal]) -> float:
    """Worth that no plan surpasses: of the solutions, and of all that can be gained."""
    return min(sum(max([0.0, *job.net.values()]) for job in jobs), *(one.solution.bound for one in ideals))


def _ranking(jobs: Sequence[Job], rigs: Sequence[Rig], walkers: Sequence[Walker]) -> list[list[int]]:
    """The simple plan: paddocks by return per hour, each by the rig that ends it first."""
    best = {
        number: max(job.net[rig.name] / job.hours[rig.name] for rig in rigs if rig.name in job.hours)
        for number, job in enumerate(jobs)
        if any(rig.name in job.hours for rig in rigs)
    }
    return _queued(
        walkers,
        {
            number: [
                column for column, rig in enumerate(rigs) if jobs[number].net.get(rig.name, 0.0) + jobs[number].must > 0
            ]
            for number in sorted(best, key=lambda n: (not jobs[n].must, -best[n]))
        },
        len(jobs),
    )


def _queued(walkers: Sequence[Walker], able: Mapping[int, Sequence[int]], n_jobs: int) -> list[list[int]]:
    """Paddocks in turn, each behind the others of the rig that ends it first, of those that are able."""
    orders: list[list[int]] = [[] for _ in walkers]
    for number, columns in able.items():
        ends = {}
        for column in columns:
            told: list[Stint] = []
            _, unfinished = walkers[column].walk([*orders[column], number], [False] * n_jobs, told)
            if not unfinished:
                ends[column] = max(stint.day for stint in told if stint.job == number)
        if ends:
            orders[min(ends, key=lambda column: ends[column])].append(number)
    return orders


def _orders(ideal: _Ideal, jobs: Sequence[Job], walkers: Sequence[Walker]) -> list[list[int]]:
    """Paddocks by the mean day of their work in the solution, each by the rig of its fleet that ends it first."""
    share = ideal.solution.share
    if share is None:
        return [[] for _ in walkers]
    pairs, visits = ideal.programme.pairs, ideal.programme.visits
    done = np.bincount(visits.pair, weights=share, minlength=len(pairs.job))
    middle = np.bincount(visits.pair, weights=share * visits.day, minlength=len(pairs.job))
    taken = np.flatnonzero(done > 0.5)
    ordered = taken[np.argsort(middle[taken], kind="stable")]
    able = zip(pairs.job[ordered].tolist(), pairs.fleet[ordered].tolist(), strict=True)
    return _queued(walkers, {job: ideal.programme.fleets[fleet].members for job, fleet in able}, len(jobs))


def _exact(
    jobs: Sequence[Job],
    rigs: Sequence[Rig],
    single: _Programme,
    *,
    stints: list[list[Stint]],
    bound: float,
    gap: float,
    seconds: float,
) -> tuple[list[list[Stint]], float]:
    """The better of `stints` and the plan in whole visits, and the lower bound where moves are charged as they are."""
    pairs = single.pairs
    found = single.solve(jobs, move_h=pairs.most_move_h, whole=Whole.VISITS, gap=gap, seconds=seconds)
    if np.array_equal(pairs.most_move_h, pairs.least_move_h):
        bound = min(bound, found.bound)
    if found.share is None or found.stays is None:
        return stints, bound
    exact = _travelled(jobs, rigs, single, found)
    return max(stints, exact, key=lambda plan: worth_of(jobs, rigs, plan)), bound


def _travelled(jobs: Sequence[Job], rigs: Sequence[Rig], single: _Programme, found: Solution) -> list[list[Stint]]:
    """Stints of a solution in whole visits, with the moves they take.

    A day begins where the rig stood overnight and ends where it will; what lies between is taken as it comes.
    """
    pairs, visits = single.pairs, single.visits
    share, stays = np.asarray(found.share), np.asarray(found.stays)
    after = np.zeros(len(share), dtype=bool)
    after[visits.before[stays]] = True
    worked = np.flatnonzero(share > 1e-7)
    plan: list[list[Stint]] = [[] for _ in rigs]
    for visit in sorted(worked.tolist(), key=lambda v: (visits.day[v], not stays[v], after[v])):
        pair = visits.pair[visit]
        job, rig = int(pairs.job[pair]), int(pairs.fleet[pair])
        done, one = plan[rig], rigs[rig]
        hours = float(share[visit] * pairs.hours[pair])
        last = jobs[done[-1].job] if done else jobs[job]
        km = float(np.hypot(last.x_m - jobs[job].x_m, last.y_m - jobs[job].y_m)) / 1000.0
        move = 0.0 if done and done[-1].job == job else one.move_h(km)
        done.append(Stint(int(visits.day[visit]), job, hours, move))
    return plan


def _refuse_undone(jobs: Sequence[Job], done: set[int]) -> None:
    """Refuse a plan without what must be ripped."""
    if names := [job.paddock for number, job in enumerate(jobs) if job.must and number not in done]:
        raise InputError(
            what=f"must be ripped, and no plan found rips it: {', '.join(names)}", where="season plan",
            do="allow it more days, give it another rig, or ask for less",
        )  # fmt: skip
