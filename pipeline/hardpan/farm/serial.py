"""One paddock after the other in this process."""

from collections.abc import Iterable, Iterator

from hardpan.farm.protocol import Work
from hardpan.records.farm import Job, Outcome


class Serial:
    """Runner that works out one paddock after the other, in order, with all of the machine for each."""

    def run(self, work: Work, jobs: Iterable[Job]) -> Iterator[Outcome]:
        """Outcome of each job in turn."""
        return map(work, jobs)
