"""Strength of the pan: peak, resistance in excess of the threshold, and its shape between top and bottom."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.pan.readings import Readings
from hardpan.records.pan import Peak, Seen

SHAPE_STEPS = 20
"""Steps of the excess shape: 10 mm of a pan 200 mm thick, finer than any usual reading step."""


def find_peak(readings: Readings, top_at: Ints, bottom_at: Ints) -> tuple[Floats, Floats, Floats]:
    """Highest reading of the pan (kPa), its depth (mm) and standard error (kPa), shape (insertion,); NaN without a pan.

    `top_at` and `bottom_at` are the first and last hard sample, shape (insertion,), -1 without a pan.
    """
    depth, value = readings.depth_mm, readings.cone_index_kpa
    row, pan = np.arange(len(depth)), top_at >= 0
    at = np.where(_between(value, top_at, bottom_at), value, -np.inf).argmax(axis=1)
    highest, deep, se = (np.where(pan, of[row, at], np.nan) for of in (value, depth, readings.se_kpa))
    return highest, deep, se


def find_hardest(readings: Readings, from_mm: float, to_mm: float) -> tuple[Floats, Floats]:
    """Highest reading between two depths and its standard error (kPa), shape (insertion,); NaN where unread."""
    inside = (readings.depth_mm >= from_mm) & (readings.depth_mm <= to_mm)
    row, at = np.arange(len(inside)), np.where(inside, readings.cone_index_kpa, -np.inf).argmax(axis=1)
    read = inside[row, at]
    return np.where(read, readings.cone_index_kpa[row, at], np.nan), np.where(read, readings.se_kpa[row, at], np.nan)


def judge_peak(readings: Readings, pan: pd.DataFrame) -> np.ndarray:
    """What is known of each pan's highest reading, a `Peak`, shape (insertion,); `pan` of `verdict.choose_pan`."""
    stopped = np.isin(pan["seen"], [Seen.REFUSAL, Seen.LIMIT])
    within = _between(readings.depth_mm, pan["top_at"].to_numpy(), pan["bottom_at"].to_numpy())
    bound = np.any(within & (readings.at_least | readings.held), axis=1)
    return np.select([pan["top_at"] < 0, stopped | bound], [Peak.ABSENT, Peak.CENSORED], Peak.OBSERVED).astype(object)


def integrate_excess(readings: Readings, top_at: Ints, bottom_at: Ints, threshold_kpa: float) -> Floats:
    r"""Resistance above the threshold, integrated over the pan's depth, kPa mm; NaN without a pan.

    Parameters
    ----------
    readings : Readings
        Packed readings.
    top_at, bottom_at : Ints
        First and last hard sample of the pan, shape (insertion,); -1 without a pan.
    threshold_kpa : float
        The threshold.

    Notes
    -----
    :math:`\int \max(C(z) - C_0, 0)\,dz` with C straight between point readings and constant within a layer.
    """
    depth, thickness = readings.depth_mm, readings.thickness_mm
    over = readings.cone_index_kpa - threshold_kpa
    upper, lower = over[:, :-1], over[:, 1:]
    high, low = np.maximum(upper, lower), np.minimum(upper, lower)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossed = np.maximum(high, 0.0) ** 2 / (2.0 * (high - low))
    line = np.where(low >= 0, (upper + lower) / 2.0, crossed) * np.diff(depth, axis=1)
    # The lines from the last soft reading to the first hard one, and from the last hard one down, belong to the pan.
    line = np.where(_between(line, top_at - 1, bottom_at) & (thickness[:, 1:] == 0), line, 0.0)
    block = np.where(_between(over, top_at, bottom_at), np.maximum(over, 0.0) * thickness, 0.0)
    return np.where(top_at >= 0, np.nansum(line, axis=1) + np.nansum(block, axis=1), np.nan)


def mean_shape(readings: Readings, top_mm: pd.Series, bottom_mm: pd.Series, threshold_kpa: float) -> Floats:
    """Mean excess resistance against relative depth, shape (SHAPE_STEPS,), summing to 1.

    Every pan with an observed bottom weighs the same. Where none was seen to its bottom, pans count as far down as they
    were read: the soil below the hardest layer is softer than it, though still above a low threshold. Flat without any.
    """
    seen = (bottom_mm - top_mm).to_numpy() > 0
    end = np.where(seen.any(), bottom_mm.to_numpy(), np.nanmax(readings.depth_mm, axis=1, initial=-np.inf))
    thick = end - top_mm.to_numpy()
    use = thick > 0
    depth, value, top = readings.depth_mm[use], readings.cone_index_kpa[use], top_mm.to_numpy()[use]
    share = (np.arange(SHAPE_STEPS) + 0.5) / SHAPE_STEPS
    columns = [_read_at(depth, value, top + step * thick[use]) for step in share]
    shape = np.maximum(np.stack(columns, axis=1) - threshold_kpa, 0.0)
    total = shape.sum(axis=1, keepdims=True)
    strong = total[:, 0] > 0
    if not strong.any():
        return np.full(SHAPE_STEPS, 1.0 / SHAPE_STEPS)
    mean: Floats = (shape[strong] / total[strong]).mean(axis=0)
    return mean


def _between(values: Floats, first: Ints, last: Ints) -> Bools:
    """Samples of each row from `first` to `last`; none where `last` is negative."""
    sample = np.arange(values.shape[1])
    inside: Bools = (sample >= first[:, None]) & (sample <= last[:, None])
    return inside


def _read_at(depth: Floats, value: Floats, at_mm: Floats) -> Floats:
    """Value of each row's straight-line profile at its own depth; the nearest reading beyond its ends."""
    row = np.arange(len(depth))
    last = np.isfinite(depth).sum(axis=1) - 1
    above = np.clip((depth <= at_mm[:, None]).sum(axis=1) - 1, 0, last)
    below = np.minimum(above + 1, last)
    gap = depth[row, below] - depth[row, above]
    share = np.clip((at_mm - depth[row, above]) / np.where(gap > 0, gap, np.inf), 0.0, 1.0)
    read: Floats = value[row, above] + share * (value[row, below] - value[row, above])
    return read
