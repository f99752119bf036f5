"""Better lists of paddocks by small changes: simulated annealing."""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from hardpan.season.walk import Track, Walker

START = 0.003
"""Loss that is still taken at first, on average, over the worth of the plan; a choice: it falls to nothing."""
SHARE_BETTER_FIT = 0.5


@dataclass(slots=True, kw_only=True)
class Lists:
    """The paddocks of each rig, first come first, and those left out."""

    orders: list[list[int]]
    tracks: list[Track]
    left: list[int]

    @property
    def worth(self) -> float:
        """Worth of all tracks, money."""
        return sum(track.worth for track in self.tracks)


def settle(walkers: Sequence[Walker], orders: Sequence[Sequence[int]], n_jobs: int) -> Lists:
    """Lists without what cannot be finished."""
    kept = [walker.finished(order) for walker, order in zip(walkers, orders, strict=True)]
    done = {job for order, _ in kept for job in order}
    return Lists(
        orders=[order for order, _ in kept],
        tracks=[track for _, track in kept],
        left=[job for job in range(n_jobs) if job not in done],
    )


def improve(walkers: Sequence[Walker], lists: Lists, *, trials: int, seed: int) -> Lists:
    """The best lists met in `trials` small changes, each kept if it is better or, at first, not much worse.

    Kirkpatrick, Gelatt and Vecchi (`kirkpatrick1983`): a change that loses L is kept with chance exp(-L / T), T falling
    linearly from `START` of the worth to 0.
    """
    chance = random.Random(seed)
    best = now = lists
    start = START * max(abs(lists.worth), 1.0)
    for trial in range(trials):
        changed = _changed(now, chance)
        if changed is None:
            continue
        orders, left = changed
        tracks = list(now.tracks)
        for rig, order in orders.items():
            orders[rig], tracks[rig] = walkers[rig].finished(order)
            left += [job for job in order if job not in set(orders[rig])]
        after = [orders.get(rig, order) for rig, order in enumerate(now.orders)]
        tried = Lists(orders=after, tracks=tracks, left=left)
        gain, heat = tried.worth - now.worth, start * (1.0 - trial / trials)
        if gain >= 0 or chance.random() < math.exp(gain / heat):
            now = tried
            best = now if now.worth > best.worth else best
    return best


def _changed(lists: Lists, chance: random.Random) -> tuple[dict[int, list[int]], list[int]] | None:
    """Lists of the rigs that a random change touches, and what is left out then; None where there is none to make."""
    rig, kind = chance.randrange(len(lists.orders)), chance.random()
    own, left = list(lists.orders[rig]), list(lists.left)
    if kind < 1 / 3:
        return _taken_in(rig, own, left, chance)
    if not own:
        return None
    job = own.pop(chance.randrange(len(own)))
    if kind < 2 / 3 or len(lists.orders) == 1:
        own.insert(chance.randint(0, len(own)), job)
        return {rig: own}, left
    other = chance.choice([number for number in range(len(lists.orders)) if number != rig])
    theirs = list(lists.orders[other])
    if theirs and chance.random() < SHARE_BETTER_FIT:
        own.insert(chance.randint(0, len(own)), theirs.pop(chance.randrange(len(theirs))))
    theirs.insert(chance.randint(0, len(theirs)), job)
    return {rig: own, other: theirs}, left


def _taken_in(
    rig: int, own: list[int], left: list[int], chance: random.Random
) -> tuple[dict[int, list[int]], list[int]] | None:
    """A paddock that was left out taken in, half of the time for another."""
    if not left:
        return None
    job = left.pop(chance.randrange(len(left)))
    if own and chance.random() < SHARE_BETTER_FIT:
        left.append(own.pop(chance.randrange(len(own))))
    own.insert(chance.randint(0, len(own)), job)
    return {rig: own}, left
