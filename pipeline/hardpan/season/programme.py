"""The integer programme of a season's plan, and its solution."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array, hstack

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.season import Job, Rig
from hardpan.season.visits import Pairs, Visits

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


def solve(
    jobs: Sequence[Job],
    rigs: Sequence[Rig],
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
    For a pair p of paddock j and rig m, and a day d: z_p is 1 where m rips j, y_pd the share of j ripped, a_pd 1 where
    m arrives, s_pd 1 where it stood there overnight. With hours h_p, move g_p, hours H_md of the rig and waiting c_j::

        max  sum_p net_p z_p - sum_pd c_j d y_pd
        sum_d y_pd = z_p,  sum over rigs of z_p <= 1 (= 1 where it must),  sum_d a_pd >= z_p
        sum_p h_p y_pd + g_p a_pd <= H_md,  y_pd <= min(1, H_md / h_p) (a_pd + s_pd)
        s_pd <= a_p,d-1 + s_p,d-1,  sum_p s_pd <= 1
        sum_{q != p} a_qd <= n (2 - s_pd - s_p,d+1)

    The last stands for whole visits only: a rig that was in p overnight and will be again was nowhere else between.
    """
    n_pairs, n_visits = len(pairs.job), len(visits.pair)
    waiting = np.array([jobs[j].waiting_per_day for j in pairs.job])[visits.pair] * visits.day
    scale = max(float(np.abs(pairs.net).max()), 1.0)
    high = np.ones(n_pairs + 3 * n_visits)
    high[n_pairs + 2 * n_visits :][visits.before < 0] = 0.0
    integral = np.zeros(len(high))
    integral[:n_pairs], integral[n_pairs + n_visits :] = whole is not Whole.NOTHING, whole is Whole.VISITS
    constraints = _constraints(jobs, rigs, pairs, visits, move_h)
    if whole is Whole.VISITS:
        constraints.append(_nowhere_else(pairs, visits, len(high)))
    found = milp(
        np.concatenate([-pairs.net, waiting, np.zeros(2 * n_visits)]) / scale,
        integrality=integral,
        bounds=Bounds(0.0, high),
        constraints=constraints,
        options={"mip_rel_gap": gap, "time_limit": seconds},
    )
    dual = found.fun if whole is Whole.NOTHING else found.mip_dual_bound
    bound = np.inf if dual is None or not np.isfinite(dual) else -float(dual) * scale
    if found.x is None:
        return Solution(share=None, stays=None, bound=bound, possible=found.status != INFEASIBLE)
    _, share, _, stays = np.split(found.x, np.cumsum([n_pairs, n_visits, n_visits]))
    return Solution(share=share, stays=stays > 0.5, bound=bound, possible=True)


def _constraints(
    jobs: Sequence[Job], rigs: Sequence[Rig], pairs: Pairs, visits: Visits, move_h: Floats
) -> list[LinearConstraint]:
    """Conditions on z, y, a and s, in this order of columns."""
    n_pairs, n_visits, n_days = len(pairs.job), len(visits.pair), len(rigs[0].hours)
    number, pair = np.arange(n_visits), visits.pair
    rig_day = pairs.rig[pair] * n_days + visits.day
    time = np.concatenate([rig.hours for rig in rigs])
    hours, one, known = pairs.hours[pair], np.ones(n_visits), visits.before >= 0
    by_pair, same = (n_pairs, n_visits), (n_visits, n_visits)
    of_pair, itself = _matrix(one, pair, number, by_pair), _matrix(one, number, number, same)
    z = _matrix(np.ones(n_pairs), np.arange(n_pairs), np.arange(n_pairs), (n_pairs, n_pairs))
    of_job = _matrix(np.ones(n_pairs), pairs.job, np.arange(n_pairs), (len(jobs), n_pairs))
    by_day = (len(time), n_visits)
    cap = _matrix(np.minimum(time[rig_day] / hours, 1.0), number, number, same)
    before = _matrix(np.ones(known.sum()), number[known], visits.before[known], same)
    must = np.array([float(job.must) for job in jobs])
    return [
        _rows(-z, of_pair, None, None, low=0.0, high=0.0),
        _rows(of_job, _none(len(jobs), n_visits), None, None, low=must, high=1.0),
        _rows(-z, None, of_pair, None, low=0.0, high=np.inf),
        _rows(_none(len(time), n_pairs), _matrix(hours, rig_day, number, by_day),
              _matrix(move_h[pair], rig_day, number, by_day), None, low=-np.inf, high=time),
        _rows(_none(len(time), n_pairs), None, None, _matrix(one, rig_day, number, by_day), low=-np.inf, high=1.0),
        _rows(_none(n_visits, n_pairs), itself, -cap, -cap, low=-np.inf, high=0.0),
        _rows(_none(n_visits, n_pairs), None, -before, itself - before, low=-np.inf, high=0.0),
    ]  # fmt: skip


def _nowhere_else(pairs: Pairs, visits: Visits, width: int) -> LinearConstraint:
    """A rig that stands in a paddock before and after a day arrives nowhere else on it."""
    n_pairs, n_visits = len(pairs.job), len(visits.pair)
    arrivals, stays = n_pairs + n_visits, n_pairs + 2 * n_visits
    rig = pairs.rig[visits.pair]
    row, column = list[int](), list[int]()
    factor, high = list[float](), list[float]()
    for after, here in enumerate(visits.before.tolist()):
        if here < 0 or visits.before[here] < 0:
            continue
        others = np.flatnonzero(
            (rig == rig[here]) & (visits.day == visits.day[here]) & (visits.pair != visits.pair[here])
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
    z: csr_array,
    y: csr_array | None,
    a: csr_array | None,
    s: csr_array | None,
    *,
    low: float | Floats,
    high: float | Floats,
) -> LinearConstraint:
    """Rows of the four kinds of variables side by side; None: they are not in it."""
    width = next(block.shape[1] for block in (y, a, s) if block is not None)
    blocks = [z, *(_none(z.shape[0], width) if block is None else block for block in (y, a, s))]
    return LinearConstraint(hstack(blocks).tocsc(), low, high)
