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
    trials_per_job: int
    """Changes tried for each paddock in each search."""


PLAIN = (Round(2, 1, 1_000),)
COMPILED = (Round(16, 2, 3_750), Round(4, 4, 7_500), Round(4, 1, 7_500))
"""Choices: where a search ends hangs more on its chances than on its length."""
THREADS = 2


def best_found(jobs: Sequence[Job], rigs: Sequence[Rig], begun: Sequence[Lists], seed: int, *, compiled: bool) -> Lists:
    """Best lists met, none worse than those `begun` with.

    In the first round paddocks are by turns patient or not at first; the results do not hang on the threads.
    """
    beside, ranked = neighbours_of(jobs), _ranked(begun)

    def searched(start: Lists, trials_per_job: int, number: int) -> Lists:
        walkers, trials = walkers_of(jobs, rigs), trials_per_job * len(jobs)
        lists = settle(walkers, start.orders, len(jobs), patient=start.patient)
        return improve(walkers, lists, beside, trials=trials, seed=number, compiled=compiled)

    with ThreadPoolExecutor(THREADS if compiled else 1) as threads:
        for turn, (searches, kept, trials) in enumerate(COMPILED if compiled else PLAIN):
            best = ranked[:kept]
            starts = [best[at % len(best)] for at in range(searches)]
            if turn == 0:
                patient = [[at // len(best) % 2 == 1] * len(jobs) for at in range(searches)]
                starts = [replace(one, patient=flags) for one, flags in zip(starts, patient, strict=True)]
            numbers = range(seed + 100 * turn, seed + 100 * turn + searches)
            ranked = _ranked([*ranked, *threads.map(searched, starts, [trials] * searches, numbers)])
    return ranked[0]


def _ranked(lists: Sequence[Lists]) -> list[Lists]:
    """The best first; of equals the first found."""
    return sorted(lists, key=lambda one: -one.worth)
