"""A rig's walk through a season: in each paddock when its soil is fit, by a list of which comes first."""

from collections.abc import Sequence
from typing import NamedTuple

from hardpan.records.season import Job, Rig
from hardpan.season.visits import distances_km

SPENT_H = 1e-9
"""Hours below which a day, or the work left in a paddock, is spent: rounding of sums of hours."""
NOWHERE = -1


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
        self.days = [(day, hours) for day, hours in enumerate(rig.hours.tolist()) if hours > SPENT_H]
        self.work_h = [job.hours.get(rig.name, float("inf")) for job in jobs]
        self.net = [job.net.get(rig.name, 0.0) + extra for job, extra in zip(jobs, bonus, strict=True)]
        waiting = zip(jobs, self.work_h, strict=True)
        self.waiting_per_h = [job.waiting_per_day / hours for job, hours in waiting]
        self.open = [list(day) for day in zip(*(job.open_days.tolist() for job in jobs), strict=True)]
        self.move_h: list[list[float]] = [[rig.move_h(km) for km in row] for row in distances_km(jobs).tolist()]
        self.first_move_h = rig.move_h(0.0)

    def walk(
        self, order: Sequence[int], patient: Sequence[bool], told: list[Stint] | None = None
    ) -> tuple[float, dict[int, float]]:
        """Worth of the paddocks it finishes, less what waiting costs, money; and hours left of those it does not.

        The rig takes the first of `order` that is open, each morning and after each that is finished. In the morning it
        leaves a paddock it is at work in only where one before it in the list is not `patient`, by paddock; otherwise
        it finishes what it is in while that is open. Its first move is folding and unfolding only.

        Stints are appended to `told`.
        """
        left, rest = list(order), {job: self.work_h[job] for job in order}
        place, worth = NOWHERE, 0.0
        for day, hours in self.days:
            is_open, time = self.open[day], hours
            at_work = place in rest and is_open[place]
            job = NOWHERE
            for one in left:
                if is_open[one] and (not at_work or one == place or not patient[one]):
                    job = one
                    break
            while job != NOWHERE:
                move = 0.0 if job == place else self.first_move_h if place == NOWHERE else self.move_h[place][job]
                if time <= move:
                    break
                place, needed = job, rest[job]
                work = min(time - move, needed)
                time -= move + work
                worth -= self.waiting_per_h[job] * day * work
                if told is not None:
                    told.append(Stint(day, job, work, move))
                if needed - work > SPENT_H:
                    rest[job] = needed - work
                    break
                worth += self.net[job]
                del rest[job]
                left.remove(job)
                job = next((one for one in left if is_open[one]), NOWHERE) if time > SPENT_H else NOWHERE
            if not left:
                break
        return worth, rest

    def finished(self, order: Sequence[int], patient: Sequence[bool]) -> tuple[list[int], float]:
        """The list without paddocks that are not finished, and the worth of the rest."""
        kept = list(order)
        worth, unfinished = self.walk(kept, patient)
        while unfinished:
            kept = [job for job in kept if job not in unfinished]
            worth, unfinished = self.walk(kept, patient)
        return kept, worth

    def stints(self, order: Sequence[int], patient: Sequence[bool]) -> list[Stint]:
        """What the rig does day by day."""
        told: list[Stint] = []
        self.walk(order, patient, told)
        return told
