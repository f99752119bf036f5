"""A short way round all sites."""

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats, Ints

LONGEST_MOVE = 3
"""Stops moved elsewhere together: the classic number."""

LEAST_GAIN_M = 1e-6
"""A shorter way by less than this is no shorter."""


def walking_order(xy_m: Floats, gate_xy: Floats | None) -> tuple[Ints, float]:
    """Order of the sites (k,) on a short way round, and its length, m.

    The way leads from the gate round all sites and back; without a gate from one site to the last. Nearest neighbours
    first, then turned round (two legs exchanged) and moved (up to three stops) while that shortens it.

    Examples
    --------
    >>> places = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    >>> walking_order(places[[0, 2, 1, 3]], np.array([-10.0, 0.0]))[0]
    array([0, 2, 1, 3])
    """
    # stop 0 is the gate; without one it is nowhere, and costs nothing to reach
    between = np.zeros((len(xy_m) + 1, len(xy_m) + 1))
    between[1:, 1:] = cdist(xy_m, xy_m)
    if gate_xy is not None:
        between[0, 1:] = between[1:, 0] = np.hypot(*(xy_m - gate_xy).T)
    tour = _nearest_first(between)
    while (shorter := _turned(tour, between)) is not None or (shorter := _moved(tour, between)) is not None:
        tour = shorter
    if _begins_late(xy_m, tour, between):
        tour = np.concatenate([tour[:1], tour[:0:-1]])
    return tour[1:] - 1, float(between[tour, np.roll(tour, -1)].sum())


def _begins_late(xy_m: Floats, tour: Ints, between: Floats) -> bool:
    """Whether the way is better walked the other way round: the nearer end first, of equals the western one."""
    first, last = tour[1], tour[-1]
    out, home = round(between[0, first], 3), round(between[0, last], 3)
    return out > home or (out == home and tuple(xy_m[last - 1]) < tuple(xy_m[first - 1]))


def _nearest_first(between: Floats) -> Ints:
    left = np.ones(len(between), dtype=bool)
    tour = [0]
    left[0] = False
    while left.any():
        at = int(np.where(left, between[tour[-1]], np.inf).argmin())
        tour.append(at)
        left[at] = False
    return np.array(tour)


def _turned(tour: Ints, between: Floats) -> Ints | None:
    """Tour with the stretch between two legs walked the other way, where that is shorter; None where it never is."""
    after = np.roll(tour, -1)
    legs = between[tour, after]
    gain = legs[:, None] + legs[None, :] - between[np.ix_(tour, tour)] - between[np.ix_(after, after)]
    gain = np.triu(gain, 2)
    at, to = np.unravel_index(gain.argmax(), gain.shape)
    if gain[at, to] <= LEAST_GAIN_M:
        return None
    return np.concatenate([tour[: at + 1], tour[at + 1 : to + 1][::-1], tour[to + 1 :]])


def _moved(tour: Ints, between: Floats) -> Ints | None:
    """Tour with up to three stops in a row put between two others, where that is shorter; None where it never is."""
    n = len(tour)
    for count in range(1, min(LONGEST_MOVE, n - 3) + 1):
        for start in range(1, n - count + 1):
            part, rest = tour[start : start + count], np.concatenate([tour[:start], tour[start + count :]])
            before, after = rest, np.roll(rest, -1)
            here = rest[start - 1], after[start - 1]
            saved = between[here[0], part[0]] + between[part[-1], here[1]] - between[here[0], here[1]]
            for piece in (part, part[::-1]):
                cost = between[before, piece[0]] + between[piece[-1], after] - between[before, after]
                at = int(cost.argmin())
                if saved - cost[at] > LEAST_GAIN_M:
                    return np.concatenate([rest[: at + 1], piece, rest[at + 1 :]])
    return None
