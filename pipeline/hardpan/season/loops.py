"""A rig's walk through its paddocks, and small changes of the lists it follows: plain loops over numbers.

They run as they stand over lists, and compiled over arrays (`compiled`), to the same results.
"""

import math
from typing import NamedTuple

SPENT_H = 1e-9
"""Hours below which a day, or the work left in a paddock, is spent: rounding of sums of hours."""
NOWHERE = -1
TURNED, CROSSED, SWAPPED = 0.05, 0.1, 0.3
"""Shares of the changes that turn a paddock's patience; of the others, those that exchange the ends of two lists; of
the rest, those that exchange two paddocks. The others move a paddock. Choices, as all below."""
FOLLOWED, DISPLACED, EXCHANGED, BESIDE, SHIFTED = 0.2, 0.4, 0.7, 0.5, 0.5
"""Shares of the moves that take the paddock behind in the list along, that take a further paddock out of the list, of
those the ones that exchange it for the first, that put a paddock beside one of its neighbours, and of the others those
that shift it by at most `SHIFT` places."""
SHIFT = 3
CHANCES = 17
"""Random numbers a change may take."""


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


class Search(NamedTuple):
    """Where a search is."""

    now: Orders
    tried: Orders
    """A copy of `now`, before and after each change."""
    best: Orders
    notes: Notes


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


def anneal(season: Season, search: Search, chances: list[list[float]], heats: list[float]) -> None:
    """Change the lists at random, and keep the best.

    A change that loses is taken with the chance exp(-loss / heat).

    Parameters
    ----------
    chances : list of list of float
        `CHANCES` random numbers from 0 to 1 for each change.
    heats : list of float
        Of each change, money.
    """
    now, tried, best, notes = search
    reached = total(best)
    for number in range(len(chances)):
        chance = chances[number]
        one, other = change(season, tried, chance, notes.spare)
        if one == NOWHERE:
            continue
        finish(season, one, tried, notes)
        if other != NOWHERE:
            finish(season, other, tried, notes)
        gain = total(tried) - total(now)
        if gain >= 0.0 or chance[CHANCES - 1] < math.exp(gain / heats[number]):
            copy(tried, now, one)
            copy(tried, now, other)
            if total(now) > reached:
                reached = total(now)
                keep(now, best)
        else:
            if chance[1] < TURNED:
                turn(tried, int(chance[0] * len(tried.patient)))
            copy(now, tried, one)
            copy(now, tried, other)


def total(orders: Orders) -> float:
    """Worth of all lists, money."""
    worth = 0.0
    for one in orders.worth:
        worth += one
    return worth


def keep(given: Orders, to: Orders) -> None:
    """Make all lists those of others."""
    for rig in range(len(given.length)):
        copy(given, to, rig)
    for job in range(len(given.patient)):
        to.patient[job] = given.patient[job]


def copy(given: Orders, to: Orders, rig: int) -> None:
    """Make the list of a rig, if any, that of others."""
    if rig == NOWHERE:
        return
    for at in range(given.length[rig]):
        to.jobs[rig][at] = given.jobs[rig][at]
    to.length[rig], to.worth[rig] = given.length[rig], given.worth[rig]


def change(season: Season, orders: Orders, chance: list[float], spare: list[int]) -> tuple[int, int]:
    """Change lists at random; the one or two rigs whose lists changed, `NOWHERE` where there is none."""
    job = int(chance[0] * len(orders.patient))
    if chance[1] < TURNED:
        rig, _ = place_of(orders, job)
        if rig != NOWHERE:
            turn(orders, job)
        return rig, NOWHERE
    if len(orders.length) > 1 and chance[2] < CROSSED:
        return cross(orders, chance, spare)
    if chance[14] < SWAPPED:
        return swap(season, orders, job, chance)
    return move(season, orders, job, chance)


def turn(orders: Orders, job: int) -> None:
    """Make a patient paddock impatient, and the other way round."""
    orders.patient[job] = not orders.patient[job]


def place_of(orders: Orders, job: int) -> tuple[int, int]:
    """Rig whose list a paddock is in and its place there; `NOWHERE` where it is left out."""
    for rig in range(len(orders.length)):
        for at in range(orders.length[rig]):
            if orders.jobs[rig][at] == job:
                return rig, at
    return NOWHERE, NOWHERE


def cross(orders: Orders, chance: list[float], spare: list[int]) -> tuple[int, int]:
    """Let each of two rigs go on where the other was."""
    rigs = len(orders.length)
    one = int(chance[3] * rigs)
    other = (one + 1 + int(chance[4] * (rigs - 1))) % rigs
    ours, theirs = orders.jobs[one], orders.jobs[other]
    n_ours, n_theirs = orders.length[one], orders.length[other]
    cut, end = int(chance[5] * (n_ours + 1)), int(chance[6] * (n_theirs + 1))
    for at in range(cut, n_ours):
        spare[at - cut] = ours[at]
    for at in range(end, n_theirs):
        ours[cut + at - end] = theirs[at]
    for at in range(cut, n_ours):
        theirs[end + at - cut] = spare[at - cut]
    orders.length[one], orders.length[other] = cut + n_theirs - end, end + n_ours - cut
    return one, other


def swap(season: Season, orders: Orders, job: int, chance: list[float]) -> tuple[int, int]:
    """Exchange two paddocks, in their places, one of them perhaps left out; half of them neighbours."""
    near, n_jobs = season.near[job], len(orders.patient)
    other = int(chance[3] * n_jobs)
    if len(near) > 0 and chance[4] < BESIDE:
        other = near[int(chance[5] * chance[6] * len(near))]
    (rig, at), (to, place) = place_of(orders, job), place_of(orders, other)
    if rig != NOWHERE:
        orders.jobs[rig][at] = other
    if to != NOWHERE:
        orders.jobs[to][place] = job
    return (rig, NOWHERE if to == rig else to) if rig != NOWHERE else (to, NOWHERE)


def move(season: Season, orders: Orders, job: int, chance: list[float]) -> tuple[int, int]:
    """Put a paddock, or it and the one behind it, elsewhere, and take another out or exchange it for them."""
    rig, at = place_of(orders, job)
    to, place = target(season, orders, job, chance)
    follower = NOWHERE
    if rig != NOWHERE:
        if chance[7] < FOLLOWED and at + 1 < orders.length[rig]:
            follower = orders.jobs[rig][at + 1]
            take(orders, rig, at + 1)
        take(orders, rig, at)
    place = min(place, orders.length[to])
    if follower != NOWHERE:
        put(orders, to, place, follower)
    put(orders, to, place, job)
    if orders.length[to] > 1 and chance[8] < DISPLACED:
        gone = int(chance[9] * orders.length[to])
        other = orders.jobs[to][gone]
        if other not in (job, follower):
            take(orders, to, gone)
            if rig not in (NOWHERE, to) and chance[10] < EXCHANGED:
                put(orders, rig, int(chance[11] * (orders.length[rig] + 1)), other)
    return to, rig if rig != to else NOWHERE


def target(season: Season, orders: Orders, job: int, chance: list[float]) -> tuple[int, int]:
    """Rig and place in its list that a paddock is put to: beside a neighbour, or anywhere."""
    near = season.near[job]
    if len(near) > 0 and chance[3] < BESIDE:
        rig, at = place_of(orders, near[int(chance[4] * chance[5] * len(near))])
        if rig != NOWHERE:
            return rig, at + int(2.0 * chance[6])
    rig, at = place_of(orders, job)
    if rig != NOWHERE and chance[15] < SHIFTED:
        return rig, max(0, at - SHIFT + int(chance[13] * (2 * SHIFT + 1)))
    rig = int(chance[12] * len(orders.length))
    return rig, int(chance[13] * (orders.length[rig] + 1))


def take(orders: Orders, rig: int, at: int) -> None:
    """Take the paddock at a place out of a list."""
    order = orders.jobs[rig]
    orders.length[rig] -= 1
    for place in range(at, orders.length[rig]):
        order[place] = order[place + 1]


def put(orders: Orders, rig: int, at: int, job: int) -> None:
    """Put a paddock to a place in a list."""
    order = orders.jobs[rig]
    for place in range(orders.length[rig], at, -1):
        order[place] = order[place - 1]
    order[at] = job
    orders.length[rig] += 1
