"""What a plan is made of, paddocks, days and moves, and a rig's walk through a season by a list of what comes first."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.records.season import Job, Rig
from hardpan.season.loops import Notes, Orders, Season, finish, walk

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


def rips(rig: Rig, job: Job) -> bool:
    """Whether a rig can rip a paddock and gains by it, or must."""
    return rig.name in job.hours and (job.must or job.net[rig.name] > 0)


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
        if rips(rig, job)
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


class Stint(NamedTuple):
    """Work of a rig in one paddock on one day."""

    day: int
    job: int
    hours: float
    move_h: float
    """Of the move before it."""


class Walker:
    """A rig with all that its walks through the paddocks hang on.

    Parameters
    ----------
    jobs : sequence of Job
        All paddocks.
    rig : Rig
        Name, hours by day, and how it moves.
    bonus : sequence of float
        Added to the return of each paddock, so that those that must be ripped come before the others, money.
    """

    def __init__(self, jobs: Sequence[Job], rig: Rig, bonus: Sequence[float]) -> None:
        work_h = [job.hours.get(rig.name, float("inf")) for job in jobs]
        self.season = Season(
            hours=[rig.hours.tolist()],
            work_h=[work_h],
            net=[[job.net.get(rig.name, 0.0) + extra for job, extra in zip(jobs, bonus, strict=True)]],
            waiting_per_h=[[job.waiting_per_day / hours for job, hours in zip(jobs, work_h, strict=True)]],
            is_open=[list(day) for day in zip(*(job.open_days.tolist() for job in jobs), strict=True)],
            move_h=[[[rig.move_h(km) for km in row] for row in distances_km(jobs).tolist()]],
            first_move_h=[rig.move_h(0.0)],
            near=[[] for _ in jobs],
        )
        self._notes = empty_notes(len(jobs), len(rig.hours))

    def walk(
        self, order: Sequence[int], patient: Sequence[bool], told: list[Stint] | None = None
    ) -> tuple[float, list[int]]:
        """Worth of the paddocks it finishes, less what waiting costs, money; and those of `order` it does not.

        How it goes through `order` is said at `loops.walk`. Stints are appended to `told`.
        """
        notes = self._notes
        worth, count = walk(self.season, 0, _alone(order, patient), notes)
        if told is not None:
            rows = zip(notes.day[:count], notes.job[:count], notes.work_h[:count], notes.move_h[:count], strict=True)
            told += [Stint(*row) for row in rows]
        return worth, [job for job in order if notes.rest_h[job] > 0.0]

    def finished(self, order: Sequence[int], patient: Sequence[bool]) -> tuple[list[int], float]:
        """The list without paddocks that are not finished, and the worth of the rest."""
        orders = _alone(order, patient)
        finish(self.season, 0, orders, self._notes)
        return orders.jobs[0][: orders.length[0]], orders.worth[0]

    def stints(self, order: Sequence[int], patient: Sequence[bool]) -> list[Stint]:
        """What the rig does day by day."""
        told: list[Stint] = []
        self.walk(order, patient, told)
        return told


def empty_notes(n_jobs: int, n_days: int) -> Notes:
    """Room for what a walk writes down."""
    most = n_jobs + n_days  # stints: each finishes a paddock or ends a day
    return Notes(
        rest_h=[0.0] * n_jobs, day=[0] * most, job=[0] * most, work_h=[0.0] * most, move_h=[0.0] * most,
        left=[0] * (n_jobs + 1), spare=[0] * n_jobs,
    )  # fmt: skip


def _alone(order: Sequence[int], patient: Sequence[bool]) -> Orders:
    return Orders(jobs=[list(order)], length=[len(order)], worth=[0.0], patient=list(patient))
