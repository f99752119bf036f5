"""Better lists of paddocks by small changes: simulated annealing."""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from hardpan.core.arrays import Ints
from hardpan.season.walk import Stint, Walker

START = 0.001
"""Loss that is still taken at first, on average, over the worth of the plan; a choice: it falls to nothing."""
TURNED, CROSSED, FOLLOWED, DISPLACED, EXCHANGED, BESIDE = 0.05, 0.1, 0.2, 0.4, 0.7, 0.5
"""Shares of the changes that turn a paddock's patience, that exchange the ends of two lists, that move the paddock
behind in the list as well, that take a further paddock out of the list, of those the ones that exchange it for the
first, and that put a paddock beside one of its neighbours: choices."""


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

    def rig_of(self, job: int) -> int:
        """Number of the rig whose list a paddock is in, -1 where it is left out."""
        return next((rig for rig, order in enumerate(self.orders) if job in order), -1)


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


def improve(walkers: Sequence[Walker], lists: Lists, neighbours: Ints, *, trials: int, seed: int) -> Lists:
    """The best lists met in `trials` small changes, each kept if it is better or, at first, not much worse.

    Kirkpatrick, Gelatt and Vecchi (`kirkpatrick1983`): a change that loses L is kept with chance exp(-L / T), T falling
    linearly from `START` of the worth to 0. `neighbours` are the nearest other paddocks of each, (n_jobs, n).
    """
    chance, beside = random.Random(seed), neighbours.tolist()
    best = now = lists
    start = START * max(abs(lists.worth), 1.0)
    for trial in range(trials):
        tried = _changed(walkers, now, beside, chance)
        if tried is None:
            continue
        gain, heat = tried.worth - now.worth, start * (1.0 - trial / trials)
        if gain >= 0 or chance.random() < math.exp(gain / heat):
            now = tried
            best = now if now.worth > best.worth else best
    return best


def _changed(
    walkers: Sequence[Walker], lists: Lists, beside: Sequence[Sequence[int]], chance: random.Random
) -> Lists | None:
    """Lists after a random change; None where there is none to make."""
    job = chance.randrange(len(lists.patient))
    rig = lists.rig_of(job)
    if chance.random() < TURNED:
        if rig < 0:
            return None
        patient = list(lists.patient)
        patient[job] = not patient[job]
        return _walked(walkers, replace(lists, patient=patient), {rig: lists.orders[rig]}, lists.left)
    if len(walkers) > 1 and chance.random() < CROSSED:
        return _walked(walkers, lists, _crossed(lists, chance), lists.left)
    to, at = _place(job, lists, beside, chance)
    changed, left = {to: list(lists.orders[to])}, list(lists.left)
    moved = [job]
    if rig < 0:
        left.remove(job)
    else:
        own = changed.setdefault(rig, list(lists.orders[rig]))
        first = own.index(job)
        if chance.random() < FOLLOWED:
            moved = own[first : first + 2]
        del own[first : first + len(moved)]
    order = changed[to]
    order[min(at, len(order)) : min(at, len(order))] = moved
    if len(order) > 1 and chance.random() < DISPLACED:
        other = order[chance.randrange(len(order))]
        if other not in moved:
            order.remove(other)
            if rig in {-1, to} or chance.random() > EXCHANGED:
                left.append(other)
            else:
                changed[rig].insert(chance.randint(0, len(changed[rig])), other)
    return _walked(walkers, lists, changed, left)


def _crossed(lists: Lists, chance: random.Random) -> dict[int, list[int]]:
    """Lists of two rigs of which the one goes on where the other was."""
    one, other = chance.sample(range(len(lists.orders)), 2)
    ours, theirs = lists.orders[one], lists.orders[other]
    cut, end = chance.randint(0, len(ours)), chance.randint(0, len(theirs))
    return {one: ours[:cut] + theirs[end:], other: theirs[:end] + ours[cut:]}


def _place(job: int, lists: Lists, beside: Sequence[Sequence[int]], chance: random.Random) -> tuple[int, int]:
    """Rig and place in its list that a paddock is put to: beside a neighbour, or anywhere."""
    if beside[job] and chance.random() < BESIDE:
        near = beside[job][int(chance.random() * chance.random() * len(beside[job]))]
        if (rig := lists.rig_of(near)) >= 0:
            return rig, lists.orders[rig].index(near) + chance.randint(0, 1)
    rig = chance.randrange(len(lists.orders))
    return rig, chance.randint(0, len(lists.orders[rig]))


def _walked(walkers: Sequence[Walker], lists: Lists, changed: dict[int, list[int]], left: list[int]) -> Lists:
    """Lists with those of some rigs changed, without what these cannot finish."""
    orders, worths, left = list(lists.orders), list(lists.worths), list(left)
    for rig, order in changed.items():
        orders[rig], worths[rig] = walkers[rig].finished(order, lists.patient)
        if len(orders[rig]) < len(order):
            kept = set(orders[rig])
            left += [job for job in order if job not in kept]
    return Lists(orders=tuple(orders), worths=tuple(worths), left=left, patient=lists.patient)
