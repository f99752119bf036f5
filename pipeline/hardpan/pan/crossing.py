"""Where resistance crosses the threshold and how well that is known, its peak, and the excess and shape between."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.pan.readings import Readings
from hardpan.records.pan import Peak, Seen

_ROUNDS = 4
"""Fits of the line; after three it moves by less than a millimetre on every shape of tests/pan/test_bias.py."""

_WINDOW_MM, _WINDOW_STEPS = 40.0, 1.05
"""Reach of the line. At 25 mm steps 40 mm is the shortest that takes in two readings on each side: a longer one rounds
off the pan's corners (4 mm of bias on a flank of 20 mm), a shorter one lets single readings rule the depth. Where steps
are wide the pan changes more from one reading to the next than their error, and the two beside the crossing decide."""

_STEP_SHARE = 1.0 / 8.0
"""Error of a straight line between two readings as a share of their distance: a flank that is steeper than the step
can be anywhere in it. Found on the shapes of tests/pan/test_bias.py, where it brings the scores to unit spread."""

_LIKELY = 1.96
"""Half width of a 95 % interval of a normal error, in standard deviations."""

SHAPE_STEPS = 20
"""Steps of the excess shape: 10 mm of a pan 200 mm thick, finer than any usual reading step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """One crossing an insertion, mm, shape (insertion,); NaN where none was asked for."""

    mm: Floats
    sd_mm: Floats
    low_mm: Floats
    """The readings on both sides and the 95 % interval of the error lie between low and high."""
    high_mm: Floats


def locate_crossings(
    readings: Readings,
    start_mm: Floats,
    above: Ints,
    wanted: Bools,
    *,
    drift_mm: Floats,
    rising: bool,
    threshold_kpa: float,
    noise_share: float,
) -> Crossings:
    """Depths at which resistance crosses the threshold between the samples `above` and `above` + 1.

    Between point readings a line through all readings nearby decides. Between the means of two layers the depth can
    be anywhere in either: the interval holds both layers, the error is that of a triangular distribution over them.
    Next to a reading at the device's limit it can be anywhere in the step, next to one that was held anywhere since
    the value was last measured. The standard error of a site's mean moves the crossing by itself over the slope.

    Parameters
    ----------
    readings : Readings
        Packed readings.
    start_mm : Floats
        Crossing of the straight line between the two samples, shape (insertion,).
    above : Ints
        Sample above the crossing, shape (insertion,).
    wanted : Bools
        Insertions with a crossing, shape (insertion,).
    drift_mm : Floats
        Farthest the crossing may be from `start_mm`, shape (insertion,), so that top and bottom stay in order.
    rising : bool
        Resistance rises through the threshold (a top), else it falls (a bottom).
    threshold_kpa : float
        The threshold.
    noise_share : float
        Standard deviation of a reading as a share of its value.
    """
    row = np.flatnonzero(wanted)
    near = readings.rows(row)
    depth, thickness, at_least = near.depth_mm, near.thickness_mm, near.at_least
    at, upper = np.arange(len(row)), above[row]
    step = depth[at, upper + 1] - depth[at, upper]
    start = start_mm[row]
    free = np.where(at_least, np.nan, near.cone_index_kpa)
    window = np.maximum(_WINDOW_MM, _WINDOW_STEPS * step)
    noise = noise_share * threshold_kpa
    fitted, error, of_mean = fit_crossing(
        depth, free, start, drift_mm=drift_mm[row], rising=rising, threshold_kpa=threshold_kpa, window_mm=window,
        se=near.se_kpa,
    )  # fmt: skip

    low = depth[at, upper] - thickness[at, upper] / 2.0
    high = depth[at, upper + 1] + thickness[at, upper + 1] / 2.0
    layered = thickness[at, upper] > 0
    held, bounded = near.held[at, upper], at_least[at, upper] | at_least[at, upper + 1]
    low = np.where(held, depth[at, near.run_at[at, upper]], low)
    best = np.select([held, layered | bounded], [(low + high) / 2.0, start], fitted)
    sd = np.select(
        [held, layered, bounded],
        [(high - low) / np.sqrt(12.0), (high - low) / np.sqrt(24.0), step / np.sqrt(12.0)],
        np.hypot(noise * error, _STEP_SHARE * step),
    )
    sd = np.where(of_mean > 0, np.hypot(sd, of_mean), sd)
    reach = np.where(held | layered | bounded, 0.0, _LIKELY * sd)
    spread = np.full((4, len(start_mm)), np.nan)
    spread[:, row] = best, sd, np.minimum(low, best - reach), np.maximum(high, best + reach)
    return Crossings(mm=spread[0], sd_mm=spread[1], low_mm=spread[2], high_mm=spread[3])


def fit_crossing(
    depth_mm: Floats,
    cone_index_kpa: Floats,
    start_mm: Floats,
    *,
    drift_mm: Floats,
    rising: bool,
    threshold_kpa: float,
    window_mm: Floats,
    se: Floats,
) -> tuple[Floats, Floats, Floats]:
    r"""Threshold crossing of a line through the readings near `start_mm`, and its errors.

    Parameters
    ----------
    depth_mm, cone_index_kpa : Floats
        Shape (n, sample); NaN is left out.
    start_mm : Floats
        First guess, shape (n,).
    drift_mm : Floats
        Farthest a crossing may be from the first guess, shape (n,); never farther than `window_mm`.
    rising : bool
        Sign of the slope; a line the other way has not found this crossing.
    threshold_kpa : float
        The threshold.
    window_mm : Floats
        Distance at which a reading's weight has fallen to zero, shape (n,).
    se : Floats
        Standard errors of readings that are means of a site (kPa), shape (n, sample); NaN where none is stated.

    Returns
    -------
    tuple of Floats
        Depth (mm); the standard deviation of that depth for an error of 1 kPa of its own in each reading without a
        standard error (mm/kPa); and the one that the standard errors bring (mm); each of shape (n,). Where the readings
        nearby give no such line that crosses within reach, the first guess, and the window over the threshold.

    Notes
    -----
    Weighted least squares :math:`C = a + b (z - z_k)` with weights :math:`w = 1 - |z - z_k| / h`, and
    :math:`z_{k+1} = z_k + (C_0 - a)/b`. Two readings alone would carry their whole error into the depth, and the
    first or last of several crossings would make every pan too thick. Means of a site are off alike at neighbouring
    depths, for they are of the same insertions: their errors add up in the line, those of single readings in squares.
    """
    depth, value, se = _nearby(depth_mm, start_mm, window_mm, values=(cone_index_kpa, se))
    mean = se > 0
    crossing, error = start_mm.copy(), window_mm / threshold_kpa
    of_mean = se.max(axis=1, initial=0.0) * error
    reach = np.minimum(drift_mm, window_mm)
    with np.errstate(divide="ignore", invalid="ignore"):
        for _ in range(_ROUNDS):
            offset = depth - crossing[:, None]
            weight = np.maximum(1.0 - np.abs(offset) / window_mm[:, None], 0.0)
            offset = np.where(weight > 0, offset, 0.0)
            share = weight / weight.sum(axis=1, keepdims=True)
            centre, level = (share * offset).sum(axis=1), (share * value).sum(axis=1)
            lever = share * (offset - centre[:, None])
            lever = lever / (lever * offset).sum(axis=1, keepdims=True)
            slope = (lever * value).sum(axis=1)
            move = centre + (threshold_kpa - level) / slope
            gain = share + lever * (move - centre)[:, None]
            good = (np.abs(crossing + move - start_mm) <= reach) & ((slope > 0) == rising)
            error = np.where(good, np.sqrt(np.where(mean, 0.0, gain**2).sum(axis=1)) / np.abs(slope), error)
            of_mean = np.where(good, np.abs((gain * se).sum(axis=1) / slope), of_mean)
            crossing = np.where(good, crossing + move, crossing)
    return crossing, error, of_mean


def _nearby(
    depth: Floats, start_mm: Floats, window_mm: Floats, *, values: tuple[Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Depths that any round can reach, as few columns as hold them, infinite where unread, with what was read there."""
    reached = np.abs(depth - start_mm[:, None]) <= 2.0 * window_mm[:, None]
    width = int(reached.sum(axis=1).max(initial=1))
    columns = reached.argmax(axis=1)[:, None] + np.arange(width)
    padded = [np.pad(array, ((0, 0), (0, width)), constant_values=np.nan) for array in (depth, *values)]
    near_depth, near_value, near_se = (np.take_along_axis(array, columns, axis=1) for array in padded)
    return np.where(np.isnan(near_value), np.inf, near_depth), np.nan_to_num(near_value), np.nan_to_num(near_se)


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
