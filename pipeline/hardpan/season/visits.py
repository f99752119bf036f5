"""What a plan is made of: paddocks a rig can work, on days it can, and the hours a move takes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.records.season import Job, Rig

KM = 1000.0
NEIGHBOURS = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fleet:
    """Rigs alike: in hours, moves, and what they make of every paddock."""

    rig: Rig
    """Any one of them."""
    members: tuple[int, ...]
    """Their numbers."""


def fleets_of(jobs: Sequence[Job], rigs: Sequence[Rig]) -> list[Fleet]:
    """The rigs, those alike together."""
    found: dict[tuple[object, ...], list[int]] = {}
    for number, rig in enumerate(rigs):
        works = tuple((job.hours.get(rig.name), job.net.get(rig.name)) for job in jobs)
        found.setdefault((rig.hours.tobytes(), rig.fold_h, rig.road_kmh, works), []).append(number)
    return [Fleet(rig=rigs[members[0]], members=tuple(members)) for members in found.values()]


def each_alone(rigs: Sequence[Rig]) -> list[Fleet]:
    """The rigs, each by itself."""
    return [Fleet(rig=rig, members=(number,)) for number, rig in enumerate(rigs)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairs:
    """Paddocks with the fleets that can work them; shape (n_pairs,)."""

    job: Ints
    fleet: Ints
    hours: Floats
    """Ripping the paddock takes, h."""
    net: Floats
    least_move_h: Floats
    """A move to the paddock takes no less, wherever the rig comes from, h."""
    most_move_h: Floats
    """A move to the paddock takes no more, wherever the rig comes from, h."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Visits:
    """Pairs with the days they can be worked on, by pair and day; shape (n_visits,)."""

    pair: Ints
    day: Ints
    before: Ints
    """Visit of the same pair before it, over however many days on which it cannot be worked; -1 where there is none."""


def distances_km(jobs: Sequence[Job]) -> Floats:
    """Straight distances between paddocks, (n_jobs, n_jobs), km."""
    place = np.array([(job.x_m, job.y_m) for job in jobs], dtype=float).reshape(-1, 2)
    return np.asarray(np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1)) / KM)


def pairs_of(jobs: Sequence[Job], fleets: Sequence[Fleet]) -> Pairs:
    """Every paddock with every fleet that can work it and gains by it, or that must.

    Notes
    -----
    A move to a paddock is never shorter than the way from the nearest other one, and never longer than that from the
    farthest: charged with that, a day's work fits into its hours wherever the rig stood in the morning.
    """
    km = distances_km(jobs)
    nearest = np.where(np.eye(len(jobs), dtype=bool), np.inf, km).min(axis=1)
    nearest = np.where(np.isfinite(nearest), nearest, 0.0)
    found = [
        (number, column, job.hours[rig.name], job.net[rig.name], rig.move_h(nearest[number]), rig.move_h(far))
        for number, (job, far) in enumerate(zip(jobs, km.max(axis=1, initial=0.0).tolist(), strict=True))
        for column, rig in enumerate(fleet.rig for fleet in fleets)
        if rig.name in job.hours and (job.must or job.net[rig.name] > 0)
    ]
    job, fleet, hours, net, least, most = np.array(found, dtype=float).reshape(-1, 6).T
    return Pairs(
        job=job.astype(np.int64), fleet=fleet.astype(np.int64), hours=hours, net=net, least_move_h=least,
        most_move_h=most,
    )  # fmt: skip


def visits_of(jobs: Sequence[Job], fleets: Sequence[Fleet], pairs: Pairs) -> Visits:
    """Every day on which a pair can be worked: the ground is open and the rigs work."""
    open_days = np.array([job.open_days for job in jobs])[pairs.job]
    time = np.array([fleet.rig.hours for fleet in fleets])[pairs.fleet]
    pair, day = np.nonzero(open_days & (time > 0))
    before = np.arange(len(pair)) - 1
    before[np.diff(pair, prepend=-1) != 0] = -1
    return Visits(pair=pair.astype(np.int64), day=day.astype(np.int64), before=before)


def neighbours_of(jobs: Sequence[Job]) -> Ints:
    """The nearest other paddocks of each, nearest first, (n_jobs, at most `NEIGHBOURS`)."""
    km = distances_km(jobs)
    np.fill_diagonal(km, np.inf)
    return np.argsort(km, axis=1, kind="stable")[:, : min(NEIGHBOURS, len(jobs) - 1)]
