"""A rig's walk through a season: in each paddock when its soil is fit, by a list of which comes first."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from hardpan.records.season import Job, Rig
from hardpan.season.visits import distances_km

SPENT_H = 1e-9
"""Hours below which a day, or the work left in a paddock, is spent: rounding of sums of hours."""


class Stint(NamedTuple):
    """Work of a rig in one paddock on one day."""

    day: int
    job: int
    hours: float
    move_h: float
    """Of the move before it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Track:
    """What a rig makes of a list of paddocks."""

    stints: tuple[Stint, ...]
    worth: float
    """Net return of the paddocks it finishes, less what waiting for them costs, money."""
    unfinished: frozenset[int]


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
        self.hours: list[float] = rig.hours.tolist()
        self.work_h = [job.hours.get(rig.name, float("inf")) for job in jobs]
        self.net = [job.net.get(rig.name, 0.0) + extra for job, extra in zip(jobs, bonus, strict=True)]
        self.open: list[list[bool]] = [job.open_days.tolist() for job in jobs]
        self.waiting = [job.waiting_per_day for job in jobs]
        self.move_h: list[list[float]] = [[rig.move_h(km) for km in row] for row in distances_km(jobs).tolist()]
        self.first_move_h = rig.move_h(0.0)

    def walk(self, order: Sequence[int]) -> Track:
        """Track through the paddocks of `order`, the first that is open each morning and after each that is finished.

        A paddock is left for one that comes before it in the list as soon as that is fit, and taken up again later.
        Its first move is folding and unfolding only. Unfinished paddocks return nothing; their work is in the stints.
        """
        left, rest = list(order), {job: self.work_h[job] for job in order}
        stints: list[Stint] = []
        place, worth = -1, 0.0
        for day, hours in enumerate(self.hours):
            time = hours
            while time > SPENT_H:
                job = next((j for j in left if self.open[j][day]), -1)
                if job < 0:
                    break
                move = 0.0 if job == place else self.first_move_h if place < 0 else self.move_h[place][job]
                if time <= move:
                    break
                place, work = job, min(time - move, rest[job])
                time -= move + work
                rest[job] -= work
                stints.append(Stint(day, job, work, move))
                worth -= self.waiting[job] * day * work / self.work_h[job]
                if rest[job] <= SPENT_H:
                    del rest[job]
                    left.remove(job)
                    worth += self.net[job]
            if not left:
                break
        return Track(stints=tuple(stints), worth=worth, unfinished=frozenset(rest))

    def finished(self, order: Sequence[int]) -> tuple[list[int], Track]:
        """The list without paddocks that are not finished, and the track through the rest."""
        kept, track = list(order), self.walk(order)
        while track.unfinished:
            kept = [job for job in kept if job not in track.unfinished]
            track = self.walk(kept)
        return kept, track
