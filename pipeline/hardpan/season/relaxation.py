"""Bound on the worth of every plan: each rig takes its best route, and pays for the paddocks it rips."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Self

import numpy as np
from scipy.optimize import linprog

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.season import Job, Rig
from hardpan.season import routes
from hardpan.season.loops import NOWHERE
from hardpan.season.routes import ROUNDING_H, Chart, Grid, Rewards, Tables
from hardpan.season.walk import Fleet, distances_km, rips

STEPS_H = ((0.25, 30), (0.1, 12), (0.025, 1))
"""Lengths of a step, and so many times at most prices are changed with it: roughly first, then closely, and at last
they are kept."""
SHORTEST_H = 0.01
"""Moves shorter than this would make the steps too many."""
TRUST, GROW, SHRINK = 0.02, 1.2, 0.7
"""Share of the largest return by which prices may change at first, and how much more or less after a change that
gained, or did not."""
PIECE_TRUST = 0.25
"""The same of the prices of pieces, over those of paddocks."""
ENOUGH = 1e-4
"""Relative gain still in sight at which the prices are good enough."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rated:
    """A fleet on its grid of time; arrays by those paddocks that it can rip, (n,)."""

    count: int
    """Rigs of the fleet."""
    grid: Grid
    job: Ints
    net: Floats
    hours: Floats
    waiting_per_day: Floats
    is_open: Bools
    """(n, n_days)."""
    dates: Ints
    """Day of the plan of each day it works on."""
    tables: Tables
    visits: Floats

    @classmethod
    def of(cls, jobs: Sequence[Job], fleet: Fleet, step_h: float) -> Self:
        """A fleet on a grid of steps of `step_h`."""
        rig = fleet.rig
        numbers = [number for number, job in enumerate(jobs) if rips(rig, job)]
        able = [jobs[number] for number in numbers]
        dates = np.flatnonzero(rig.hours > 0)
        hours = np.array([job.hours[rig.name] for job in able])
        waiting = np.array([job.waiting_per_day for job in able])
        is_open = np.array([job.open_days[dates] for job in able])
        grid = _grid(
            move_h=_moves_h(jobs, rig), first_h=rig.move_h(0.0), is_open=is_open, hours=rig.hours[dates], work_h=hours,
            waiting_per_day=waiting, dates=dates, step_h=step_h,
        )  # fmt: skip
        return cls(
            count=len(fleet.members), grid=grid, job=np.array(numbers), net=np.array([j.net[rig.name] for j in able]),
            hours=hours, waiting_per_day=waiting, is_open=is_open, dates=dates, tables=_tables(grid),
            visits=np.zeros((len(grid.day), 4)),
        )  # fmt: skip

    def rewards(self, price: Floats, piece: Floats) -> Rewards:
        """What visits earn at prices of whole paddocks and of pieces, by paddock of the plan."""
        whole, part = self.net - price[self.job], piece[self.job]
        rate = (whole - 2.0 * part)[:, None] - self.waiting_per_day[:, None] * self.dates
        per_h = np.where(self.is_open, np.maximum(rate, 0.0), 0.0) / self.hours[:, None]
        earned = np.cumsum(per_h.T[self.grid.day] * _lengths(self.grid)[:, None], axis=0)
        earned = np.vstack([np.zeros(len(whole)), earned])
        return Rewards(whole=whole, piece=part, per_h=np.ascontiguousarray(per_h.T), earned=earned)

    def slope(self, rewards: Rewards, count: int, n_jobs: int) -> Floats:
        """Change of what the route earns with each price of a paddock and of a piece, (2 n_jobs,)."""
        found, worked = np.zeros(2 * n_jobs), _lengths(self.grid)
        for visit in self.visits[:count]:
            one, step, until = (int(number) for number in visit[:3])
            job = self.job[one]
            if until == NOWHERE:
                found[job] -= 1.0
                continue
            gains = rewards.per_h[self.grid.day[step : until + 1], one] > 0
            late_h = float(visit[3]) * float(gains[0])
            share = (float(worked[step : until + 1][gains].sum()) - late_h) / self.hours[one]
            found[job] -= share
            found[n_jobs + job] += 1.0 - 2.0 * share
        return found


def _moves_h(jobs: Sequence[Job], rig: Rig) -> Floats:
    """Hours of a move from and to each paddock that a rig rips, (n, n)."""
    km = distances_km([job for job in jobs if rips(rig, job)])
    return np.array([[rig.move_h(one) for one in row] for row in km])


def _lengths(grid: Grid) -> Floats:
    """Hours of each step; the last of a day may be shorter."""
    hour = (np.arange(len(grid.day)) - grid.begin[grid.day]) * grid.step_h
    return np.minimum(grid.step_h, grid.hours[grid.day] - hour)


def _grid(
    *,
    move_h: Floats,
    first_h: float,
    is_open: Bools,
    hours: Floats,
    work_h: Floats,
    waiting_per_day: Floats,
    dates: Ints,
    step_h: float,
) -> Grid:
    """Grid of a rig, from arrays by the paddocks and days it has to do with."""
    n, n_days = is_open.shape
    count = np.maximum(np.ceil(hours / step_h - ROUNDING_H).astype(np.int64), 1)
    begin, day = np.concatenate([[0], np.cumsum(count)]), np.repeat(np.arange(n_days), count)
    hour = (np.arange(len(day)) - begin[day]) * step_h
    next_open = np.full((n_days + 1, n), n_days)
    for one in range(n_days - 1, -1, -1):
        next_open[one] = np.where(is_open[:, one], one, next_open[one + 1])
    end_day, end_h, cost = (np.zeros((len(day), n), dtype=kind) for kind in (np.int64, float, float))
    for one in range(n):
        open_h = is_open[one] * hours
        until, spent = (np.concatenate([[0.0], np.cumsum(open_h * by)]) for by in (1.0, dates))
        at = until[day] + is_open[one][day] * hour
        ends = np.searchsorted(until, at + work_h[one] - ROUNDING_H) - 1
        known = ends < n_days
        ends = np.where(known, ends, 0)
        rest = at + work_h[one] - until[ends]
        waited = spent[ends] + rest * dates[ends] - spent[day] - is_open[one][day] * hour * dates[day]
        end_day[:, one] = np.where(known, ends, NOWHERE)
        end_h[:, one], cost[:, one] = rest, waiting_per_day[one] * waited / work_h[one]
    return Grid(
        step_h=step_h, least_h=_least(move_h), first_h=first_h, begin=begin, day=day, hours=hours, next_open=next_open,
        move_h=move_h, end_day=end_day, end_h=end_h, waiting=cost,
    )  # fmt: skip


def _least(move_h: Floats) -> float:
    """The shortest move between two paddocks."""
    return float(move_h[~np.eye(len(move_h), dtype=bool)].min(initial=24.0))


def _tables(grid: Grid) -> Tables:
    """Room for tables."""
    shape = grid.end_h.shape
    return Tables(
        whole=np.zeros(shape), piece=np.zeros(shape), until=np.zeros(shape, dtype=np.int64), leave=np.zeros(shape),
        morning=np.zeros((len(grid.hours), shape[1])), ranked=np.zeros(shape, dtype=np.int64),
        queue=np.zeros((shape[1], shape[0]), dtype=np.int64),
    )  # fmt: skip


@dataclass(slots=True, kw_only=True, eq=False)
class _Planes:
    """Planes below which what the rigs earn does not lie, for any prices."""

    n_jobs: int
    counts: Floats
    """Rigs of each fleet."""
    must: Bools
    slopes: list[Floats]
    levels: list[float]

    def least(self, centre: Floats, reach: Floats) -> tuple[Floats, float]:
        """Prices within `reach` of others at which the planes are lowest, and the bound they would give at best."""
        found = linprog(
            np.concatenate([np.ones(self.n_jobs), np.zeros(self.n_jobs), self.counts]),
            A_ub=np.array(self.slopes),
            b_ub=-np.array(self.levels),
            bounds=np.column_stack([np.concatenate(part) for part in self._box(centre, reach)]),
            method="highs",
        )
        return found.x[: 2 * self.n_jobs], float(found.fun)

    def _box(self, centre: Floats, reach: Floats) -> list[list[Floats]]:
        """Lowest and highest prices; only what must be ripped may have one below zero."""
        free = np.concatenate([np.where(self.must, -np.inf, 0.0), np.zeros(self.n_jobs)])
        none = np.full(len(self.counts), np.inf)
        return [[np.maximum(centre - reach, free), -none], [centre + reach, none]]


def bound_by_routes(
    jobs: Sequence[Job],
    fleets: Sequence[Fleet],
    first: Floats,
    *,
    price: Callable[..., tuple[float, int]] = routes.price,
    steps_h: Sequence[tuple[float, int]] = STEPS_H,
    enough: float = 0.0,
) -> float:
    """Worth that no plan surpasses, money; infinite where it is not known.

    Parameters
    ----------
    first : Floats
        Prices to begin with, of paddocks and then of pieces of them (u and v below), money, (2 n_jobs,).
    price : callable
        `routes.price`, or the same compiled.
    steps_h : sequence of tuple
        Length of a step of time, h, and changes of the prices at most, one after another.
    enough : float
        A bound that is good enough, money.

    Notes
    -----
    Lagrangian relaxation (`geoffrion1974`). A rig pays the price u_j >= 0 of each paddock it rips and keeps its return:
    with L(u) the most that the rigs earn, each by itself, no plan is worth more than sum_j u_j + L(u). A route is in
    one place at a time and pays every move as long as it is. It may rip a paddock again, or in part, which earns its
    share; but as a plan takes two visits at least for what it does not rip in one, a visit that rips the share w also
    earns v_j (1 - 2 w), for any v_j >= 0. Prices that bring the bound down are found by planes that bound L from below
    (`kelley1960`) near the best prices so far.
    """
    if min((job.waiting_per_day for job in jobs), default=0.0) < 0.0:
        return np.inf
    fleets = [one for one in fleets if one.rig.hours.any() and any(rips(one.rig, job) for job in jobs)]
    least_h = min(_least(_moves_h(jobs, fleet.rig)) for fleet in fleets)
    if least_h < SHORTEST_H:
        return np.inf
    best, prices = np.inf, first
    for step_h, times in steps_h:
        rated = [Rated.of(jobs, fleet, step_h if least_h > step_h * 1.1 else 0.9 * least_h) for fleet in fleets]
        found, prices = _descend(jobs, rated, prices, price=price, times=times, enough=enough)
        best = min(best, found)
        if best <= enough:
            break
    return best


def _descend(
    jobs: Sequence[Job],
    rated: Sequence[Rated],
    prices: Floats,
    *,
    price: Callable[..., tuple[float, int]],
    times: int,
    enough: float,
) -> tuple[float, Floats]:
    """The lowest bound met in so many changes of the prices, and its prices."""
    n = len(jobs)
    planes = _Planes(
        n_jobs=n, counts=np.array([float(one.count) for one in rated]), must=np.array([job.must for job in jobs]),
        slopes=[], levels=[],
    )  # fmt: skip
    scale = TRUST * max(float(np.abs(one.net).max(initial=0.0)) for one in rated)
    reach = np.concatenate([np.full(n, scale), np.full(n, PIECE_TRUST * scale)])
    best, centre = np.inf, prices
    with ThreadPoolExecutor(len(rated)) as threads:
        for _ in range(times):
            rewards = [one.rewards(prices[:n], prices[n:]) for one in rated]
            told = threads.map(lambda one, given: price(Chart(one.grid, given, one.tables), one.visits), rated, rewards)
            bound = float(prices[:n].sum())
            for number, (one, given, (earned, count)) in enumerate(zip(rated, rewards, told, strict=True)):
                bound += one.count * earned
                slope = one.slope(given, count, n)
                planes.slopes.append(np.concatenate([slope, -np.eye(len(rated))[number]]))
                planes.levels.append(earned - float(slope @ prices))
            if bound < best:
                best, centre, reach = bound, prices, GROW * reach
            else:
                reach = SHRINK * reach
            prices, hoped = planes.least(centre, reach)
            if best <= enough or best - hoped < ENOUGH * abs(best):
                break
    return best, centre
