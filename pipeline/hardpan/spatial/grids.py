"""Kriging of a regular grid, tile by tile: near data exact, far data compressed within a stated error."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.progress import Progress, silent
from hardpan.spatial.compression import EXACT, Layout, Strip, Task, chebyshev_nodes, cut_axis, near_data, plan
from hardpan.spatial.covariance import covariance_between
from hardpan.spatial.points import Prediction, kriging_variance
from hardpan.spatial.support import (
    axis_quadrature,
    covariance_with_data,
    covariance_with_support,
    support_variance,
)
from hardpan.spatial.system import COINCIDENT_M, System, invert_factor, solve_weights, whiten
from hardpan.spatial.tiles import one_blas_thread, run_tiles

_WORST_CONDITION = 1e8
"""Above this the explicit inverse loses more than compression may: the grid is then solved exactly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Engine:
    """What every tile of one grid needs."""

    system: System
    block_m: float | None
    prior: float
    """Variance of the field over its support."""
    beta: Floats
    """(p, r)."""
    linear: Floats
    """(n, r + p): dual weights of the values, then K^-1 X."""
    factor_inverse: Floats
    """(n, n) L^-1."""
    inverse: Floats
    """(n, n) K^-1."""
    norm: float
    """Bound on the largest eigenvalue of K^-1."""
    layout: Layout


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

    Memory is the result, n x n, and one tile a thread: never n x cells.

    Parameters
    ----------
    system : System
        From `factorise`.
    values : Floats
        (n,) or (n, r); no missing values.
    x_m, y_m : Floats
        (nx,) and (ny,) cell centres, rising or falling; where unevenly spaced nothing is compressed.
    mask : Bools, optional
        (ny, nx) cells wanted; all when left out.
    drift : Floats
        (ny, nx, p) trend columns; a broadcast view will do.
    variance, block_m, threads, progress
        As in `predict`.
    tolerance : float
        Share of the field's standard deviation (mean) and variance (variance) that compression may change at most;
        0 solves every cell exactly. The bound that was reached is in the result.
    """
    inside = np.ones((len(y_m), len(x_m)), dtype=bool) if mask is None else mask
    columns = values.reshape(len(values), -1)
    engine = _prepare(system, columns, (x_m, y_m), block_m, tolerance, variance=variance)
    mean = np.full((*inside.shape, columns.shape[1]), np.nan)
    spread = np.full(inside.shape, np.nan) if variance else None
    across, down = _strips(engine, x_m), _strips(engine, y_m)
    tiles = [(d, a) for d in down for a in across if inside[d.part, a.part].any()]

    def solve_tile(tile: int) -> None:
        d, a = tiles[tile]
        part, shape = (d.part, a.part), (len(d.basis), len(a.basis))
        x, y = np.meshgrid(x_m[a.part], y_m[d.part])
        trend = drift[part].reshape(x.size, drift.shape[-1])
        places = np.column_stack([x.ravel(), y.ravel()])
        if engine.layout.exact:
            tile_mean, tile_spread = _solve_exactly(engine, places, trend, variance=variance)
        else:
            tile_mean, tile_spread = _solve_compressed(engine, (d, a), places, trend, variance=variance)
        np.copyto(mean[part], tile_mean.reshape(*shape, -1), where=inside[part][..., None])
        if spread is not None:
            np.copyto(spread[part], tile_spread.reshape(shape), where=inside[part])

    run_tiles(solve_tile, len(tiles), threads=threads, progress=progress)
    if not engine.layout.exact:
        _solve_cells_at_data(engine, (x_m, y_m), drift, (mean, spread))
    mean_error, variance_error = _bounds(engine, columns.shape[1], spread)
    return Prediction(
        mean=mean.reshape(*inside.shape, *values.shape[1:]),
        variance=spread,
        mean_error=mean_error,
        variance_error=variance_error,
    )


def _prepare(
    system: System,
    columns: Floats,
    axes: tuple[Floats, Floats],
    block_m: float | None,
    tolerance: float,
    *,
    variance: bool,
) -> _Engine:
    beta, weights = solve_weights(system, columns)
    factor_inverse, prior = invert_factor(system), support_variance(system.covariance, block_m)
    with one_blas_thread():
        inverse = factor_inverse.T @ factor_inverse
    norm = float(np.abs(inverse).sum(axis=0).max(initial=0.0))
    if system.covariance.noise > 0:
        norm = min(norm, 1.0 / system.covariance.noise)
    scale = max(float(np.sqrt(np.mean((columns - system.drift @ beta) ** 2))), np.sqrt(prior))
    error = tolerance * scale / max(float(np.abs(weights).sum(axis=0).max()), 1e-300)
    if variance:  # see _bounds, with the prior for the largest variance
        error = min(error, tolerance * np.sqrt(prior) / (4 * np.sqrt(len(columns) * norm)))
    task = Task(
        covariance=system.covariance,
        xy_m=system.xy_m,
        x_m=axes[0],
        y_m=axes[1],
        block_m=block_m,
        nodes_per_cell=len(axis_quadrature(block_m).T) ** 2,
        variance=variance,
        error=error,
    )
    well = norm * float(np.sum(system.factor**2)) < _WORST_CONDITION and all(map(_evenly_spaced, axes))
    return _Engine(
        system=system,
        block_m=block_m,
        prior=prior,
        beta=beta,
        linear=np.column_stack([weights, factor_inverse.T @ system.whitened]),
        factor_inverse=factor_inverse,
        inverse=inverse,
        norm=norm,
        layout=plan(task) if well and error > 0 else EXACT,
    )


def _evenly_spaced(axis_m: Floats) -> bool:
    steps = np.diff(axis_m)
    return len(steps) == 0 or float(np.ptp(steps)) <= 1e-3 * abs(float(steps[0]))


def _bounds(engine: _Engine, r: int, spread: Floats | None) -> tuple[float, float]:
    """Give bounds on the change of mean and variance when every covariance changes by at most e.

    The mean changes by at most e times the sum of absolute dual weights. The kriging variance is quadratic in the
    covariances: its change is -2 d'w - d'Qd with kriging weights w, where |d'w| <= |K^-1/2 d| |K^1/2 w|, the first
    factor at most e sqrt(n norm), the second, the predictor's standard deviation, at most that of the field plus that
    of the error. What rounding does to an explicit inverse is added.
    """
    if engine.layout.exact:
        return 0.0, 0.0
    e, n = engine.layout.error, len(engine.inverse)
    mean = e * float(np.abs(engine.linear[:, :r]).sum(axis=0).max())
    if spread is None:
        return mean, 0.0
    largest = np.sqrt(engine.prior) + np.sqrt(np.nanmax(spread, initial=0.0))
    step = e * np.sqrt(n * engine.norm)
    rounding = np.finfo(float).eps * engine.norm * float(np.sum(engine.system.factor**2)) * engine.prior
    return mean, float(2 * step * largest + step**2 + rounding)


def _strips(engine: _Engine, coordinates_m: Floats) -> list[Strip]:
    layout = engine.layout
    return cut_axis(coordinates_m, layout.side, layout.order, engine.block_m, axis_quadrature(engine.block_m))


def _solve_exactly(engine: _Engine, places: Floats, trend: Floats, *, variance: bool) -> tuple[Floats, Floats]:
    """Give mean (cells, r) and variance (cells,)."""
    c = covariance_with_data(engine.system, places, engine.block_m)
    mean = trend @ engine.beta + c.T @ engine.linear[:, : engine.beta.shape[1]]
    return mean, kriging_variance(
        engine.system, engine.factor_inverse, c, trend, engine.prior
    ) if variance else np.empty(0)


def _solve_compressed(
    engine: _Engine, tile: tuple[Strip, Strip], places: Floats, trend: Floats, *, variance: bool
) -> tuple[Floats, Floats]:
    """Give mean (cells, r) and variance (cells,): with c = far + near, c'Kc = far'K far + near'(2 K far + K near)."""
    system, (down, across), layout, r = engine.system, tile, engine.layout, engine.beta.shape[1]
    centre, half = (across.centre_m, down.centre_m), (across.half_m, down.half_m)
    near = np.flatnonzero(near_data(system.covariance, system.xy_m, centre, half, layout.reach))
    u = chebyshev_nodes(layout.order)
    nodes = np.stack(np.meshgrid(centre[0] + half[0] * u, centre[1] + half[1] * u), axis=-1).reshape(-1, 2)
    far = covariance_between(system.covariance, system.xy_m, nodes)
    far[near] = 0.0
    close = covariance_with_support(system.covariance, system.xy_m[near], places, engine.block_m)
    linear = _spread_out(engine.linear.T @ far, tile) + engine.linear[near].T @ close
    mean = trend @ engine.beta + linear[:r].T
    if not variance:
        return mean, np.empty(0)
    white = whiten(engine.factor_inverse, far)
    explained = _square_out(white.T @ white, tile)
    both = engine.inverse[np.ix_(near, near)] @ close
    both += _spread_out(2.0 * engine.factor_inverse[:, near].T @ white, tile)
    explained += np.einsum("ij,ij->j", close, both)
    unknown = solve_triangular(system.triangle, trend.T - linear[r:], trans=1, check_finite=False)
    return mean, np.maximum(engine.prior - explained + np.einsum("ij,ij->j", unknown, unknown), 0.0)


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


def _solve_cells_at_data(
    engine: _Engine,
    axes: tuple[Floats, Floats],
    drift: Floats,
    maps: tuple[Floats, Floats | None],
) -> None:
    """Overwrite the cells whose centre is the place of a datum: there micro-scale is known and the map is exact."""
    if engine.block_m:
        return
    x_m, y_m = axes
    column, row = _nearest(x_m, engine.system.xy_m[:, 0]), _nearest(y_m, engine.system.xy_m[:, 1])
    apart = np.hypot(x_m[column] - engine.system.xy_m[:, 0], y_m[row] - engine.system.xy_m[:, 1])
    hit = (apart <= COINCIDENT_M) & np.isfinite(maps[0][row, column, 0])
    cells = row[hit], column[hit]
    places = np.column_stack([x_m[cells[1]], y_m[cells[0]]])
    mean, spread = _solve_exactly(engine, places, drift[cells], variance=maps[1] is not None)
    maps[0][cells] = mean
    if maps[1] is not None:
        maps[1][cells] = spread


def _nearest(axis_m: Floats, at_m: Floats) -> Ints:
    """Give the index of the nearest of evenly spaced coordinates."""
    step = (axis_m[-1] - axis_m[0]) / max(len(axis_m) - 1, 1) or 1.0
    index: Ints = np.clip(np.round((at_m - axis_m[0]) / step), 0, len(axis_m) - 1).astype(np.int64)
    return index
