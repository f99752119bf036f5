"""Empirical variogram and its weighted least-squares fit: where REML starts from, and what its curve is checked by."""

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Literal

import numpy as np
from scipy.optimize import least_squares, nnls
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.core.threads import run_parts
from hardpan.geostat.covariance import Family, Structure, correlation

Estimator = Literal["matheron", "cressie-hawkins", "dowd"]

_TILE = 1024
"""Points a side of one block of pairs: its arrays stay in the second-level cache."""

_WORTH_COMPILING = 4000
"""Points from which the plain loops take longer than a moment; the compiled ones are kept after the first use."""

_RUN, _PARTS = 128, 64
"""Points a run of neighbours, and parts of the work: enough for any number of threads."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Variogram:
    """Half the typical squared difference of values by distance class; classes without pairs are left out."""

    pairs: Ints
    distance_m: Floats
    """Mean distance of the pairs of a class."""
    semivariance: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VariogramFit:
    """Sum of structures and a nugget under the points of an empirical variogram."""

    structures: tuple[Structure, ...]
    nugget: float
    """Micro-scale and noise together: a variogram cannot tell them apart."""
    loss: float
    """Weighted sum of squares, weights pairs / distance^2."""
    identified: bool
    """False when a length ends at its bound: the variogram shows no sill, or no structure, within the cutoff."""


def empirical_variogram(
    xy_m: Floats,
    values: Floats,
    *,
    cutoff_m: float | None = None,
    classes: int = 15,
    edges_m: Floats | None = None,
    estimator: Estimator = "matheron",
    threads: int = 1,
) -> Variogram:
    """Isotropic empirical variogram: semivariance by distance class.

    Parameters
    ----------
    xy_m : Floats
        (n, 2) places.
    values : Floats
        (n,) values, none missing.
    cutoff_m : float, optional
        Largest distance; a third of the diagonal of the bounding box when left out (common practice).
    classes : int
        Classes of equal width up to the cutoff.
    edges_m : Floats, optional
        Rising class edges instead; a class holds its upper edge, the first one also distance 0.
    estimator : Estimator
        matheron: half the mean square difference [matheron1963]; cressie-hawkins: from the fourth power of the mean
        root absolute difference, robust to outliers [cressie1980]; dowd: from the median [dowd1984].
    threads : int
        Used where there are enough pairs for the compiled loops; the result does not depend on it.

    Raises
    ------
    HardpanError
        Fewer than two places.

    Examples
    --------
    >>> line = np.column_stack([np.arange(4.0), np.zeros(4)])
    >>> found = empirical_variogram(line, np.array([0.0, 1.0, 0.0, 1.0]), edges_m=np.array([0.0, 1.0, 2.0]))
    >>> found.pairs, found.semivariance
    (array([3, 2]), array([0.5, 0. ]))
    """
    if len(np.unique(xy_m, axis=0)) < 2:
        raise HardpanError(what="no two places to compare", where="variogram", right="two places or more")
    if edges_m is None:
        cutoff_m = float(np.hypot(*np.ptp(xy_m, axis=0))) / 3 if cutoff_m is None else cutoff_m
        edges_m = np.linspace(0.0, cutoff_m, classes + 1)
    if estimator != "dowd" and len(values) >= _WORTH_COMPILING and importlib.util.find_spec("numba"):
        count, length, power = _sum_pairs_compiled(xy_m, values, edges_m, estimator, threads)
    else:
        count, length, power = _sum_pairs(xy_m, values, edges_m, estimator)
    used = count > 0
    return Variogram(
        pairs=count[used], distance_m=length[used] / count[used], semivariance=_estimate(count, power, estimator)[used]
    )


def _estimate(count: Ints, power: Floats, estimator: Estimator) -> Floats:
    pairs = np.maximum(count, 1).astype(np.float64)
    if estimator == "matheron":
        return power / (2 * pairs)
    if estimator == "cressie-hawkins":
        return (power / pairs) ** 4 / (2 * (0.457 + 0.494 / pairs + 0.045 / pairs**2))
    return 2.198 * power**2 / 2


def _sum_pairs(xy_m: Floats, values: Floats, edges_m: Floats, estimator: Estimator) -> tuple[Ints, Floats, Floats]:
    """Pairs, sum of distances and sum of powers of differences (median of differences for dowd) by class."""
    order = np.lexsort((values, xy_m[:, 1], xy_m[:, 0]))  # sums then do not depend on the order of the rows
    xy_m, values, classes = xy_m[order], values[order], len(edges_m) - 1
    count, length, power = np.zeros(classes, dtype=np.int64), np.zeros(classes), np.zeros(classes)
    differences: list[list[Floats]] = [[] for _ in range(classes)]
    for first in range(0, len(values), _TILE):
        for second in range(first, len(values), _TILE):
            a, b = slice(first, first + _TILE), slice(second, second + _TILE)
            if xy_m[second, 0] - xy_m[a][-1, 0] > edges_m[-1]:  # rows rise in x: no pair of the rest is near enough
                break
            h, difference = _pairs_of(xy_m[a], xy_m[b], values[a], values[b], same=first == second)
            cls = np.searchsorted(edges_m, h, side="left") - 1
            cls[(h == 0) & (edges_m[0] == 0)] = 0
            inside = (cls >= 0) & (cls < classes)
            cls, h, difference = cls[inside], h[inside], difference[inside]
            count += np.bincount(cls, minlength=classes)
            length += np.bincount(cls, h, minlength=classes)
            if estimator == "dowd":
                for k in range(classes):
                    differences[k].append(difference[cls == k])
            else:
                powers = difference**2 if estimator == "matheron" else np.sqrt(difference)
                power += np.bincount(cls, powers, minlength=classes)
    if estimator == "dowd":
        power = np.array([np.median(np.concatenate(d)) if n else 0.0 for d, n in zip(differences, count, strict=True)])
    return count, length, power


def _pairs_of(xy_a: Floats, xy_b: Floats, z_a: Floats, z_b: Floats, *, same: bool) -> tuple[Floats, Floats]:
    """Distance and absolute difference of all pairs between two sets of points, or within one."""
    h, difference = cdist(xy_a, xy_b), np.abs(z_a[:, None] - z_b[None, :])
    if same:
        upper = np.triu_indices(len(z_a), k=1)
        return h[upper], difference[upper]
    return h.ravel(), difference.ravel()


def _sum_pairs_compiled(
    xy_m: Floats, values: Floats, edges_m: Floats, estimator: Estimator, threads: int
) -> tuple[Ints, Floats, Floats]:
    """Sums as of `_sum_pairs`, for many points."""
    from hardpan.geostat.compiled import sum_pairs  # noqa: PLC0415

    order = _compact_order(xy_m, values)
    x, y, z = np.ascontiguousarray(xy_m[order, 0]), np.ascontiguousarray(xy_m[order, 1]), values[order].astype(float)
    starts = np.append(np.arange(0, len(z), _RUN), len(z))
    extremes = (np.minimum, x), (np.maximum, x), (np.minimum, y), (np.maximum, y)
    boxes = np.column_stack([extreme.reduceat(of, starts[:-1]) for extreme, of in extremes])
    edges = np.where(edges_m == 0, -1.0, edges_m)  # the first class holds distance 0
    # later rows have fewer partners: parts of equal work
    rows = (len(z) * (1 - np.sqrt(1 - np.linspace(0, 1, _PARTS + 1)))).astype(np.int64)
    sums = np.zeros((_PARTS, 3, len(edges) - 1))

    def sum_part(part: int) -> None:
        sum_pairs((x, y, z), (rows[part], rows[part + 1]), (starts, boxes, edges), sums[part], estimator != "matheron")

    run_parts(sum_part, _PARTS, threads=threads)
    count, length, power = sums.sum(axis=0)
    return count.round().astype(np.int64), length, power


def _compact_order(xy_m: Floats, values: Floats) -> Ints:
    """Order (n,) in which neighbours in the list are neighbours in the plane: up and down in strips."""
    offset = xy_m - xy_m.min(axis=0)
    width = max(float(np.ptp(offset[:, 0])) / max(np.sqrt(len(xy_m) / _RUN), 1.0), 1e-9)
    strip = np.floor(offset[:, 0] / width)
    along = np.where(strip % 2 == 0, offset[:, 1], -offset[:, 1])
    return np.lexsort((values, offset[:, 0], along, strip))


def fit_variogram(variogram: Variogram, families: Sequence[Family] = ("exponential",)) -> VariogramFit:
    """Nested model of `families` and a nugget, fitted to the variogram by weighted least squares.

    Weighted least squares with weights pairs / distance^2 over all sills and lengths; sills are not negative. For given
    lengths the sills are linear, so only the lengths are searched, from the best of a coarse grid.

    Raises
    ------
    HardpanError
        Fewer classes than parameters.
    """
    apart = variogram.distance_m > 0
    h, gamma = variogram.distance_m[apart], variogram.semivariance[apart]
    if len(h) < 2 * len(families) + 1:
        raise HardpanError(what=f"{len(h)} distance classes", where="variogram fit", right=f"{2 * len(families) + 1}")
    root = np.sqrt(variogram.pairs[apart]) / h

    def sills_at(log_lengths: Floats) -> tuple[Floats, Floats]:
        rising = [1 - correlation(f, h / np.exp(a)) for f, a in zip(families, log_lengths, strict=True)]
        design = np.column_stack([np.ones_like(h), *rising]) * root[:, None]
        sills = nnls(design, gamma * root)[0]
        return sills, design @ sills - gamma * root

    low, high = np.log(h.min() / 4), np.log(h.max() * 4)
    grid = np.linspace(low, high, 42 if len(families) == 1 else 14)[1:-1]
    start = min(
        combinations_with_replacement(grid, len(families)), key=lambda a: float(np.sum(sills_at(np.array(a))[1] ** 2))
    )
    best = least_squares(
        lambda a: sills_at(a)[1], start, bounds=(low, high), jac="3-point", xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    sills, residual = sills_at(best.x)
    inner = (best.x > low + 0.05) & (best.x < high - 0.05) & (sills[1:] > 0)
    structures = tuple(
        Structure(family=family, sill=float(sill), length_m=float(np.exp(a)))
        for family, sill, a in zip(families, sills[1:], best.x, strict=True)
    )
    return VariogramFit(
        structures=structures,
        nugget=float(sills[0]),
        loss=float(residual @ residual),
        identified=bool(inner.all()),
    )
