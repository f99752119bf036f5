"""Fields on a regular grid, tile by tile: near data exact, far data compressed within a stated error."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.progress import Progress, share_of, silent
from hardpan.core.threads import one_blas_thread, run_tiles
from hardpan.geostat.compression import EXACT, LIGHT, Layout, Strip, Task, chebyshev_nodes, cut_axis, near_data, plan
from hardpan.geostat.covariance import covariance_between
from hardpan.geostat.dual import Forms, Solve, kriging_forms, largest_error, light_solver
from hardpan.geostat.points import Prediction, kriging_variance
from hardpan.geostat.support import (
    axis_quadrature,
    covariance_with_data,
    covariance_with_support,
    support_variance,
)
from hardpan.geostat.system import COINCIDENT_M, System, invert_factor, solve_weights

_WORST_CONDITION = 1e8
"""Above this the explicit inverse loses more than compression may: the grid is then solved exactly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Where forms are wanted."""

    x_m: Floats
    """(nx,) cell centres, rising or falling; where unevenly spaced nothing is compressed."""
    y_m: Floats
    """(ny,)."""
    inside: Bools
    """(ny, nx)."""
    drift: Floats
    """(ny, nx, p) trend columns; a broadcast view will do."""
    block_m: float | None = None
    """Side of the blocks; points when left out."""


def evaluate_sum(
    parts: Sequence[Forms], grid: Grid, *, tolerance: float, threads: int = 1, progress: Progress = silent
) -> tuple[Floats, Floats]:
    """Give the sums over parts of their linear (ny, nx, r) and quadratic (ny, nx, v) forms, NaN outside.

    Parameters
    ----------
    parts : Sequence[Forms]
        As `light_solver` takes them.
    tolerance : float
        Share of a field's spread, taken as 1, that compression may change in any part.
    threads, progress
        Tiles run in `threads` threads; the result does not depend on it.
    """
    layouts = [_lay_out(part, grid, largest_error(part, tolerance), light=True) for part in parts]
    exact = [part for part, layout in zip(parts, layouts, strict=True) if layout.exact]
    groups = [(exact, LIGHT)] * bool(exact)
    groups += [([part], layout) for part, layout in zip(parts, layouts, strict=True) if not layout.exact]
    shape = (*grid.inside.shape, 1)
    linear, squares = np.zeros(shape), np.zeros(shape)
    for done, (group, layout) in enumerate(groups):
        found = _evaluate(
            group[0], grid, light_solver(group, grid.block_m), layout, threads, share_of(progress, done, len(groups))
        )
        linear += found[0]
        squares += found[1]
    return linear, squares


def _evaluate(  # noqa: PLR0917
    forms: Forms, grid: Grid, solve: Solve, layout: Layout, threads: int, progress: Progress
) -> tuple[Floats, Floats]:
    """Give linear (ny, nx, r) and quadratic (ny, nx, v) forms, NaN outside; by `solve` where nothing is compressed.

    Memory is the result, n x n, and one tile a thread: never n x cells.
    """
    shape = grid.inside.shape
    linear = np.full((*shape, forms.linear.shape[1]), np.nan)
    squares = np.full((*shape, len(forms.quadratic)), np.nan)
    along = axis_quadrature(grid.block_m)
    across, down = (cut_axis(axis, layout.side, layout.order, grid.block_m, along) for axis in (grid.x_m, grid.y_m))
    tiles = [(d, a) for d in down for a in across if grid.inside[d.part, a.part].any()]
    lines = np.concatenate([forms.linear.T, forms.cross.reshape(-1, len(forms.xy_m))])

    def solve_tile(tile: int) -> None:
        d, a = tiles[tile]
        part = (d.part, a.part)
        inside = grid.inside[part]
        x, y = np.meshgrid(grid.x_m[a.part], grid.y_m[d.part])
        if layout.exact:
            of_linear, of_squares = solve(np.column_stack([x[inside], y[inside]]), grid.drift[part][inside])
        else:
            places = np.column_stack([x.ravel(), y.ravel()])
            whole = _solve_compressed(forms, lines, layout, (d, a), places, grid)
            of_linear, of_squares = (values[inside.ravel()] for values in whole)
        linear[part][inside], squares[part][inside] = of_linear, of_squares

    run_tiles(solve_tile, len(tiles), threads=threads, progress=progress)
    return linear, squares


def _lay_out(forms: Forms, grid: Grid, error: float, *, light: bool) -> Layout:
    if error <= 0 or not all(map(_evenly_spaced, (grid.x_m, grid.y_m))):
        return EXACT
    return plan(
        Task(
            covariance=forms.covariance,
            xy_m=forms.xy_m,
            x_m=grid.x_m,
            y_m=grid.y_m,
            block_m=grid.block_m,
            nodes_per_cell=len(axis_quadrature(grid.block_m).T) ** 2,
            squares=len(forms.quadratic),
            light=light,
            error=error,
        )
    )


def _solve_compressed(  # noqa: PLR0917
    forms: Forms, lines: Floats, layout: Layout, tile: tuple[Strip, Strip], places: Floats, grid: Grid
) -> tuple[Floats, Floats]:
    """Give the forms with c = far + near: c'Qc = far'Q far + near'(2 Q far + Q near)."""
    down, across = tile
    centre, half = (across.centre_m, down.centre_m), (across.half_m, down.half_m)
    near = np.flatnonzero(near_data(forms.covariance, forms.xy_m, centre, half, layout.reach))
    u = chebyshev_nodes(layout.order)
    nodes = np.stack(np.meshgrid(centre[0] + half[0] * u, centre[1] + half[1] * u), axis=-1).reshape(-1, 2)
    far = covariance_between(forms.covariance, forms.xy_m, nodes)
    far[near] = 0.0
    close = covariance_with_support(forms.covariance, forms.xy_m[near], places, grid.block_m)
    trend = grid.drift[down.part, across.part].reshape(len(places), -1)
    flat = _spread_out(lines @ far, tile) + lines[:, near] @ close
    r, p = forms.linear.shape[1], trend.shape[1]
    squares = np.empty((len(places), len(forms.quadratic)))
    for j, quadratic in enumerate(forms.quadratic):
        pulled = quadratic @ far
        both = quadratic[np.ix_(near, near)] @ close + _spread_out(2.0 * pulled[near], tile)
        of_trend = 2.0 * flat[r + j * p : r + (j + 1) * p] + forms.square[j] @ trend.T
        squares[:, j] = (
            forms.constant[j]
            + _square_out(far.T @ pulled, tile)
            + np.einsum("ij,ij->j", close, both)
            + np.einsum("ji,ij->j", trend, of_trend)
        )
    return trend @ forms.trend + flat[:r].T, squares


def predict_grid(  # noqa: PLR0917
    system: System,
    values: Floats,
    x_m: Floats,
    y_m: Floats,
    mask: Bools | None,
    drift: Floats,
    *,
    variance: bool = True,
    block_m: float | None = None,
    threads: int = 1,
    progress: Progress = silent,
    tolerance: float = 1e-6,
) -> Prediction:
    """Give the kriged field on the cells of a regular grid, NaN where `mask` is false.

    Parameters
    ----------
    system : System
        From `factorise`.
    values : Floats
        (n,) or (n, r); no missing values.
    x_m, y_m, mask, drift, block_m
        As in `Grid`; all cells where `mask` is left out.
    variance, threads, progress
        As in `predict`.
    tolerance : float
        Share of the field's standard deviation (mean) and variance (variance) that compression may change at most;
        0 solves every cell exactly. The bound that was reached is in the result.
    """
    inside = np.ones((len(y_m), len(x_m)), dtype=bool) if mask is None else mask
    grid = Grid(x_m=x_m, y_m=y_m, inside=inside, drift=drift, block_m=block_m)
    columns = values.reshape(len(values), -1)
    beta, weights = solve_weights(system, columns)
    factor_inverse, prior = invert_factor(system), support_variance(system.covariance, block_m)
    with one_blas_thread():
        forms = kriging_forms(system, beta, weights, factor_inverse, prior)
    if not variance:
        forms = forms.linear_only()

    def solve(places: Floats, trend: Floats) -> tuple[Floats, Floats]:
        c = covariance_with_data(system, places, block_m)
        spread = kriging_variance(system, factor_inverse, c, trend, prior)[:, None] if variance else c[:0].T
        return trend @ beta + c.T @ weights, spread

    residual = float(np.sqrt(np.mean((columns - system.drift @ beta) ** 2)))
    error = tolerance * max(residual, np.sqrt(prior)) / max(float(np.abs(weights).sum(axis=0).max()), 1e-300)
    if variance:  # see _bounds, with the prior for the largest variance
        error = min(error, tolerance * np.sqrt(prior) / (4 * np.sqrt(len(columns) * forms.norm)))
    condition = forms.norm * float(np.sum(system.factor**2))
    error = error if condition < _WORST_CONDITION else 0.0
    layout = _lay_out(forms, grid, error, light=False)
    mean, squares = _evaluate(forms, grid, solve, layout, threads, progress)
    np.maximum(squares, 0.0, out=squares)
    bounds = 0.0, 0.0
    if not layout.exact:
        rounding = np.finfo(float).eps * condition * prior
        bounds = _bounds(forms, layout.error, np.nanmax(squares, initial=0.0), rounding)
        _solve_cells_at_data(system, grid, solve, (mean, squares))
    return Prediction(
        mean=mean.reshape(*inside.shape, *values.shape[1:]),
        variance=squares[..., 0] if variance else None,
        mean_error=bounds[0],
        variance_error=bounds[1],
    )


def _evenly_spaced(axis_m: Floats) -> bool:
    steps = np.diff(axis_m)
    return len(steps) == 0 or float(np.ptp(steps)) <= 1e-3 * abs(float(steps[0]))


def _bounds(forms: Forms, error: float, largest: float, rounding: float) -> tuple[float, float]:
    """Give bounds on the change of mean and variance when every covariance changes by at most `error`.

    The mean changes by at most that times the sum of absolute dual weights. The kriging variance is quadratic in the
    covariances: its change is -2 d'w - d'Qd with kriging weights w, where |d'w| <= |K^-1/2 d| |K^1/2 w|, the first
    factor at most `error` sqrt(n norm), the second, the predictor's standard deviation, at most that of the field plus
    that of the error. What rounding does to an explicit inverse is added.
    """
    mean = error * float(np.abs(forms.linear).sum(axis=0).max())
    if not len(forms.quadratic):
        return mean, 0.0
    step = error * np.sqrt(len(forms.xy_m) * forms.norm)
    return mean, float(2 * step * (np.sqrt(forms.prior) + np.sqrt(largest)) + step**2 + rounding)


def _spread_out(at_nodes: Floats, tile: tuple[Strip, Strip]) -> Floats:
    """Give (k, cells) of k polynomials known at the nodes (k, nodes)."""
    down, across = tile
    order = down.basis.shape[1]
    cells: Floats = down.basis @ (at_nodes.reshape(-1, order, order) @ across.basis.T)
    return cells.reshape(len(at_nodes), len(down.basis) * len(across.basis))


def _square_out(form: Floats, tile: tuple[Strip, Strip]) -> Floats:
    """Give (cells,) of the quadratic form of the interpolation weights, shape (nodes, nodes)."""
    down, across = ((strip.basis[:, :, None] * strip.basis[:, None, :]).reshape(len(strip.basis), -1) for strip in tile)
    order = tile[0].basis.shape[1]
    paired = form.reshape((order,) * 4).transpose(0, 2, 1, 3).reshape(order**2, order**2)
    cells: Floats = down @ paired @ across.T
    return cells.ravel()


def _solve_cells_at_data(system: System, grid: Grid, solve: Solve, maps: tuple[Floats, Floats]) -> None:
    """Overwrite the cells whose centre is the place of a datum: there micro-scale is known and the map is exact."""
    if grid.block_m:
        return
    column, row = _nearest(grid.x_m, system.xy_m[:, 0]), _nearest(grid.y_m, system.xy_m[:, 1])
    apart = np.hypot(grid.x_m[column] - system.xy_m[:, 0], grid.y_m[row] - system.xy_m[:, 1])
    hit = (apart <= COINCIDENT_M) & grid.inside[row, column]
    cells = row[hit], column[hit]
    places = np.column_stack([grid.x_m[cells[1]], grid.y_m[cells[0]]])
    maps[0][cells], maps[1][cells] = solve(places, grid.drift[cells])


def _nearest(axis_m: Floats, at_m: Floats) -> Ints:
    """Give the index of the nearest of evenly spaced coordinates."""
    step = (axis_m[-1] - axis_m[0]) / max(len(axis_m) - 1, 1) or 1.0
    index: Ints = np.clip(np.round((at_m - axis_m[0]) / step), 0, len(axis_m) - 1).astype(np.int64)
    return index
