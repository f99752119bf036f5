"""A rig's walk through a season: in each paddock when its soil is fit, by a list of which comes first."""

from collections.abc import Sequence
from typing import NamedTuple

from hardpan.records.season import Job, Rig
from hardpan.season.loops import Notes, Orders, Season, finish, walk
from hardpan.season.visits import distances_km


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
