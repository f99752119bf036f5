"""A rig's walk through its paddocks: plain loops over numbers.

They run as they stand over lists, and compiled over arrays (`compiled`), to the same results.
"""

from typing import NamedTuple

SPENT_H = 1e-9
"""Hours below which a day, or the work left in a paddock, is spent: rounding of sums of hours."""
NOWHERE = -1


class Season(NamedTuple):
    """What walks hang on. Where a rig cannot work a paddock, its hours there are infinite."""

    hours: list[list[float]]
    """By rig and day, h."""
    work_h: list[list[float]]
    """By rig and paddock."""
    net: list[list[float]]
    """The same, money."""
    waiting_per_h: list[list[float]]
    """The same: what each day costs that an hour of work waits, money."""
    is_open: list[list[bool]]
    """By day and paddock."""
    move_h: list[list[list[float]]]
    """By rig and the paddocks it moves from and to."""
    first_move_h: list[float]
    """By rig: folding and unfolding only."""
    near: list[list[int]]
    """The nearest other paddocks of each, nearest first."""


class Orders(NamedTuple):
    """The paddocks of each rig, first come first; changed in place."""

    jobs: list[list[int]]
    """By rig and place; those behind `length` mean nothing."""
    length: list[int]
    worth: list[float]
    """What each rig makes of its list, money."""
    patient: list[bool]
    """By paddock: the rig does not leave another unfinished for its sake."""


class Notes(NamedTuple):
    """What a walk writes down, and room for lists."""

    rest_h: list[float]
    """Work left, by paddock; 0 where it is finished, of no meaning where it is not in the list."""
    day: list[int]
    job: list[int]
    work_h: list[float]
    move_h: list[float]
    """By stint."""
    left: list[int]
    """One place more than there are paddocks."""
    spare: list[int]


def walk(season: Season, rig: int, orders: Orders, notes: Notes) -> tuple[float, int]:
    """Worth of the paddocks a rig finishes, less what waiting costs, money; and the number of stints in `notes`.

    The rig takes the first of its list that is open, each morning and after each that is finished. In the morning it
    leaves a paddock it is at work in only where one before it in the list is not patient; otherwise it finishes what it
    is in while that is open. Its first move is folding and unfolding only.
    """
    hours, move_h, net = season.hours[rig], season.move_h[rig], season.net[rig]
    waiting_per_h, rest_h, left, count = season.waiting_per_h[rig], notes.rest_h, notes.left, orders.length[rig]
    for at in range(count):
        job = orders.jobs[rig][at]
        left[at], rest_h[job] = job, season.work_h[rig][job]
    left[count] = NOWHERE
    place, worth, stints, first = NOWHERE, 0.0, 0, 0
    for day in range(len(hours)):
        time, is_open = hours[day], season.is_open[day]
        at_work = place if place != NOWHERE and rest_h[place] > 0.0 and is_open[place] else NOWHERE
        while time > SPENT_H:
            at = first_open(left, first, is_open, orders.patient, at_work)
            job = left[at]
            if job == NOWHERE:
                break
            move = 0.0 if job == place else season.first_move_h[rig] if place == NOWHERE else move_h[place][job]
            if time <= move:
                break
            work = min(time - move, rest_h[job])
            worth -= waiting_per_h[job] * day * work
            notes.day[stints], notes.job[stints], notes.work_h[stints], notes.move_h[stints] = day, job, work, move
            stints, time, place, at_work = stints + 1, time - (move + work), job, NOWHERE
            if rest_h[job] - work > SPENT_H:
                rest_h[job] -= work
                break
            rest_h[job] = 0.0
            worth += net[job]
            for behind in range(at, first, -1):
                left[behind] = left[behind - 1]
            first += 1
        if first == count:
            break
    return worth, stints


def first_open(left: list[int], first: int, is_open: list[bool], patient: list[bool], at_work: int) -> int:
    """Place in a list, from `first` on, of the paddock to go to; of the end of the list where there is none."""
    at = first
    while left[at] != NOWHERE:
        job = left[at]
        if is_open[job] and (at_work in (NOWHERE, job) or not patient[job]):
            break
        at += 1
    return at


def finish(season: Season, rig: int, orders: Orders, notes: Notes) -> None:
    """Take out of a list what is not finished, and note its worth."""
    order = orders.jobs[rig]
    while True:
        orders.worth[rig], _ = walk(season, rig, orders, notes)
        kept = 0
        for at in range(orders.length[rig]):
            if notes.rest_h[order[at]] == 0.0:
                order[kept] = order[at]
                kept += 1
        if kept == orders.length[rig]:
            return
        orders.length[rig] = kept
