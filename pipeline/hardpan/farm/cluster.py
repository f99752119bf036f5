"""Paddocks worked out by the workers of a scheduler, on this machine or on others that see the same disk."""

import pkgutil
import uuid
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from typing import TYPE_CHECKING

from hardpan.core.errors import HardpanError, SettingsError
from hardpan.farm.runners import Work, lost
from hardpan.records.farm import Allotment, Job, Outcome

if TYPE_CHECKING:
    from distributed import Client, Future

_PATIENCE_S = 10.0
"""Seconds to wait for the scheduler to answer, and for a first worker."""

_AHEAD, _LEAST_AHEAD = 4, 256
"""Jobs the scheduler holds for each thread of its workers, and at least: its memory does not grow with the list, and
workers that join later find work."""

_LEAN = {"distributed.nanny.pre-spawn-environ.MALLOC_ARENA_MAX": 1, "distributed.worker.profile.enabled": False}
"""Of workers on this machine. A paddock is worked out in a thread: the C library gives each a heap of its own, and is
asked for one heap for all (`core.allocator`) too late. Samples of what a worker ran, kept for an hour, took 60 MB."""

_KILLED = HardpanError(
    what="its worker was lost each time it was tried: killed, or out of memory",
    do="run it by itself with `hardpan run`",
)
_GONE = HardpanError(what="the scheduler was lost before it was worked out", do="run the same command again to go on")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """Runner on the workers of a scheduler; where one is lost, what it had in hand goes to another."""

    client: "Client"

    def run(self, work: Work, jobs: Iterable[Job]) -> Iterator[Outcome]:
        """Outcome of each job as it comes."""
        from distributed import as_completed

        call, waiting = uuid.uuid4().hex, iter(jobs)
        ahead = max(_LEAST_AHEAD, _AHEAD * sum(self.client.nthreads().values()))
        handed: dict[str, Job] = {}

        def submit(count: int) -> "list[Future]":
            new = {f"paddock-{call}-{job.slug}": job for job in islice(waiting, count)}
            handed.update(new)
            return [self.client.submit(on_worker, work, job, key=key, pure=False) for key, job in new.items()]

        coming = as_completed(submit(ahead))
        for future in coming:
            job = handed.pop(future.key)
            outcome = _outcome(future, job)
            yield outcome
            if outcome.reason == str(_GONE):
                break
            for another in submit(1):
                coming.add(another)
        yield from (lost(job, str(_GONE)) for job in (*handed.values(), *waiting))


def on_worker(work: Work, job: Job) -> Outcome:
    """Outcome of a job, with what its worker may take of its machine."""
    from distributed import get_worker

    limit = get_worker().memory_manager.memory_limit
    return work(replace(job, allotment=Allotment(free_bytes=limit, threads=1)))


@contextmanager
def connect(scheduler: str | None, workers: int, part: Allotment, version: str) -> Iterator[Cluster]:
    """Runner on a scheduler that is running, or on one of this machine's own, ended after the block.

    Parameters
    ----------
    scheduler : str or None
        Address, tcp://host:port; None: one is started with `workers` processes, each with its `part` of the machine.
    version : str
        Of hardpan; workers must have the same.

    Raises
    ------
    SettingsError
        The library is not installed, no scheduler or worker answers, or a worker has another version of hardpan.
    """
    try:
        from dask import config
        from distributed import Client, LocalCluster
    except ImportError as err:
        raise SettingsError(
            what="--runner dask needs the library distributed, which is not installed",
            do="install hardpan with its extra `farm`, or choose another --runner",
        ) from err
    with ExitStack() as stack:
        address = scheduler
        if scheduler is None:
            stack.enter_context(config.set(_LEAN))
            address = stack.enter_context(
                LocalCluster(
                    n_workers=workers, threads_per_worker=1, memory_limit=part.free_bytes,
                    dashboard_address="127.0.0.1:0", scheduler_kwargs={"dashboard": False},
                )
            )  # fmt: skip
        try:
            client = stack.enter_context(Client(address, timeout=_PATIENCE_S))
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        except (OSError, ValueError, TimeoutError) as err:
            raise SettingsError(
                what="no scheduler with a worker answers", where=f"--scheduler {scheduler}",
                right="the address of a running one, tcp://host:port", do="start it, or leave --scheduler out",
            ) from err  # fmt: skip
        _refuse_others(client, version)
        yield Cluster(client=client)


def _outcome(future: "Future", job: Job) -> Outcome:
    from distributed import KilledWorker

    try:
        outcome: Outcome = future.result()
    except KilledWorker:
        return lost(job, str(_KILLED))
    except (CancelledError, OSError):
        return lost(job, str(_GONE))
    except Exception as err:  # a worker that joined since and cannot read the job
        text = " ".join(str(err).split())[:200]
        return lost(job, f"its worker could not begin ({type(err).__name__}: {text})")
    return outcome


def _refuse_others(client: "Client", version: str) -> None:
    """Refuse workers with another version of hardpan, or none."""
    found = client.run(pkgutil.resolve_name, "hardpan:__version__", on_error="return")
    others = {address: has for address, has in sorted(found.items()) if has != version}
    for address, has in others.items():
        more = f", and {len(others) - 1} others," if len(others) > 1 else ""
        raise SettingsError(
            what=f"has {f'hardpan {has}' if isinstance(has, str) else 'no hardpan'}",
            where=f"worker {address}{more}",
            right=f"hardpan {version}, as here",
            do="install the same version on all workers",
        )
