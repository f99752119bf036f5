"""What every runner of jobs does; one paddock after the other in this process, or several at a time in processes."""

import os
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, MutableMapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import get_context, parent_process
from typing import Protocol, TypeAlias

from hardpan.core.errors import HardpanError
from hardpan.records.farm import Allotment, Job, Outcome, Status

Work: TypeAlias = Callable[[Job], Outcome]
"""Works out one paddock; a function of a module, so that another process finds it. Raises nothing."""

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
"""What tells numerical libraries, before they are loaded, how many threads to hold ready."""

_AHEAD = 2
"""Jobs handed over for each process, so that none waits between two."""

_ENDED = HardpanError(
    what="its process ended twice without a word: killed, or out of memory", do="run it by itself with `hardpan run`"
)


class Runner(Protocol):
    """Works jobs through, in this process, in others, or on other machines."""

    def run(self, work: Work, jobs: Iterable[Job]) -> Iterator[Outcome]:
        """Outcome of each job as it comes, in any order: one for each job, whatever becomes of a process."""


def lost(job: Job, reason: str) -> Outcome:
    """Outcome of a job of which nothing was heard."""
    return Outcome(slug=job.slug, status=Status.FAILED, reason=reason)


class Serial:
    """Runner that works out one paddock after the other, in order, with all of the machine for each."""

    def run(self, work: Work, jobs: Iterable[Job]) -> Iterator[Outcome]:
        """Outcome of each job in turn."""
        return map(work, jobs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Processes:
    """Runner with processes that share nothing but the disk, begun afresh, each with an equal part of the machine.

    Where a process is killed, all jobs handed over are in doubt. They are run again one by one, so that only the one
    that ends its process again is given up.
    """

    workers: int
    allotment: Allotment
    """Of each process."""

    def run(self, work: Work, jobs: Iterable[Job]) -> Iterator[Outcome]:
        """Outcome of each job as it comes."""
        waiting = deque(replace(job, allotment=self.allotment) for job in jobs)
        while waiting:
            doubtful = yield from _until_broken(work, waiting, self.workers)
            for job in doubtful:
                if (yield from _until_broken(work, deque([job]), 1)):
                    yield lost(job, str(_ENDED))


def _until_broken(work: Work, waiting: deque[Job], workers: int) -> Generator[Outcome, None, list[Job]]:
    """Outcomes until all is done or a process was killed; returns the jobs that were handed over and not heard of."""
    context = get_context("spawn")  # a fork would copy locks that threads of this process hold
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_begin) as pool:
        running: dict[Future[Outcome], Job] = {}
        while waiting or running:
            try:
                while waiting and len(running) < workers * _AHEAD:
                    job = waiting[0]
                    running[pool.submit(work, job)] = job
                    waiting.popleft()
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    outcome = future.result()
                    del running[future]
                    yield outcome
            except BrokenProcessPool:
                return list(running.values())
    return []


def _begin() -> None:
    """Prepare a new process: calm libraries, and an end with the process that began it, which may be killed."""
    _calm()
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _calm(environ: MutableMapping[str, str] = os.environ) -> None:
    """Keep the numerical libraries that a new process is about to load to one thread each."""
    for name in THREADS:
        environ.setdefault(name, "1")
