"""The best lists of many searches in rounds: most begin afresh, and those that went well are carried on."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import NamedTuple

from hardpan.records.season import Job, Rig
from hardpan.season.accounts import walkers_of
from hardpan.season.search import Lists, improve, settle
from hardpan.season.walk import neighbours_of


class Round(NamedTuple):
    """Searches side by side, each with other chances."""

    searches: int
    kept: int
    """So many of the best lists so far are begun with, in turn."""
    length: int
    """Of each search, over `TRIALS_PER_JOB`."""


ROUNDS = (Round(16, 3, 1), Round(4, 4, 2), Round(4, 1, 2))
"""A choice: where a search ends hangs more on its chances than on its length."""
TRIALS_PER_JOB, COMPILED_TRIALS_PER_JOB = 60, 3_750
"""Changes tried for each paddock in the shortest search; the latter where it runs compiled."""


def best_found(
    jobs: Sequence[Job], rigs: Sequence[Rig], begun: Sequence[Lists], seed: int, *, compiled: bool, threads: int = 1
) -> Lists:
    """Best lists met, none worse than those `begun` with.

    In the first round paddocks are by turns patient or not at first; the results do not hang on the threads.
    """
    beside, ranked = neighbours_of(jobs), _ranked(begun)

    def searched(start: Lists, length: int, number: int) -> Lists:
        walkers = walkers_of(jobs, rigs)
        trials = length * (COMPILED_TRIALS_PER_JOB if compiled else TRIALS_PER_JOB) * len(jobs)
        lists = settle(walkers, start.orders, len(jobs), patient=start.patient)
        return improve(walkers, lists, beside, trials=trials, seed=number, compiled=compiled)

    with ThreadPoolExecutor(threads if compiled else 1) as pool:
        for turn, (searches, kept, length) in enumerate(ROUNDS):
            best = ranked[:kept]
            starts = [best[at % len(best)] for at in range(searches)]
            if turn == 0:
                patient = [[at // len(best) % 2 == 1] * len(jobs) for at in range(searches)]
                starts = [replace(one, patient=flags) for one, flags in zip(starts, patient, strict=True)]
            numbers = range(seed + 100 * turn, seed + 100 * turn + searches)
            ranked = _ranked([*ranked, *pool.map(searched, starts, [length] * searches, numbers)])
    return ranked[0]


def _ranked(lists: Sequence[Lists]) -> list[Lists]:
    """The best first; of equals the first found."""
    return sorted(lists, key=lambda one: -one.worth)
