"""What is said of many paddocks."""

from collections import Counter

from hardpan.outputs.words.units import MISSING
from hardpan.records.across import FarmRun
from hardpan.records.farm import Job, Outcome, Status

_STATUS = {Status.DONE: "worked out", Status.KEPT: "kept", Status.FAILED: "failed", Status.ASKED: "to work out"}


def progress(done: int, of: int, left_s: float | None) -> str:
    """How far a list is.

    >>> progress(3, 9, 90.0), progress(9, 9, 0.0)
    ('3 of 9 paddocks, 2 min left', '9 of 9 paddocks')
    """
    return f"{done} of {of} paddocks" + (f", {_duration(left_s)} left" if left_s else "")


def headline(run: FarmRun) -> str:
    """What came of the list, in one sentence."""
    counts = Counter(outcome.status for outcome in run.outcomes)
    told = ", ".join(f"{counts[status]} {words}" for status, words in _STATUS.items() if counts[status])
    paddocks = "paddock" if len(run.outcomes) == 1 else "paddocks"
    if not run.results:
        return f"{len(run.outcomes)} {paddocks}: {told}."
    hours = sum(result.hours for result in run.results.values())
    ripped_ha = sum(result.ripped_ha for result in run.results.values())
    return f"{len(run.outcomes)} {paddocks}: {told}; {ripped_ha:.1f} ha to rip in {hours:.1f} h."


def failure(job: Job, outcome: Outcome) -> str:
    """Line of a paddock that failed: its place in the list, its folder, the reason."""
    return f"{job.place}: {outcome.slug} failed: {outcome.reason}"


def memory_table(run: FarmRun) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of a dry run: what would be done, and the memory it would take."""
    rows = [
        [
            outcome.slug,
            _STATUS[outcome.status],
            MISSING if outcome.projected_bytes is None else f"{outcome.projected_bytes / 1e9:.1f} GB",
        ]
        for outcome in run.outcomes
    ]
    return ["paddock", "would be", "memory at most"], rows


def _duration(seconds: float) -> str:
    if seconds < 60.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"
