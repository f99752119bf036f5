"""The integer programme of a season's plan, and its solution."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array, hstack, vstack

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.season import Job
from hardpan.season.walk import Fleet, Pairs, Visits

INFEASIBLE = 2
"""Status of the solver."""


class Whole(StrEnum):
    """What a solution may not divide. The less that is, the sooner it is found; each bounds all below it from above."""

    NOTHING = "nothing"
    PADDOCKS = "paddocks"
    """Each is ripped or left; a rig may still be in two places by halves."""
    VISITS = "visits"
    """A rig is in a paddock or not, too: a plan that can be driven."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """Best plan the programme found; arrays None where it found none in time."""

    share: Floats | None
    """Share of the paddock worked in each visit, (n_visits,)."""
    stays: Bools | None
    """The rig stands there since the evening before, (n_visits,)."""
    bound: float
    """No plan is worth more, money; infinite where not known."""
    possible: bool
    """False: it is proved that no plan keeps every condition."""
    ended: bool = True
    """False: it was cut short by the time, and another machine may find another."""
    price: Floats | None = None
    """Of whole numbers of nothing: what each paddock would add could it be ripped twice, money, (n_jobs,)."""


def solve(
    jobs: Sequence[Job],
    fleets: Sequence[Fleet],
    pairs: Pairs,
    visits: Visits,
    *,
    move_h: Floats,
    whole: Whole,
    gap: float,
    seconds: float,
) -> Solution:
    """Plan worth most, to a relative `gap`, within `seconds`, with moves that take `move_h` (n_pairs,).

    Notes
    -----
    For a pair p of paddock j and fleet m of k rigs, and a day d: z_p is 1 where m rips j, y_pd the share of j ripped,
    a_pd 1 where one of m arrives, s_pd 1 where it stood there overnight. With hours h_p, move g_p, hours H_md of a rig
    and waiting c_j::

        max  sum_p net_p z_p - sum_pd c_j d y_pd
        sum_d y_pd = z_p,  sum over fleets of z_p <= 1 (= 1 where it must),  sum_d a_pd >= z_p
        sum_p h_p y_pd + g_p a_pd <= H_md (k - sum of the stays s through d) + f_md
        sum_d f_md <= k times what a first move may fall short of g
        h_p y_pd <= min(h_p, H_md) s_pd + min(h_p, H_md + f - g_p) a_pd
        s_pd <= a_pc + s_pc,  sum_p s_pd <= k for every night from c to d
        sum_{q != p} a_qd <= n (2 - s_pd - s_pe)

    where c is the day before d on which p can be worked, and e the one after it: days on which it cannot be lie
    between, and the rig may wait there, which takes all of these days: it stays through them. For whole visits fleets
    are of one rig, and f is 0, so that the moves charged are no less than those driven; the last line stands for them
    only: a rig that was in p overnight and will be again was nowhere else.
    """
    n_pairs, n_visits = len(pairs.job), len(visits.pair)
    waiting = np.array([jobs[j].waiting_per_day for j in pairs.job])[visits.pair] * visits.day
    scale = max(float(np.abs(pairs.net).max()), 1.0)
    n_days = len(fleets[0].rig.hours)
    n_free = len(fleets) * n_days
    high = np.ones(n_pairs + 3 * n_visits + n_free)
    stays_end = n_pairs + 3 * n_visits
    high[:n_pairs] = np.inf if whole is Whole.NOTHING else 1.0  # each is ripped once at most by the second line
    high[n_pairs + 2 * n_visits : stays_end][visits.before < 0] = 0.0
    first_h = np.zeros(len(fleets)) if whole is Whole.VISITS else _first_h(fleets, pairs, move_h)
    high[stays_end:] = np.repeat(first_h * _counts(fleets), n_days)
    constraints = _constraints(jobs, fleets, pairs, visits, move_h=move_h, first_h=first_h)
    cost = np.concatenate([-pairs.net, waiting, np.zeros(2 * n_visits + n_free)]) / scale
    if whole is Whole.NOTHING:
        found, price = _divided(cost, high, constraints, seconds=seconds)
        dual = found.fun
    else:
        integral = np.zeros(len(high))
        integral[:n_pairs] = 1
        integral[n_pairs + n_visits : stays_end] = whole is Whole.VISITS
        if whole is Whole.VISITS:
            constraints.append(_nowhere_else(pairs, visits, len(high)))
        options = {"mip_rel_gap": gap, "time_limit": seconds}
        found = milp(cost, integrality=integral, bounds=Bounds(0.0, high), constraints=constraints, options=options)
        dual, price = found.mip_dual_bound, None
    bound = np.inf if dual is None or not np.isfinite(dual) else -float(dual) * scale
    if found.x is None:
        return Solution(share=None, stays=None, bound=bound, possible=found.status != INFEASIBLE)
    _, share, _, stays, _ = np.split(found.x, np.cumsum([n_pairs, n_visits, n_visits, n_visits]))
    return Solution(
        share=share, stays=stays > 0.5, bound=bound, possible=True, ended=found.status == 0,
        price=None if price is None else price * scale,
    )  # fmt: skip


def _divided(
    cost: Floats, high: Floats, constraints: Sequence[LinearConstraint], *, seconds: float
) -> tuple[Any, Floats | None]:
    """Solution in parts of everything, and the price of each paddock: the dual of the second condition."""
    rows, limits, sizes = list[csr_array](), list[Floats](), list[int]()
    for one in constraints:
        matrix, low, top = csr_array(one.A), *(np.broadcast_to(end, one.A.shape[0]) for end in (one.lb, one.ub))
        for sign, limit in ((1.0, top), (-1.0, -low)):
            kept = np.isfinite(limit)
            rows.append(sign * matrix[kept])
            limits.append(limit[kept])
            sizes.append(int(kept.sum()))
    found = linprog(
        cost,
        A_ub=vstack(rows).tocsc(),
        b_ub=np.concatenate(limits),
        bounds=np.column_stack([np.zeros(len(high)), high]),
        method="highs",
        options={"time_limit": seconds},
    )
    if found.x is None:
        return found, None
    parts = np.split(-found.ineqlin.marginals, np.cumsum(sizes)[:-1])
    return found, np.asarray(parts[2] - parts[3])


def _counts(fleets: Sequence[Fleet]) -> Floats:
    """Rigs of each fleet."""
    return np.array([float(len(fleet.members)) for fleet in fleets])


def _first_h(fleets: Sequence[Fleet], pairs: Pairs, move_h: Floats) -> Floats:
    """Hours by which the first move of a rig, folding and unfolding only, may fall short of what it is charged."""
    short = [move_h[pairs.fleet == number] - fleet.rig.move_h(0.0) for number, fleet in enumerate(fleets)]
    return np.array([max(float(one.max(initial=0.0)), 0.0) for one in short])


def _constraints(
    jobs: Sequence[Job], fleets: Sequence[Fleet], pairs: Pairs, visits: Visits, *, move_h: Floats, first_h: Floats
) -> list[LinearConstraint]:
    """Conditions on z, y, a, s and f, in this order of columns."""
    n_pairs, n_visits, n_days = len(pairs.job), len(visits.pair), len(fleets[0].rig.hours)
    number, pair = np.arange(n_visits), visits.pair
    of_day = pairs.fleet[pair] * n_days + visits.day
    time, count = np.concatenate([fleet.rig.hours for fleet in fleets]), np.repeat(_counts(fleets), n_days)
    hours, one, known = pairs.hours[pair], np.ones(n_visits), visits.before >= 0
    by_pair, same = (n_pairs, n_visits), (n_visits, n_visits)
    of_pair, itself = _matrix(one, pair, number, by_pair), _matrix(one, number, number, same)
    z = _matrix(np.ones(n_pairs), np.arange(n_pairs), np.arange(n_pairs), (n_pairs, n_pairs))
    of_job = _matrix(np.ones(n_pairs), pairs.job, np.arange(n_pairs), (len(jobs), n_pairs))
    by_day = (len(time), n_visits)
    day_h, free = time[of_day], first_h[pairs.fleet[pair]]
    stayed = _matrix(np.minimum(day_h / hours, 1.0), number, number, same)
    arrived = np.clip((day_h + free - move_h[pair]) / hours, 0.0, 1.0)
    before = _matrix(np.ones(known.sum()), number[known], visits.before[known], same)
    must = np.array([float(job.must) for job in jobs])
    night, over = _nights(pairs, visits, n_days)
    idle = visits.day[over] != night % n_days
    every_day = _matrix(np.ones(len(time)), np.arange(len(time)), np.arange(len(time)), (len(time), len(time)))
    per_fleet = _matrix(
        np.ones(len(time)), np.arange(len(time)) // n_days, np.arange(len(time)), (len(fleets), len(time))
    )
    blocks: list[tuple[list[csr_array | None], float | Floats, float | Floats]] = [
        ([-z, of_pair, None, None, None], 0.0, 0.0),
        ([of_job, None, None, None, None], must, 1.0),
        ([-z, None, of_pair, None, None], 0.0, np.inf),
        ([None, _matrix(hours, of_day, number, by_day), _matrix(move_h[pair], of_day, number, by_day),
          _matrix(time[night[idle]], night[idle], over[idle], by_day), -every_day], -np.inf, time * count),
        ([None, None, None, None, per_fleet], 0.0, first_h * _counts(fleets)),
        ([None, None, None, _matrix(np.ones(len(night)), night, over, by_day), None], -np.inf, count),
        ([None, itself, -_matrix(arrived, number, number, same), -stayed, None], -np.inf, 0.0),
        ([None, None, -before, itself - before, None], -np.inf, 0.0),
    ]  # fmt: skip
    widths = (n_pairs, n_visits, n_visits, n_visits, len(time))
    return [_rows(row, widths, low=low, high=high) for row, low, high in blocks]


def _nights(pairs: Pairs, visits: Visits, n_days: int) -> tuple[Ints, Ints]:
    """Fleet and night (that before a day) of every stay, and the visit it leads to; one over several days has several.

    Returns
    -------
    tuple of Ints
        Number of the fleet times `n_days` and the day, and number of the visit.
    """
    known = np.flatnonzero(visits.before >= 0)
    length = visits.day[known] - visits.day[visits.before[known]]
    visit = np.repeat(known, length)
    back = np.arange(length.sum()) - np.repeat(np.cumsum(length) - length, length)
    return pairs.fleet[visits.pair[visit]] * n_days + visits.day[visit] - back, visit


def _nowhere_else(pairs: Pairs, visits: Visits, width: int) -> LinearConstraint:
    """A rig that stands in a paddock before and after a day on which it can be worked arrives nowhere else on it."""
    n_pairs, n_visits = len(pairs.job), len(visits.pair)
    arrivals, stays = n_pairs + n_visits, n_pairs + 2 * n_visits
    fleet = pairs.fleet[visits.pair]
    row, column = list[int](), list[int]()
    factor, high = list[float](), list[float]()
    for after, here in enumerate(visits.before.tolist()):
        if here < 0 or visits.before[here] < 0:
            continue
        others = np.flatnonzero(
            (fleet == fleet[here]) & (visits.day == visits.day[here]) & (visits.pair != visits.pair[here])
        )
        if n := len(others):
            columns = [*(arrivals + others).tolist(), stays + here, stays + after]
            row += [len(high)] * len(columns)
            column += columns
            factor += [1.0] * n + [float(n)] * 2
            high.append(2.0 * n)
    matrix = _matrix(np.array(factor), np.array(row, dtype=int), np.array(column, dtype=int), (len(high), width))
    return LinearConstraint(matrix.tocsc(), -np.inf, np.array(high))


def _matrix(values: Floats, row: Ints, column: Ints, shape: tuple[int, int]) -> csr_array:
    return coo_array((values, (row, column)), shape=shape).tocsr()


def _none(rows: int, columns: int) -> csr_array:
    return csr_array((rows, columns))


def _rows(
    row: Sequence[csr_array | None], widths: Sequence[int], *, low: float | Floats, high: float | Floats
) -> LinearConstraint:
    """Rows of the kinds of variables side by side, so many of each; None: they are not in it."""
    height = next(block.shape[0] for block in row if block is not None)
    blocks = [_none(height, width) if block is None else block for block, width in zip(row, widths, strict=True)]
    return LinearConstraint(hstack(blocks).tocsc(), low, high)
