"""Better lists of paddocks by small changes: simulated annealing."""

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hardpan.core.arrays import Ints
from hardpan.season import changes
from hardpan.season.changes import CHANCES, Search
from hardpan.season.loops import NOWHERE, Orders, Season
from hardpan.season.walk import Stint, Walker, empty_notes

START = 0.0005
"""Loss that is still taken at first, on average, over the worth of the plan; a choice: it falls to nothing."""
_BLOCK = 10_000
"""Changes for which random numbers are drawn at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lists:
    """The paddocks of each rig, first come first, and those left out."""

    orders: tuple[list[int], ...]
    worths: tuple[float, ...]
    """Of what each rig makes of its list, money."""
    left: list[int]
    patient: list[bool]
    """By paddock: the rig does not leave another unfinished for its sake."""

    @property
    def worth(self) -> float:
        """Worth of all lists, money."""
        return sum(self.worths)


def settle(
    walkers: Sequence[Walker], orders: Sequence[Sequence[int]], n_jobs: int, *, patient: Sequence[bool] | None = None
) -> Lists:
    """Lists without what cannot be finished."""
    flags = [False] * n_jobs if patient is None else list(patient)
    kept = [walker.finished(order, flags) for walker, order in zip(walkers, orders, strict=True)]
    done = {job for order, _ in kept for job in order}
    return Lists(
        orders=tuple(order for order, _ in kept),
        worths=tuple(worth for _, worth in kept),
        left=[job for job in range(n_jobs) if job not in done],
        patient=flags,
    )


def stints_of(walkers: Sequence[Walker], lists: Lists) -> list[list[Stint]]:
    """What each rig does day by day."""
    return [walker.stints(order, lists.patient) for walker, order in zip(walkers, lists.orders, strict=True)]


def can_compile() -> bool:
    """Whether the library that compiles the search is installed."""
    return importlib.util.find_spec("numba") is not None


def improve(
    walkers: Sequence[Walker], lists: Lists, neighbours: Ints, *, trials: int, seed: int, compiled: bool = False
) -> Lists:
    """The best lists met in `trials` small changes, each kept if it is better or, at first, not much worse.

    Kirkpatrick, Gelatt and Vecchi (`kirkpatrick1983`): a change that loses L is kept with chance exp(-L / T), T falling
    linearly from `START` of the worth to 0.

    Parameters
    ----------
    neighbours : array of int
        The nearest other paddocks of each, (n_jobs, n).
    compiled : bool
        Run the same loops compiled, which needs numba; the result is the same.
    """
    season, search = _season(walkers, neighbours), _search(walkers, lists)
    anneal: Any = changes.anneal
    if compiled:
        from hardpan.season import compiled as fast  # noqa: PLC0415 - slow to import, not always installed

        season, search = fast.arrays_of(season, search)
        anneal = fast.anneal
    random, start = np.random.default_rng(seed), START * max(abs(lists.worth), 1.0)
    for begun in range(0, trials, _BLOCK):
        numbers = np.arange(begun, min(begun + _BLOCK, trials))
        chances, heats = random.random((len(numbers), CHANCES)), start * (1.0 - numbers / trials)
        anneal(season, search, *((chances, heats) if compiled else (chances.tolist(), heats.tolist())))
    best = search.best
    orders = [[int(job) for job in jobs[:count]] for jobs, count in zip(best.jobs, best.length, strict=True)]
    return settle(walkers, orders, len(lists.patient), patient=[bool(one) for one in best.patient])


def _season(walkers: Sequence[Walker], neighbours: Ints) -> Season:
    """What the walks of all rigs hang on."""
    alone = [walker.season for walker in walkers]
    return Season(
        hours=[one.hours[0] for one in alone],
        work_h=[one.work_h[0] for one in alone],
        net=[one.net[0] for one in alone],
        waiting_per_h=[one.waiting_per_h[0] for one in alone],
        is_open=alone[0].is_open,
        move_h=[one.move_h[0] for one in alone],
        first_move_h=[one.first_move_h[0] for one in alone],
        near=neighbours.tolist(),
    )


def _search(walkers: Sequence[Walker], lists: Lists) -> Search:
    """A search at its beginning."""
    n_jobs = len(lists.patient)
    patient = list(lists.patient)

    def copied(flags: list[bool]) -> Orders:
        jobs = [[*order, *[NOWHERE] * (n_jobs - len(order))] for order in lists.orders]
        length = [len(order) for order in lists.orders]
        return Orders(jobs=jobs, length=length, worth=list(lists.worths), patient=flags)

    return Search(
        now=copied(patient),
        tried=copied(patient),
        best=copied(list(patient)),
        notes=empty_notes(n_jobs, len(walkers[0].season.hours[0])),
    )
