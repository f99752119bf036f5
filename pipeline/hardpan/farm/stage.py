"""Jobs in, what came of each out, worked through by a runner; and sums over paddocks with their ranges."""

import logging
import time
from collections.abc import Callable, Mapping, Sequence
from typing import TypeAlias

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.threads import Progress, silent
from hardpan.farm.runners import Runner, Work
from hardpan.records.farm import Job, Outcome, Status
from hardpan.records.ledger import ALL_PADDOCKS, Total, Totals

Tell: TypeAlias = Callable[[int, int, float | None], None]
"""Told how many jobs are done, of how many, and in how many seconds the rest will be; None while that is not known."""

logger = logging.getLogger(__name__)


def unheard(done: int, of: int, left_s: float | None) -> None:
    """Nobody is told."""
    del done, of, left_s


def work_through(
    jobs: Sequence[Job],
    work: Work,
    runner: Runner,
    *,
    tell: Tell = unheard,
    progress: Progress = silent,
    clock: Callable[[], float] = time.perf_counter,
) -> tuple[Outcome, ...]:
    """Outcome of each job, in the order of the jobs; a job that fails stops no other.

    Parameters
    ----------
    jobs : sequence of Job
        Each with a slug of its own.
    work : callable
        Works out one of them.
    runner : Runner
        Where.
    tell, progress : callable
        Told how far it is.
    clock : callable
        Seconds, rising.
    """
    begun, found, worked = clock(), dict[str, Outcome](), 0
    for outcome in runner.run(work, jobs):
        found[outcome.slug] = outcome
        worked += outcome.status is not Status.KEPT
        tell(len(found), len(jobs), time_left_s(clock() - begun, worked, len(jobs) - len(found)))
        progress(len(found) / len(jobs))
        logger.info("%s: %s%s", outcome.slug, outcome.status, f", {outcome.reason}" if outcome.reason else "")
    return tuple(found[job.slug] for job in jobs)


def time_left_s(spent_s: float, worked: int, left: int) -> float | None:
    """Seconds that `left` jobs will take if each is one that has to be worked out; None while none was.

    Jobs whose result is kept take next to nothing, and do not count among those worked.

    >>> time_left_s(60.0, 3, 6)
    120.0
    """
    return spent_s / worked * left if worked else None


def combine_totals(paddocks: Mapping[str, Totals]) -> pd.DataFrame:
    """One row a paddock and item, then one an item for all paddocks.

    Columns `paddock`, `item`, `quantity`, `unit`, `amount`, `low`, `high`.

    `low` and `high` are the 5 and 95 % points. Those of a sum are missing where the paddocks do not share their draws:
    other seeds or numbers of draws. Where the currencies differ no money is summed at all.
    """
    rows = [
        (paddock, item, one.quantity, one.unit, one.amount, one.low, one.high)
        for paddock, totals in paddocks.items()
        for item, one in totals.items.items()
    ]
    items = dict.fromkeys(item for totals in paddocks.values() for item in totals.items)
    rows += [_sum(item, paddocks) for item in items]
    return pd.DataFrame(rows, columns=["paddock", "item", "quantity", "unit", "amount", "low", "high"])


def _sum(item: str, paddocks: Mapping[str, Totals]) -> tuple[str, str, float, str, float, float, float]:
    having = _having(item, paddocks)
    quantity, unit = sum(one.quantity for one in having.values()), next(iter(having.values())).unit
    if len({paddocks[paddock].currency for paddock in having}) > 1:
        return ALL_PADDOCKS, item, quantity, unit, np.nan, np.nan, np.nan
    amount = round(sum(one.amount for one in having.values()), 2)
    low, high = np.nan, np.nan
    if len({(paddocks[paddock].seed, one.shared.size) for paddock, one in having.items()}) == 1:
        low, high = (float(end) for end in np.quantile(draws_of_sum(item, paddocks), [0.05, 0.95]))
        low, high = min(round(low, 2), amount), max(round(high, 2), amount)
    return ALL_PADDOCKS, item, quantity, unit, amount, low, high


def draws_of_sum(item: str, paddocks: Mapping[str, Totals]) -> Floats:
    """Money of an item over all paddocks, (n_draws,).

    Shared parts are added draw by draw. Own parts are shuffled first, each paddock's by its name: runs with one seed
    draw their maps from the same random numbers, which must not look like readings that agree.
    """
    having = _having(item, paddocks)
    shared = np.sum([one.shared for one in having.values()], axis=0)
    own = [np.random.default_rng([*paddock.encode()]).permutation(one.own) for paddock, one in having.items()]
    return np.asarray(shared + np.sum(own, axis=0))


def _having(item: str, paddocks: Mapping[str, Totals]) -> dict[str, Total]:
    """Total of an item by paddock, of those that have it."""
    return {paddock: totals.items[item] for paddock, totals in paddocks.items() if item in totals.items}
