"""Compiled loops for dense data (tens of thousands of points); imported only when there is enough work to pay for it.

Each has a plain counterpart in the module that calls it, with the same result. They run without the interpreter's
lock, so the callers' threads share the work.
"""

import math
from typing import Any

import numba
import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat.neighbours import CompiledCovariance, Groups, PlacedData, Targets

_SUMS = {"contract", "arcp", "reassoc", "nsz"}
"""Sums may be reordered; missing values stay missing."""


def _keep(function: Any) -> Any:  # noqa: ANN401
    """Compile, and keep the result on disk where there is room for it."""
    options: dict[str, Any] = {"nogil": True, "fastmath": _SUMS}
    try:
        return numba.njit(cache=True, **options)(function)
    except RuntimeError:  # neither the package's nor the user's folder can be written
        return numba.njit(**options)(function)


def _decay(x: float) -> float:
    """exp(-x) for x >= 0 within 1e-13, in a form that runs eight values at once: (Taylor(-x/256))^256."""
    y = -min(x, 700.0) / 256.0
    e = 1.0 + y * (1 + y / 2 * (1 + y / 3 * (1 + y / 4 * (1 + y / 5 * (1 + y / 6 * (1 + y / 7 * (1 + y / 8)))))))
    e *= e
    e *= e
    e *= e
    e *= e
    e *= e
    e *= e
    e *= e
    return e * e


decay: Any = numba.njit(inline="always", fastmath=True)(_decay)


def _add_covariance(
    family: int, sill: float, places: tuple[Floats, Floats], at: tuple[float, float], row: Floats
) -> None:
    """Add to `row` the covariance of the place `at` with the last `len(row)` of `places`, in scaled coordinates."""
    u, v = places[0][len(places[0]) - len(row) :], places[1][len(places[1]) - len(row) :]
    a, b = at
    if family == 0:
        for j in range(len(row)):
            row[j] += sill * decay(math.sqrt((u[j] - a) ** 2 + (v[j] - b) ** 2))
    elif family == 1:
        for j in range(len(row)):
            r = min(math.sqrt((u[j] - a) ** 2 + (v[j] - b) ** 2), 1.0)
            row[j] += sill * (1.0 - r * (1.5 - 0.5 * r * r))
    elif family == 2:
        for j in range(len(row)):
            s = math.sqrt(3.0 * ((u[j] - a) ** 2 + (v[j] - b) ** 2))
            row[j] += sill * (1.0 + s) * decay(s)
    elif family == 4:
        for j in range(len(row)):
            row[j] += sill / (1.0 + (u[j] - a) ** 2 + (v[j] - b) ** 2)
    else:
        for j in range(len(row)):
            s = math.sqrt(5.0 * ((u[j] - a) ** 2 + (v[j] - b) ** 2))
            row[j] += sill * (1.0 + s + s * s / 3.0) * decay(s)


add_covariance: Any = numba.njit(fastmath=True)(_add_covariance)


def _eliminate(U: Floats, right: Floats) -> int:
    """Turn K into its Cholesky factor U (K = U'U), right-hand sides into U'^-1 times themselves; count redundant rows.

    A row whose pivot vanishes is redundant and set to 0: such a datum is wholly explained by the others.
    """
    k, c = right.shape
    redundant, largest = 0, 0.0
    for i in range(k):
        largest = max(largest, U[i, i])
    for i in range(k):
        if U[i, i] > 1e-13 * largest:
            root = 1.0 / math.sqrt(U[i, i])
        else:
            root = 0.0
            redundant += 1
        for j in range(i, k):
            U[i, j] *= root
        for j in range(c):
            right[i, j] *= root
        for a in range(i + 1, k):
            f = U[i, a]
            for j in range(a, k):
                U[a, j] -= f * U[i, j]
            for j in range(c):
                right[a, j] -= f * right[i, j]
    return redundant


eliminate: Any = numba.njit(fastmath=True)(_eliminate)


def _fill(
    data: PlacedData, covariance: CompiledCovariance, near: Ints, places: Floats, system: tuple[Floats, Floats]
) -> None:
    """Write the covariance of the near data into the upper half of U, theirs with the places into `right`."""
    (U, right), m = system, len(places)
    x, y = data.xy_m[near, 0], data.xy_m[near, 1]
    for s in range(len(covariance.sills)):
        M, family, sill = covariance.scalings[s], covariance.families[s], covariance.sills[s]
        u, v = x * M[0, 0] + y * M[1, 0], x * M[0, 1] + y * M[1, 1]
        for i in range(len(near)):
            add_covariance(family, sill, (u, v), (u[i], v[i]), U[i, i:])
        for q in range(len(covariance.weights)):
            ox, oy = places[:, 0] + covariance.offsets[q, 0], places[:, 1] + covariance.offsets[q, 1]
            nodes = (ox * M[0, 0] + oy * M[1, 0], ox * M[0, 1] + oy * M[1, 1])
            for i in range(len(near)):
                add_covariance(family, covariance.weights[q] * sill, nodes, (u[i], v[i]), right[i, :m])
    for i in range(len(near)):
        U[i, i] += data.noise[near[i]]
        for c in range(m if covariance.micro > 0.0 else 0):
            if (places[c, 0] - x[i]) ** 2 + (places[c, 1] - y[i]) ** 2 <= 1e-12:
                right[i, c] += covariance.micro


fill: Any = numba.njit(fastmath=True)(_fill)


def _trend_system(right: Floats, p: int, trend: Floats) -> tuple[Floats, Floats]:
    """A'A (p, p), and what of the targets' trend the data do not carry beside A'z (p, m + r)."""
    m, r = len(trend), right.shape[1] - len(trend) - p
    known, unknown = np.zeros((p, p)), np.zeros((p, m + r))
    unknown[:, :m] = trend.T
    for i in range(len(right)):
        for a in range(p):
            f = right[i, m + a]
            for b in range(p):
                known[a, b] += f * right[i, m + b]
            for c in range(m):
                unknown[a, c] -= f * right[i, c]
            for o in range(r):
                unknown[a, m + o] += f * right[i, m + p + o]
    return known, unknown


trend_system: Any = numba.njit(fastmath=True)(_trend_system)


def _combine(right: Floats, unknown: Floats, absent: Floats, prior: float, results: tuple[Floats, Floats]) -> None:
    """Write mean and variance of a group's targets; missing where the trend needed is absent."""
    mean, variance = results
    (m, r), p, k = mean.shape, len(unknown), len(right)
    for c in range(m):
        spread = prior
        for i in range(k):
            spread -= right[i, c] ** 2
        for a in range(p):
            spread += unknown[a, c] ** 2
        variance[c] = np.nan if absent[c] else max(spread, 0.0)
        for o in range(r):
            total = 0.0
            for i in range(k):
                total += right[i, c] * right[i, m + p + o]
            for a in range(p):
                total += unknown[a, c] * unknown[a, m + o]
            mean[c, o] = np.nan if absent[c] else total


combine: Any = numba.njit(fastmath=_SUMS)(_combine)


def _solve_groups(
    groups: Groups, data: PlacedData, targets: Targets, covariance: CompiledCovariance, part: tuple[int, int]
) -> None:
    """Krige the targets of groups part[0] to part[1], each group from its own neighbours."""
    k, p, r = groups.near.shape[1], data.drift.shape[1], data.values.shape[1]
    for g in range(part[0], part[1]):
        first, last, near = groups.start[g], groups.start[g + 1], groups.near[g]
        m = last - first
        U, right = np.zeros((k, k)), np.zeros((k, m + p + r))
        fill(data, covariance, near, targets.xy_m[first:last], (U, right))
        for i in range(k):
            right[i, m : m + p] = data.drift[near[i]]
            right[i, m + p :] = data.values[near[i]]
        eliminate(U, right)
        known, unknown = trend_system(right, p, targets.drift[first:last])
        absent = np.zeros(m)
        for a in range(p):
            if known[a, a] == 0.0:  # no near datum has this column: it must not be needed
                known[a, a] = 1.0
                absent += np.abs(unknown[a, :m])
        absent += eliminate(known, unknown)
        combine(right, unknown, absent, covariance.prior, (targets.mean[first:last], targets.variance[first:last]))


solve_groups: Any = _keep(_solve_groups)


def _sum_pairs(
    points: tuple[Floats, Floats, Floats],
    rows: tuple[int, int],
    classing: tuple[Ints, Floats, Floats],
    sums: Floats,
    rooted: bool,  # noqa: FBT001
) -> None:
    """Add to `sums` (3, classes) pairs, distances and powers of differences of the points `rows` with all later ones.

    `classing` starts and bounding boxes of runs of points, and the class edges. A run whose distances from a point all
    lie in one class needs no comparison; one that spans several is summed up to each edge, in loops without branches.
    """
    x, y, z = points
    starts, boxes, edges_m = classing
    largest = 0
    for b in range(len(boxes)):
        largest = max(largest, starts[b + 1] - starts[b])
    h, power = np.empty(largest), np.empty(largest)
    for i in range(rows[0], rows[1]):
        for b in range(len(boxes)):
            first, count = max(starts[b], i + 1), starts[b + 1] - max(starts[b], i + 1)
            if count <= 0:
                continue
            west, east, south, north = boxes[b, 0] - x[i], boxes[b, 1] - x[i], boxes[b, 2] - y[i], boxes[b, 3] - y[i]
            nearest = math.sqrt(max(west, 0.0, -east) ** 2 + max(south, 0.0, -north) ** 2)
            farthest = math.sqrt(max(east, -west) ** 2 + max(north, -south) ** 2)
            if nearest * (1 - 1e-12) > edges_m[-1]:
                continue
            for j in range(count):
                dx, dy, dz = x[first + j] - x[i], y[first + j] - y[i], z[first + j] - z[i]
                h[j] = math.sqrt(dx * dx + dy * dy)
                power[j] = dz * dz
            if rooted:
                for j in range(count):
                    power[j] = math.sqrt(math.sqrt(power[j]))
            add_classes(h[:count], power[:count], (nearest * (1 - 1e-12), farthest * (1 + 1e-12)), edges_m, sums)


def _sum_up_to(h: Floats, power: Floats, edge_m: float) -> tuple[float, float, float]:
    count, length, total = 0.0, 0.0, 0.0
    for j in range(len(h)):
        inside = 1.0 if h[j] <= edge_m else 0.0
        count += inside
        length += inside * h[j]
        total += inside * power[j]
    return count, length, total


sum_up_to: Any = numba.njit(inline="always", fastmath=_SUMS)(_sum_up_to)


def _add_classes(h: Floats, power: Floats, span_m: tuple[float, float], edges_m: Floats, sums: Floats) -> None:
    """Add distances `h`, all within `span_m`, and their powers to their classes."""
    edge = 0
    while edges_m[edge] < span_m[0]:
        edge += 1
    below = (0.0, 0.0, 0.0)
    for e in range(edge, len(edges_m)):
        whole = span_m[1] <= edges_m[e]
        upto = sum_up_to(h, power, np.inf if whole else edges_m[e])
        if e > 0:
            sums[0, e - 1] += upto[0] - below[0]
            sums[1, e - 1] += upto[1] - below[1]
            sums[2, e - 1] += upto[2] - below[2]
        below = upto
        if whole:
            break


add_classes: Any = numba.njit(fastmath=_SUMS)(_add_classes)
sum_pairs: Any = _keep(_sum_pairs)
