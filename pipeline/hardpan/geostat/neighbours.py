"""Neighbourhoods of data: coincident data merged, targets grouped, and the nearest data of every group."""

from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat.covariance import COINCIDENT_M

_TILE_SHARE, _DATA_SHARE = 0.58, 2
"""Side of a tile over the distance to the k-th neighbour, data of a tile over k.

The 2 k data nearest to the centre of a tile lie within about 1.41 of that distance, so that a target, at most 0.41 of
it from the centre, has its own k nearest data among them where data are evenly dense."""


class PlacedData(NamedTuple):
    """Data at distinct places."""

    xy_m: Floats
    drift: Floats
    values: Floats
    """(n, r)."""
    noise: Floats


class Groups(NamedTuple):
    """Targets that share their neighbours."""

    start: Ints
    """(g + 1,) first target of each group, and the end."""
    near: Ints
    """(g, k) data of each group."""


class Targets(NamedTuple):
    """Targets in the order of the groups, and room for their results."""

    xy_m: Floats
    drift: Floats
    mean: Floats
    """(m, r)."""
    variance: Floats


class CompiledCovariance(NamedTuple):
    """The covariance as the compiled loops take it."""

    families: Ints
    sills: Floats
    scalings: Floats
    """(s, 2, 2)."""
    offsets: Floats
    """(q, 2) nodes of a block."""
    weights: Floats
    micro: float
    """Micro-scale of a target at the place of a datum."""
    prior: float
    """Variance of the field over the support."""


def merge_coincident(data: PlacedData) -> PlacedData:
    """One datum a place, in an order that does not depend on that of the rows.

    Data at one place are replaced by their mean, weighted by the inverse of their noise, with the noise it has.
    """
    rounded = np.round((data.xy_m - data.xy_m.min(axis=0)) / COINCIDENT_M)
    order = np.lexsort((data.values[:, 0], rounded[:, 1], rounded[:, 0]))
    first = np.flatnonzero(np.append(True, np.any(np.diff(rounded[order], axis=0) != 0, axis=1)))
    known = data.noise[order] > 0
    weight = np.where(known, 1.0 / np.where(known, data.noise[order], 1.0), 1.0)
    exact = np.add.reduceat(~known, first) > 0  # a datum without noise outweighs all that have some
    weight[known & np.repeat(exact, np.diff(np.append(first, len(order))))] = 0.0
    total = np.add.reduceat(weight, first)
    return PlacedData(
        xy_m=data.xy_m[order[first]],
        drift=np.add.reduceat(data.drift[order] * weight[:, None], first) / total[:, None],
        values=np.add.reduceat(data.values[order] * weight[:, None], first) / total[:, None],
        noise=np.where(exact, 0.0, 1.0 / total),
    )


def group_targets(
    xy_m: Floats, targets_xy: Floats, neighbours: int, threads: int, *, strict: bool
) -> tuple[Ints, Groups]:
    """Order of the targets (m,), and the groups they form in it with the nearest data of each."""
    tree, k = cKDTree(xy_m), min(neighbours, len(xy_m))
    if strict:
        near = tree.query(targets_xy, k=[*range(1, k + 1)], workers=threads)[1]
        return np.arange(len(targets_xy)), Groups(start=np.arange(len(targets_xy) + 1), near=near)
    sample = xy_m[:: max(len(xy_m) // 256, 1)]
    side = _TILE_SHARE * float(np.median(tree.query(sample, k=[k])[0])) or 1.0
    corner = targets_xy.min(axis=0)
    cell = np.floor((targets_xy - corner) / side).astype(np.int64)
    key = cell[:, 1] * (cell[:, 0].max() + 1) + cell[:, 0]
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.append(1, np.diff(key[order])))
    centre = (cell[order[first]] + 0.5) * side + corner
    near = tree.query(centre, k=[*range(1, min(_DATA_SHARE * k, len(xy_m)) + 1)], workers=threads)[1]
    return order, Groups(start=np.append(first, len(order)), near=near)
