"""How late grain reaches the sensor: estimated from each file, for it differs by machine and flow."""

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hardpan.core.arrays import Floats, Ints

DELAYS_S = np.arange(-5.0, 26.0)
"""Delays that are tried."""

_NEIGHBOURS = 8
"""Nearest points of other passes that a point is held against."""

_LEAST_FALL = 0.05
"""Share by which the roughness has to fall for a delay to be believed: less is chance."""

_APART_S = 2.0
"""Most that the delays of the first and the second half of the passes may differ by."""

_LEAST_POINTS = 400
"""Fewer points, or fewer than four passes, tell no delay."""


def estimate_delay(points: pd.DataFrame, number: Ints) -> float:
    """Delay, s, at which neighbouring passes agree best; 0 where it cannot be told.

    Passes driven in opposite directions shift a map against itself: the map is smoothest where every yield stands
    where it grew.
    """
    known = np.flatnonzero((number >= 0) & np.isfinite(points["value"].to_numpy(dtype=float)))
    passes = np.unique(number[known])
    if len(known) < _LEAST_POINTS or len(passes) < 4:
        return 0.0
    one, other = _other_passes(points[["x_m", "y_m"]].to_numpy(dtype=float)[known], number[known])
    late = number[known][one] > np.median(passes)
    rough: list[list[float]] = []
    for delay_s in DELAYS_S:
        value = shifted(points, number, delay_s)[known]
        apart = (value[one] - value[other]) ** 2
        rough.append([_middle(part) for part in (apart, apart[late], apart[~late])])
    roughness = np.array(rough)
    whole, *halves = DELAYS_S[np.argmin(roughness, axis=0)]
    fell = roughness[:, 0].min() < (1.0 - _LEAST_FALL) * roughness[DELAYS_S == 0, 0][0]
    return float(whole) if fell and abs(halves[0] - halves[1]) <= _APART_S else 0.0


def shifted(points: pd.DataFrame, number: Ints, delay_s: float) -> Floats:
    """Yield of each point once the delay is taken out, (n,); NaN where its grain came after the end of the pass."""
    value, time_s = (points[name].to_numpy(dtype=float) for name in ("value", "time_s"))
    moved = np.where(number >= 0, np.nan, value)
    for one in np.unique(number[number >= 0]):
        at = np.flatnonzero((number == one) & np.isfinite(value))
        order = at[np.argsort(time_s[at], kind="stable")]
        wanted = np.flatnonzero(number == one)
        if len(order):
            moved[wanted] = np.interp(time_s[wanted] + delay_s, time_s[order], value[order], left=np.nan, right=np.nan)
    return moved


def _middle(apart: Floats) -> float:
    """Median of squared differences, infinite where there is none."""
    return float(np.nanmedian(apart)) if np.isfinite(apart).any() else np.inf


def _other_passes(xy_m: Floats, number: Ints) -> tuple[Ints, Ints]:
    """Pairs of points near one another that belong to different passes."""
    near = min(4 * _NEIGHBOURS, len(xy_m))
    at = cKDTree(xy_m).query(xy_m, k=near)[1]
    differs = number[at] != number[:, None]
    kept = differs & (np.cumsum(differs, axis=1) <= _NEIGHBOURS)
    return np.repeat(np.arange(len(xy_m)), near)[kept.ravel()], at[kept]
