"""The soil under the tines: how deep they may go, the section they loosen, and the share of the pan broken in it."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Floats

GRID_STEP_MM = 10.0
"""Step of the depth grid on which cumulated excess is kept: linear between, far below the error of any pan edge."""


def depth_grid_mm(deepest_mm: float) -> Floats:
    """Depths 0, 10, 20 ... mm down to at least one step below `deepest_mm`, shape (n_grid,)."""
    return np.arange(0.0, deepest_mm + 2 * GRID_STEP_MM, GRID_STEP_MM)


def ridge_mm(foot_mm: Floats | float, spacing_mm: Floats | float, side_deg: Floats | float) -> Floats:
    """Height of the ridge left midway between tines, mm: (X - w) / 2 tan t, never below 0.

    >>> float(ridge_mm(60.0, 600.0, 45.0).round(6))
    270.0
    """
    half_gap = np.maximum(0.0, np.asarray(spacing_mm, dtype=float) - foot_mm) / 2.0
    return np.asarray(half_gap * np.tan(np.radians(side_deg)))


def loosened_to_mm(off_mm: Floats, *, depth_mm: float, foot_mm: float, side_deg: float, critical_mm: float) -> Floats:
    """Depth down to which a tine loosens the soil at a distance `off_mm` from its middle, mm, never above the surface.

    The foot's width down to the foot; beside it up to a side that rises from there, or from the critical depth where
    that is shallower.

    >>> loosened_to_mm(
    ...     np.array([0.0, 30.0, 130.0, 900.0]), depth_mm=400.0, foot_mm=60.0, side_deg=45.0, critical_mm=380.0
    ... ).round(6).tolist()
    [400.0, 400.0, 280.0, 0.0]
    """
    beside = np.maximum(off_mm - foot_mm / 2.0, 0.0)
    slope = np.tan(np.radians(side_deg))
    return np.where(beside > 0.0, np.clip(min(depth_mm, critical_mm) - beside * slope, 0.0, None), depth_mm)


def section_share(
    at_mm: Floats,
    *,
    depth_mm: Floats | float,
    foot_mm: Floats | float,
    ridge_mm: Floats | float,
    spacing_mm: Floats | float,
    critical_mm: Floats | float,
) -> Floats:
    """Share of the width between tines that is loosened at the depths `at_mm`.

    The width that `loosened_to_mm` leaves loose: a trapezoid of the foot's width at the bottom, opening upward until
    neighbours meet `ridge_mm` higher; between the critical depth and the foot only the slot.

    >>> section_share(
    ...     np.array([100.0, 300.0, 390.0, 410.0]),
    ...     depth_mm=400.0, foot_mm=60.0, ridge_mm=200.0, spacing_mm=600.0, critical_mm=380.0,
    ... ).round(2).tolist()
    [1.0, 0.46, 0.1, 0.0]
    """
    slot = np.minimum(1.0, np.asarray(foot_mm, dtype=float) / spacing_mm)
    corner = np.minimum(depth_mm, critical_mm)
    opening = np.clip((corner - at_mm) / np.maximum(ridge_mm, 1e-9), 0.0, 1.0)
    return np.asarray(np.where(at_mm < depth_mm, slot + (1.0 - slot) * opening, 0.0))


def clay_ceiling_mm(clay_mm: Floats | float, margin_mm: float) -> Floats:
    """Deepest working depth that stays `margin_mm` above clay, mm; never above the surface, infinite without clay.

    >>> clay_ceiling_mm(np.array([400.0, 30.0, np.inf]), 50.0).tolist()
    [350.0, 0.0, inf]
    """
    return np.maximum(np.asarray(clay_mm, dtype=float) - margin_mm, 0.0)


def clay_chance(clay_mm: NDArray[np.float32], depth_mm: Floats) -> Floats:
    """Share of draws in which clay begins above each depth, (n_nodes, n_options); `clay_mm` is (n_draws, n_nodes).

    >>> clay_chance(np.array([[400.0], [500.0]], dtype=np.float32), np.array([0.0, 400.0, 450.0, 525.0])).tolist()
    [[0.0, 0.0, 0.5, 1.0]]
    """
    depths, which = np.unique(depth_mm, return_inverse=True)
    return np.stack([(clay_mm < np.float32(depth)).mean(axis=0) for depth in depths], axis=1)[:, which]


def full_width_depth_mm(depth_mm: Floats, critical_mm: Floats, ridge: Floats) -> Floats:
    """Depth down to which the whole width between tines is loosened, mm, never above the surface.

    >>> full_width_depth_mm(np.array([400.0, 500.0]), np.array([450.0, 450.0]), np.array([270.0, 270.0])).tolist()
    [130.0, 180.0]
    """
    return np.maximum(0.0, np.minimum(depth_mm, critical_mm) - ridge)


def cumulated_excess(
    top_mm: NDArray[np.float32], bottom_mm: NDArray[np.float32], shape: Floats, grid_mm: Floats
) -> NDArray[np.float32]:
    """Share of the pan's excess resistance that lies above each depth of the grid.

    Parameters
    ----------
    top_mm, bottom_mm : array of shape (...)
        Pan edges.
    shape : array of shape (n_steps,)
        Excess at equal steps between top and bottom (`PanFeatures.excess_shape`); a sum of 0 or NaN reads as uniform.
    grid_mm : array of shape (n_grid,)

    Returns
    -------
    array of shape (..., n_grid), rising from 0 to 1.
    """
    steps = np.nan_to_num(np.clip(np.asarray(shape, dtype=np.float32), 0.0, None))
    if steps.size == 0 or steps.sum() <= 0:
        steps = np.ones(1, dtype=np.float32)
    steps = steps / steps.sum()
    above = np.concatenate([[0.0], np.cumsum(steps)]).astype(np.float32)
    steps = np.append(steps, np.float32(0.0))
    last, grid = np.float32(steps.size - 1), grid_mm.astype(np.float32)
    thickness = np.maximum(bottom_mm - top_mm, np.float32(1.0))
    # most of the grid lies above all the pans or below them, where nothing is looked up
    within = slice(*np.searchsorted(grid, [top_mm.min(initial=np.inf), (top_mm + thickness).max(initial=0.0) + 1.0]))
    excess = np.empty((*top_mm.shape, grid.size), dtype=np.float32)
    excess[..., : within.start], excess[..., within.stop :] = 0.0, above[-1]
    # in the order of the result, whatever that of the edges: a quarter less time
    place: NDArray[np.float32] = np.subtract(grid[within], top_mm[..., None], order="C")
    place *= (last / thickness)[..., None]
    np.clip(place, 0.0, last, out=place)
    step = place.astype(np.intp)
    place -= np.floor(place)
    place *= steps.take(step, mode="clip")
    np.add(place, above.take(step, mode="clip"), out=excess[..., within])
    return excess


def breaking_weights(grid_mm: Floats, section: Mapping[str, Floats]) -> Floats:
    """Matrix that turns cumulated excess into the share broken: `cumulated_excess(...) @ weights`.

    Parameters
    ----------
    grid_mm : array of shape (n_grid,)
    section : arrays of shape (n_options,)
        `depth_mm`, `foot_mm`, `ridge_mm`, `spacing_mm`, `critical_mm`.

    Returns
    -------
    array of shape (n_grid, n_options)

    Notes
    -----
    With F(z) the cumulated excess, a = w / X the slot's share, c the upper of working and critical depth and h the
    ridge, integrating the excess times `section_share` by parts gives
    L = a F(d) + (1 - a) / h * (integral of F from c - h to c).
    F is linear between grid depths, so both terms are linear in its grid values; the matrix holds their weights.
    """
    depth, ridge = section["depth_mm"], np.maximum(section["ridge_mm"], 1e-6)
    slot = np.minimum(1.0, section["foot_mm"] / section["spacing_mm"])
    corner = np.minimum(depth, section["critical_mm"])
    mean = (_hat_integrals(grid_mm, corner) - _hat_integrals(grid_mm, corner - ridge)) / ridge
    return np.asarray(slot * _hats(grid_mm, depth) + (1.0 - slot) * mean)


def share_by_step(grid_mm: Floats, section: Mapping[str, Floats]) -> Floats:
    """Share of the width that is loosened at two points of each step of the grid, (n_grid - 1, 2, n_options)."""
    quarters = grid_mm[:-1, None] + GRID_STEP_MM * np.array([0.25, 0.75])
    return section_share(
        quarters[:, :, None],
        depth_mm=section["depth_mm"],
        foot_mm=section["foot_mm"],
        ridge_mm=section["ridge_mm"],
        spacing_mm=section["spacing_mm"],
        critical_mm=section["critical_mm"],
    )


def step_weights(value: Floats) -> Floats:
    """Matrix that turns cumulated excess into the sum over steps of it times `value` (n_grid - 1, n_options)."""
    none = np.zeros((1, value.shape[1]))
    return np.asarray(np.concatenate([none, value]) - np.concatenate([value, none]))


def _hats(grid_mm: Floats, at_mm: Floats) -> Floats:
    """Weights of linear interpolation at `at_mm`, shape (n_grid, n)."""
    return np.clip(1.0 - np.abs(at_mm - grid_mm[:, None]) / GRID_STEP_MM, 0.0, 1.0)


def _hat_integrals(grid_mm: Floats, to_mm: Floats) -> Floats:
    """Integral of each grid depth's hat function from the surface up to `to_mm`, shape (n_grid, n)."""
    along = np.clip((to_mm - grid_mm[:, None]) / GRID_STEP_MM + 1.0, 0.0, 2.0)
    rising, falling = np.minimum(along, 1.0), np.maximum(along - 1.0, 0.0)
    return np.asarray(GRID_STEP_MM * (rising**2 / 2.0 + falling - falling**2 / 2.0))
