"""Small changes of the lists that rigs follow, and which of them are kept: plain loops over numbers, as `loops`."""

import math
from typing import NamedTuple

from hardpan.season.loops import NOWHERE, Notes, Orders, Season, finish

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


class Search(NamedTuple):
    """Where a search is."""

    now: Orders
    tried: Orders
    """A copy of `now`, before and after each change."""
    best: Orders
    notes: Notes


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
