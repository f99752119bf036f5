"""Strength of the pan: peak, resistance in excess of the threshold, and its shape between top and bottom."""

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints

SHAPE_STEPS = 20


def find_peak(depth_mm: Floats, cone_index_kpa: Floats, within: Bools) -> tuple[Floats, Floats]:
    """Give the highest reading within the pan and its depth, shape (insertion,); NaN without a pan."""
    value = np.where(within, cone_index_kpa, -np.inf)
    at = value.argmax(axis=1)[:, None]
    peak = np.take_along_axis(value, at, axis=1)[:, 0]
    depth = np.take_along_axis(depth_mm, at, axis=1)[:, 0]
    return np.where(np.isfinite(peak), peak, np.nan), np.where(np.isfinite(peak), depth, np.nan)


def integrate_excess(
    depth_mm: Floats,
    thickness_mm: Floats,
    cone_index_kpa: Floats,
    *,
    top_at: Ints,
    bottom_at: Ints,
    threshold_kpa: float,
) -> Floats:
    r"""Give the resistance above the threshold, integrated over the pan's depth, kPa mm; NaN without a pan.

    Parameters
    ----------
    depth_mm, thickness_mm, cone_index_kpa : Floats
        Packed readings, shape (insertion, sample).
    top_at, bottom_at : Ints
        First and last hard sample of the pan, shape (insertion,); -1 without a pan.
    threshold_kpa : float
        The threshold.

    Notes
    -----
    :math:`\int \max(C(z) - C_0, 0)\,dz` with C straight between point readings, and constant within a layer.
    """
    over = cone_index_kpa - threshold_kpa
    a, b = over[:, :-1], over[:, 1:]
    both, neither = (a >= 0) & (b >= 0), (a <= 0) & (b <= 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.maximum(a, b) ** 2 / (2.0 * np.abs(a - b))
    segment = np.where(both, (a + b) / 2.0, np.where(neither, 0.0, part)) * np.diff(depth_mm, axis=1)
    sample = np.arange(segment.shape[1])
    lines = (sample >= top_at[:, None] - 1) & (sample <= bottom_at[:, None]) & (thickness_mm[:, 1:] == 0.0)
    blocks = (_samples(over) >= top_at[:, None]) & (_samples(over) <= bottom_at[:, None])
    total = np.nansum(np.where(lines, segment, 0.0), axis=1)
    total += np.nansum(np.where(blocks, np.maximum(over, 0.0) * thickness_mm, 0.0), axis=1)
    return np.where(top_at >= 0, total, np.nan)


def mean_shape(
    depth_mm: Floats, cone_index_kpa: Floats, top_mm: Floats, bottom_mm: Floats, threshold_kpa: float
) -> Floats:
    """Give the mean excess resistance against relative depth, shape (SHAPE_STEPS,), summing to 1.

    Every observed pan weighs the same. Without one the shape is flat.
    """
    use = np.isfinite(top_mm) & np.isfinite(bottom_mm) & (bottom_mm > top_mm)
    depth, value = depth_mm[use], cone_index_kpa[use]
    shape = np.empty((int(use.sum()), SHAPE_STEPS))
    for step in range(SHAPE_STEPS):
        share = (step + 0.5) / SHAPE_STEPS
        at = top_mm[use] + share * (bottom_mm[use] - top_mm[use])
        shape[:, step] = np.maximum(_read_at(depth, value, at) - threshold_kpa, 0.0)
    total = shape.sum(axis=1, keepdims=True)
    shape = shape[total[:, 0] > 0] / total[total[:, 0] > 0]
    return shape.mean(axis=0) if len(shape) else np.full(SHAPE_STEPS, 1.0 / SHAPE_STEPS)


def _samples(values: Floats) -> Ints:
    return np.arange(values.shape[1])


def _read_at(depth: Floats, value: Floats, at_mm: Floats) -> Floats:
    """Value of each row's straight-line profile at its own depth, the nearest reading beyond its ends."""
    last = np.maximum(np.isfinite(depth).sum(axis=1) - 1, 0)
    above = np.clip((depth <= at_mm[:, None]).sum(axis=1) - 1, 0, last)
    below = np.minimum(above + 1, last)
    row = np.arange(len(depth))
    gap = depth[row, below] - depth[row, above]
    share = np.where(gap > 0, np.clip((at_mm - depth[row, above]) / np.where(gap > 0, gap, 1.0), 0.0, 1.0), 0.0)
    read: Floats = value[row, above] + share * (value[row, below] - value[row, above])
    return read
