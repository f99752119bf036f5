"""Covariance of far data with the cells of a tile, compressed to a few Chebyshev nodes with a stated error.

Seen from a tile, the covariance with a datum outside a margin is a smooth function of the place. It is interpolated
from order x order Chebyshev nodes; near data stay exact. A spherical structure is smooth on a tile that lies wholly
inside its range or wholly beyond; a datum whose range ends on the tile counts as near.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from hardpan.core.arrays import Bools, Floats
from hardpan.geostat.covariance import Covariance, Structure, anisotropy_matrix, correlation

_ORDERS = (4, 6, 8, 9, 10, 11, 12, 13, 14, 16)
_REACHES = (2.5, 3.0, 4.0)
_SIDES = (40, 56, 28, 80, 20, 14, 10)
"""The usual best first, so that the others are soon given up."""
_SAFETY = 2.0
"""Of the error measured at sample places, for the places between."""

_SECONDS_PER_VALUE, _SECONDS_PER_NEAR, _SECONDS_PER_FLOP, _SECONDS_PER_TILE = 2.2e-9, 4.8e-9, 1.6e-11, 6e-4
"""Rough costs of one covariance, one with a near datum and its way through memory, one operation of a matrix product,
and the calls of one tile. They only choose the tiling; a wrong value costs time and nothing else."""
_SECONDS_OF_SEARCH = 0.01
"""Least that a choice of tiling takes: a grid that is solved in less is not worth it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """One tile's share of one axis of the grid."""

    part: slice
    centre_m: float
    half_m: float
    """Half the width of the widest strip of the axis, so that every tile is as far from its far data as was planned."""
    basis: Floats
    """(cells, order): from values at the nodes to the cells, averaged over the block."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tiling:
    """How a grid is cut into tiles and how far data are compressed on them."""

    side: int
    """Cells a side of a tile."""
    order: int
    """Nodes a side."""
    reach: float
    """Data within this many half widths of a tile's centre are near."""
    error: float
    """Largest error of one compressed covariance."""

    @property
    def exact(self) -> bool:
        """No datum is compressed."""
        return self.reach == np.inf


EXACT = Tiling(side=22, order=1, reach=np.inf, error=0.0)
"""No compression: tiles of about 500 right-hand sides at once."""

SINGLE_PRECISION = Tiling(side=64, order=1, reach=np.inf, error=0.0)
"""The same in single precision: tiles of a megabyte or two for a hundred data, so that calls are few."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GridTask:
    """What decides the cost of a grid."""

    covariance: Covariance
    xy_m: Floats
    x_m: Floats
    y_m: Floats
    block_m: float | None
    nodes_per_cell: int
    single: bool
    """Without compression the work is in single precision, and blocks are integrated near data only."""
    error: float
    """Largest error of one covariance that keeps the map within its tolerance."""


def chebyshev_nodes(order: int) -> Floats:
    """Chebyshev points of the first kind on [-1, 1], shape (order,).

    Examples
    --------
    >>> chebyshev_nodes(3).round(4)
    array([ 0.866,  0.   , -0.866])
    """
    return np.cos((2 * np.arange(order) + 1) * np.pi / (2 * order))


def interpolation_basis(order: int, at: Floats) -> Floats:
    """Barycentric interpolation matrix (len(at), order), from values at the Chebyshev nodes to those at places `at`.

    Examples
    --------
    >>> nodes, at = chebyshev_nodes(4), np.array([-0.3, 0.8])
    >>> np.allclose(interpolation_basis(4, at) @ nodes**3, at**3)
    True
    """
    angle = (2 * np.arange(order) + 1) * np.pi / (2 * order)
    gap = at[:, None] - np.cos(angle)
    hit = gap == 0
    gap[hit] = 1.0
    basis = (-1.0) ** np.arange(order) * np.sin(angle) / gap
    basis /= basis.sum(axis=1, keepdims=True)
    on_node = hit.any(axis=1)
    basis[on_node] = hit[on_node]
    return basis


def cut_axis(coordinates_m: Floats, side: int, order: int, block_m: float | None, nodes: Floats) -> list[Strip]:
    """Strips of one axis of the grid, about `side` cells each.

    Parameters
    ----------
    coordinates_m : Floats
        Evenly spaced cell centres, rising or falling.
    side, order : int
        Cells and nodes of a strip.
    block_m : float, optional
        Side of the blocks, points when left out.
    nodes : Floats
        (2, q) offsets and weights of the quadrature over a block along the axis.
    """
    count, strips = len(coordinates_m), []
    half = half_width(coordinates_m, side, block_m)
    edges = np.linspace(0, count, -(-count // side) + 1).round().astype(int)
    for first, last in pairwise(edges):
        cells = coordinates_m[first:last]
        centre = float(cells[0] + cells[-1]) / 2
        basis = sum(w * interpolation_basis(order, (cells + o - centre) / half) for o, w in nodes.T)
        strips.append(Strip(part=slice(first, last), centre_m=centre, half_m=half, basis=np.asarray(basis)))
    return strips


def half_width(coordinates_m: Floats, side: int, block_m: float | None) -> float:
    """Half the width (m) of the widest strip of at most `side` cells, the half blocks of its outer cells included."""
    count = len(coordinates_m)
    step = abs(float(coordinates_m[1] - coordinates_m[0])) if count > 1 else 0.0
    widest = -(-count // -(-count // side))
    return ((widest - 1) * step + (block_m or 0.0)) / 2 or step / 2 or 1e-9


def near_data(
    covariance: Covariance, xy_m: Floats, centre_m: Floats, half_m: tuple[float, float], reach: float
) -> Bools:
    """Data that must stay exact on tiles about `centre_m` (..., 2), shape (..., n).

    Near ones, and those whose spherical range ends on the tile.
    """
    offset = xy_m - centre_m[..., None, :]
    near = (np.abs(offset[..., 0]) < reach * half_m[0]) & (np.abs(offset[..., 1]) < reach * half_m[1])
    for structure in covariance.structures:
        if structure.family == "spherical":
            matrix = anisotropy_matrix(structure)
            r = np.linalg.norm(offset @ matrix, axis=-1)
            radius = _tile_radius(matrix, half_m)
            near |= np.abs(r - 1.0) < radius
    return near


def _tile_radius(matrix: Floats, half_m: tuple[float, float]) -> float:
    corners = np.array([[half_m[0], half_m[1]], [half_m[0], -half_m[1]]])
    return float(np.linalg.norm(corners @ matrix, axis=1).max())


def compression_error(covariance: Covariance, half_m: tuple[float, float], order: int, reach: float) -> float:
    """Largest error of a compressed covariance with a datum outside the margin of a tile, measured at samples."""
    nodes, checks = chebyshev_nodes(order), np.linspace(-1.0, 1.0, 15)
    basis = interpolation_basis(order, checks)
    ring = _ring(reach) * half_m
    return _SAFETY * sum(
        structure.sill * _structure_error(structure, ring, half_m, (nodes, checks, basis))
        for structure in covariance.structures
    )


def _ring(reach: float) -> Floats:
    """Places on the margin and half as far again; a covariance is the same at opposite places."""
    along = np.linspace(-reach, reach, 13)
    side = np.column_stack([along, np.full(13, reach)])
    margin = np.concatenate([side, side[:, ::-1]])
    return np.concatenate([margin, 1.5 * margin])


def _structure_error(
    structure: Structure, ring_m: Floats, half_m: tuple[float, float], sampling: tuple[Floats, Floats, Floats]
) -> float:
    nodes, checks, basis = sampling
    matrix = anisotropy_matrix(structure)
    if structure.family == "spherical":
        r = np.linalg.norm(ring_m @ matrix, axis=1)
        ring_m = ring_m[r + _tile_radius(matrix, half_m) <= 1.25]  # data inside the range, and some margin
    at_nodes = _smooth(structure, matrix, ring_m, nodes, half_m)
    at_checks = _smooth(structure, matrix, ring_m, checks, half_m)
    return float(np.abs(basis @ at_nodes @ basis.T - at_checks).max(initial=0.0))


def _smooth(structure: Structure, matrix: Floats, ring_m: Floats, along: Floats, half_m: tuple[float, float]) -> Floats:
    """Correlations (ring, y, x) of places on the ring with a lattice on the tile."""
    x, y = along * half_m[0], along * half_m[1]
    u = (x * matrix[0, 0] + (y * matrix[1, 0])[:, None]) - (ring_m @ matrix[:, 0])[:, None, None]
    v = (x * matrix[0, 1] + (y * matrix[1, 1])[:, None]) - (ring_m @ matrix[:, 1])[:, None, None]
    r: Floats = np.hypot(u, v)
    if structure.family == "spherical":  # without its end: far data are within the range, or have no covariance
        return 1.0 - r * (1.5 - 0.5 * r * r)
    return correlation(structure.family, r)


def choose_tiling(task: GridTask) -> Tiling:
    """The cheapest tiling that keeps the error."""
    best, lowest = EXACT, _exact_cost(task)
    if lowest < _SECONDS_OF_SEARCH:
        return best
    for side in _SIDES:
        for reach in _REACHES:
            half = (half_width(task.x_m, side, task.block_m), half_width(task.y_m, side, task.block_m))
            near = _mean_near(task, side, half, reach)
            for order in _ORDERS:
                cost = _cost(task, side, order, near)
                if cost >= lowest:
                    break
                error = compression_error(task.covariance, half, order, reach)
                if error <= task.error:
                    best, lowest = Tiling(side=side, order=order, reach=reach, error=error), cost
                    break
    return best


def _mean_near(task: GridTask, side: int, half_m: tuple[float, float], reach: float) -> float:
    xs, ys = task.x_m[side // 2 :: side][:6], task.y_m[side // 2 :: side][:6]
    xs, ys = (task.x_m[:1] if not len(xs) else xs), (task.y_m[:1] if not len(ys) else ys)
    centres = np.stack(np.meshgrid(xs, ys), axis=-1)
    return float(near_data(task.covariance, task.xy_m, centres, half_m, reach).sum(axis=-1).mean())


def _exact_cost(task: GridTask) -> float:
    n, cells = len(task.xy_m), len(task.x_m) * len(task.y_m)
    if task.single:
        return cells * n * (2.0 * _SECONDS_PER_NEAR + n * _SECONDS_PER_FLOP)
    return cells * n * (task.nodes_per_cell * _SECONDS_PER_NEAR + 1.3 * n * _SECONDS_PER_FLOP)


def _cost(task: GridTask, side: int, order: int, near: float) -> float:
    n, q = len(task.xy_m), order**2
    tiles, cells = -(-len(task.x_m) // side) * -(-len(task.y_m) // side), len(task.x_m) * len(task.y_m)
    flops = tiles * (2.0 * n**2 * q + n * q**2 + 2 * side * q**2) + cells * near * (2 * near + 4 * order)
    seconds = tiles * (n * q * _SECONDS_PER_VALUE + _SECONDS_PER_TILE)
    seconds += cells * near * (task.nodes_per_cell + 1) * _SECONDS_PER_NEAR
    return seconds + flops * _SECONDS_PER_FLOP
