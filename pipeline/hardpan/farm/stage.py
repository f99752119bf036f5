"""Jobs in, what came of each out: worked through by a runner, with word of how long it will take."""

import logging
import time
from collections.abc import Callable, Sequence
from typing import TypeAlias

from hardpan.core.progress import Progress, silent
from hardpan.farm.protocol import Runner, Work
from hardpan.records.farm import Job, Outcome, Status

logger = logging.getLogger(__name__)

Tell: TypeAlias = Callable[[int, int, float | None], None]
"""Told how many jobs are done, of how many, and in how many seconds the rest will be; None while that is not known."""


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
