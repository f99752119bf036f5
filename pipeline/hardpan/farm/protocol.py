"""What every runner of jobs does."""

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol, TypeAlias

from hardpan.records.farm import Job, Outcome, Status

Work: TypeAlias = Callable[[Job], Outcome]
"""Works out one paddock; a function of a module, so that another process finds it. Raises nothing."""


class Runner(Protocol):
    """Works jobs through, in this process, in others, or on other machines."""

    def run(self, work: Work, jobs: Iterable[Job]) -> Iterator[Outcome]:
        """Outcome of each job as it comes, in any order: one for each job, whatever becomes of a process."""


def lost(job: Job, reason: str) -> Outcome:
    """Outcome of a job of which nothing was heard."""
    return Outcome(slug=job.slug, status=Status.FAILED, reason=reason)
