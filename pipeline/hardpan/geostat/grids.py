"""Dual forms evaluated at places and over grids, tile by tile: near data exact, far data compressed within a bound."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Bools, Floats
from hardpan.core.threads import Progress, run_parts, share_of, silent
from hardpan.geostat.compression import (
    EXACT,
    SINGLE_PRECISION,
    GridTask,
    Strip,
    Tiling,
    chebyshev_nodes,
    choose_tiling,
    cut_axis,
    near_data,
)
from hardpan.geostat.covariance import axis_quadrature, block_covariance, covariance_between
from hardpan.geostat.dual import SINGLE_FROM, DualForm, Solve, direct_solver, largest_error

_PLACES = 512
"""Places solved at once: their covariances with 500 data fill about 2 MB, the usual second-level cache."""

_WORST_CONDITION = 1e8
"""Above this an explicit inverse loses more digits than compression may: the grid is then solved directly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KrigingGrid:
    """Cells of a regular grid where a field is wanted."""

    x_m: Floats
    """(nx,) cell centres, rising or falling; where unevenly spaced nothing is compressed."""
    y_m: Floats
    """(ny,)."""
    inside: Bools
    """(ny, nx)."""
    trend: Floats
    """(ny, nx, p) trend columns; a broadcast view will do."""
    block_m: float | None = None
    """Side of the blocks the field is averaged over; points when left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moments:
    """Mean and second moment of a field, and what compression may have changed."""

    mean: Floats
    second: Floats
    mean_error: float = 0.0
    """Bound on the change of the mean; 0 where nothing was compressed."""
    variance_error: float = 0.0
    """The same of the variance, and what rounding may have changed."""


def evaluate_places(  # noqa: PLR0917
    forms: Sequence[DualForm],
    xy_m: Floats,
    trend: Floats,
    block_m: float | None,
    tolerance: float = 0.0,
    threads: int = 1,
    progress: Progress = silent,
) -> Moments:
    """Moments (m,) of the sum of dual forms at places (m, 2) with trend values (m, p), nothing compressed."""
    solve = direct_solver(forms, block_m, tolerance)
    mean, second = np.empty(len(xy_m)), np.empty(len(xy_m))

    def solve_part(part: int) -> None:
        some = slice(part * _PLACES, (part + 1) * _PLACES)
        mean[some], second[some] = solve(xy_m[some], trend[some])

    run_parts(solve_part, -(-len(xy_m) // _PLACES), threads=threads, progress=progress)
    return Moments(mean=mean, second=second, variance_error=sum(map(_rounding, forms)))


def evaluate_grid(
    forms: Sequence[DualForm], grid: KrigingGrid, *, tolerance: float, threads: int = 1, progress: Progress = silent
) -> Moments:
    """Moments (ny, nx) of the sum of dual forms over a grid, NaN outside.

    Memory is the result, n x n, and one tile a thread: never n x cells.

    Parameters
    ----------
    forms : Sequence[DualForm]
        Of the same data.
    grid : KrigingGrid
        Where.
    tolerance : float
        Share of a field's spread, taken as 1, that compression may change in any form; 0 solves every cell directly.
    threads, progress
        Tiles run in `threads` threads; the result does not depend on it.

    Examples
    --------
    A grid says what its cells say one by one:

    >>> from hardpan import geostat
    >>> x, y = np.random.default_rng(1).uniform(0, 100, (2, 30))
    >>> one = geostat.Structure(family="matern32", sill=1.0, length_m=20.0)
    >>> field = geostat.condition(geostat.observe(x, y, x + y), geostat.Covariance(structures=(one,), noise=0.1))
    >>> grid = geostat.krige_grid(field, [5.0, 15.0], [9.0])
    >>> np.allclose(grid.mean[0, 1], geostat.krige(field, [15.0], [9.0]).mean[0]), grid.mean.shape
    (True, (1, 2))
    """
    tilings = [_tiling(form, grid, tolerance) for form in forms]
    direct = [form for form, tiling in zip(forms, tilings, strict=True) if tiling.exact]
    groups = [(direct, SINGLE_PRECISION if tolerance >= SINGLE_FROM else EXACT)] * bool(direct)
    groups += [([form], tiling) for form, tiling in zip(forms, tilings, strict=True) if not tiling.exact]
    mean, second, mean_error, variance_error = np.zeros(grid.inside.shape), np.zeros(grid.inside.shape), 0.0, 0.0
    for done, (group, tiling) in enumerate(groups):
        solve = direct_solver(group, grid.block_m, tolerance)
        found = _evaluate(group[0], grid, solve, tiling, threads, share_of(progress, done, len(groups)))
        mean += found.mean
        second += found.second
        variance_error += sum(map(_rounding, group))
        if not tiling.exact:
            bounds = _error_bounds(group[0], tiling.error, float(np.nanmax(found.second - found.mean**2, initial=0.0)))
            mean_error, variance_error = mean_error + bounds[0], variance_error + bounds[1]
    return Moments(mean=mean, second=second, mean_error=mean_error, variance_error=variance_error)


def _tiling(form: DualForm, grid: KrigingGrid, tolerance: float) -> Tiling:
    error = largest_error(form, tolerance)
    rounded = tolerance < SINGLE_FROM and form.condition > _WORST_CONDITION
    if error <= 0 or rounded or not all(map(_evenly_spaced, (grid.x_m, grid.y_m))):
        return EXACT
    return choose_tiling(
        GridTask(
            covariance=form.covariance,
            xy_m=form.xy_m,
            x_m=grid.x_m,
            y_m=grid.y_m,
            block_m=grid.block_m,
            nodes_per_cell=len(axis_quadrature(grid.block_m).T) ** 2,
            single=tolerance >= SINGLE_FROM,
            error=error,
        )
    )


def _evenly_spaced(axis_m: Floats) -> bool:
    steps = np.diff(axis_m)
    return len(steps) == 0 or float(np.ptp(steps)) <= 1e-3 * abs(float(steps[0]))


def _evaluate(  # noqa: PLR0917
    form: DualForm, grid: KrigingGrid, solve: Solve, tiling: Tiling, threads: int, progress: Progress
) -> Moments:
    """Moments (ny, nx) of one form by its tiling, or by `solve` where nothing is compressed; NaN outside."""
    mean, second = np.full(grid.inside.shape, np.nan), np.full(grid.inside.shape, np.nan)
    along = axis_quadrature(grid.block_m)
    across, down = (cut_axis(axis, tiling.side, tiling.order, grid.block_m, along) for axis in (grid.x_m, grid.y_m))
    tiles = [(d, a) for d in down for a in across if grid.inside[d.part, a.part].any()]

    def solve_tile(tile: int) -> None:
        d, a = tiles[tile]
        part = (d.part, a.part)
        inside = grid.inside[part]
        x, y = np.meshgrid(grid.x_m[a.part], grid.y_m[d.part])
        if tiling.exact:
            found = solve(np.column_stack([x[inside], y[inside]]), grid.trend[part][inside])
        else:
            places = np.column_stack([x.ravel(), y.ravel()])
            whole = _solve_compressed(form, tiling, (d, a), places, grid)
            found = whole[0][inside.ravel()], whole[1][inside.ravel()]
        mean[part][inside], second[part][inside] = found

    run_parts(solve_tile, len(tiles), threads=threads, progress=progress)
    return Moments(mean=mean, second=second)


def _solve_compressed(
    form: DualForm, tiling: Tiling, tile: tuple[Strip, Strip], places: Floats, grid: KrigingGrid
) -> tuple[Floats, Floats]:
    """Mean and second moment at the cells of a tile, by c = far + near: c'Qc = far'Q far + near'(2 Q far + Q near)."""
    down, across = tile
    centre, half = np.array([across.centre_m, down.centre_m]), (across.half_m, down.half_m)
    near = np.flatnonzero(near_data(form.covariance, form.xy_m, centre, half, tiling.reach))
    u = chebyshev_nodes(tiling.order)
    nodes = np.stack(np.meshgrid(centre[0] + half[0] * u, centre[1] + half[1] * u), axis=-1).reshape(-1, 2)
    far = covariance_between(form.covariance, form.xy_m, nodes)
    far[near] = 0.0
    close = block_covariance(form.covariance, form.xy_m[near], places, grid.block_m)
    trend = grid.trend[down.part, across.part].reshape(len(places), -1)
    lines = np.concatenate([form.linear[None], form.cross])
    flat = _to_cells(lines @ far, tile) + lines[:, near] @ close
    pulled = form.quadratic @ far
    both = form.quadratic[np.ix_(near, near)] @ close + _to_cells(2.0 * pulled[near], tile)
    of_trend = 2.0 * flat[1:] + form.square @ trend.T
    second = form.constant + _square_to_cells(far.T @ pulled, tile) + np.einsum("ij,ij->j", close, both)
    return trend @ form.trend + flat[0], second + np.einsum("ji,ij->j", trend, of_trend)


def _to_cells(at_nodes: Floats, tile: tuple[Strip, Strip]) -> Floats:
    """Values (k, cells) of k polynomials known at the Chebyshev nodes (k, nodes)."""
    down, across = tile
    order = down.basis.shape[1]
    cells: Floats = down.basis @ (at_nodes.reshape(-1, order, order) @ across.basis.T)
    return cells.reshape(len(at_nodes), len(down.basis) * len(across.basis))


def _square_to_cells(form: Floats, tile: tuple[Strip, Strip]) -> Floats:
    """Values (cells,) of a quadratic form (nodes, nodes) of the interpolation weights."""
    down, across = ((strip.basis[:, :, None] * strip.basis[:, None, :]).reshape(len(strip.basis), -1) for strip in tile)
    order = tile[0].basis.shape[1]
    paired = form.reshape((order,) * 4).transpose(0, 2, 1, 3).reshape(order**2, order**2)
    cells: Floats = down @ paired @ across.T
    return cells.ravel()


def _error_bounds(form: DualForm, error: float, largest: float) -> tuple[float, float]:
    """Bounds on the change of mean and variance when every covariance changes by at most `error`.

    The mean changes by at most that times the sum of absolute dual weights. A variance, `largest` at most, is quadratic
    in the covariances: its change is -2 d'w - d'Qd with kriging weights w, where |d'w| <= |Q^1/2 d| |Q^-1/2 w|, the
    first factor at most `error` sqrt(n norm), the second, the predictor's standard deviation, at most that of the field
    plus that of the error.
    """
    step = error * np.sqrt(len(form.xy_m) * form.norm)
    variance = 2.0 * step * (np.sqrt(form.constant) + np.sqrt(largest)) + step**2
    return error * float(np.abs(form.linear).sum()), float(variance)


def _rounding(form: DualForm) -> float:
    """Bound on what rounding of an explicit inverse changes in a variance: it grows with the order of the matrix."""
    return float(len(form.xy_m) * np.finfo(float).eps * form.condition * form.constant)
