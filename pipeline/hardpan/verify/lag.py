"""Lag at the borders of zones: from the border driven over to the middle of the change of depth."""

from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy.special import bdtr

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.units import KMH_PER_MS
from hardpan.records.applied import Lag

BEFORE_S, AFTER_S = 10.0, 20.0
"""A change of depth is looked for so long before and after a border."""
_LEAST_STEPS = 2.0
"""Depths of two zones closer than so many steps: noise of the sensor passes the middle between them by itself."""
_SHORT = 0.01
"""Share of intervals that are shorter than the shortest usual one."""
_PARTS = 40
"""Parts of an interval in which the border is looked for."""
LEAST_BORDERS = 3
"""Fewer borders tell no lag."""


def estimate_lag(
    records: pd.DataFrame,
    planned_at: Callable[[Floats], Floats],
    kept: Bools,
    *,
    speed_kmh: Floats,
    step_mm: float,
    level: float,
) -> Lag | None:
    """Median time from a border to the crossing of the middle between the two depths; None where too few are crossed.

    Parameters
    ----------
    records : DataFrame
        Columns `records.applied.LOG`.
    planned_at : callable
        Depth planned at points (n, 2); NaN where nothing is ripped.
    kept : (n,)
        Records in work, with a depth.
    speed_kmh : (n,)
        Speed of each record; NaN where unknown.

    Notes
    -----
    The interval is that of the median by order statistics, free of any distribution: the ranks k and n + 1 - k between
    which a binomial count of n at one half lies with at least the level.
    """
    time_s, depth_mm, stretch = (records[name].to_numpy(float) for name in ("time_s", "depth_mm", "stretch"))
    xy = records[["x_m", "y_m"]].to_numpy(float)
    planned_mm = planned_at(xy)
    there = kept & np.isfinite(planned_mm) & np.isfinite(time_s) & np.isfinite(depth_mm)
    joined = there[:-1] & there[1:] & (stretch[:-1] == stretch[1:])
    borders = np.flatnonzero(joined & (np.abs(np.diff(planned_mm)) >= _LEAST_STEPS * step_mm))
    passed = time_s[borders] + _passed(xy, borders, planned_mm, planned_at) * (time_s[borders + 1] - time_s[borders])
    steps_s = np.diff(time_s)[joined]
    shortest_s = float(np.quantile(steps_s[steps_s > 0], _SHORT)) if (steps_s > 0).any() else 0.0
    breaks = np.r_[-1, np.flatnonzero(~joined), len(records) - 1]
    found = []
    for at, start_s in zip(borders.tolist(), passed.tolist(), strict=True):
        place = int(np.searchsorted(breaks, at))
        run = slice(int(breaks[place - 1]) + 1, int(breaks[place]) + 1)
        lag = _crossing(time_s[run] - start_s, depth_mm[run], planned_mm[run], at - run.start, shortest_s)
        if lag is not None:
            found.append(lag)
    if len(found) < LEAST_BORDERS:
        return None
    ranked, n = np.sort(found), len(found)
    rank = int(np.searchsorted(bdtr(np.arange(n), n, 0.5), (1.0 - level) / 2.0))
    low, high = (ranked[rank - 1], ranked[n - rank]) if rank >= 1 else (np.nan, np.nan)
    median, moving_kmh = float(np.median(ranked)), speed_kmh[there & (speed_kmh > 0)]
    return Lag(
        seconds=median,
        low=float(low),
        high=float(high),
        metres=median * float(np.median(moving_kmh)) / KMH_PER_MS if moving_kmh.size else np.nan,
        level=level,
        borders=n,
    )


def _passed(xy: Floats, borders: Ints, planned_mm: Floats, planned_at: Callable[[Floats], Floats]) -> Floats:
    """Share of the way from each record before a border to the next at which the plan changes, (n_borders,)."""
    share = (np.arange(_PARTS) + 0.5) / _PARTS
    between = xy[borders, None] + share[:, None] * (xy[borders + 1] - xy[borders])[:, None]
    planned = planned_at(between.reshape(-1, 2)).reshape(len(borders), _PARTS)
    return np.asarray((planned == planned_mm[borders, None]).mean(axis=1))


def _crossing(since_s: Floats, depth_mm: Floats, planned_mm: Floats, border: int, shortest_s: float) -> float | None:
    """Time since a border, between record `border` and the next, at which the depth passes the middle of two zones.

    None where it does not. A logger that writes on change is silent until then: the change takes no more of a long
    interval than `shortest_s`, the shortest usual one, at its end.
    """
    one, other = planned_mm[border : border + 2]
    before, after = planned_mm[: border + 1][::-1], planned_mm[border + 1 :]
    # no further than where the plan changes again, on either side
    first = border - int(np.argmax(np.r_[before != one, True])) + 1
    last = border + int(np.argmax(np.r_[after != other, True]))
    middle = (one + other) / 2.0
    beyond = (depth_mm - middle) * np.sign(other - one) >= 0
    turns = np.flatnonzero(~beyond[first:last] & beyond[first + 1 : last + 1]) + first
    step_s = np.minimum(np.diff(since_s)[turns], shortest_s)
    share = (middle - depth_mm[turns]) / (depth_mm[turns + 1] - depth_mm[turns])
    at = since_s[turns + 1] - (1.0 - share) * step_s
    at = at[(at >= -BEFORE_S) & (at <= AFTER_S)]
    return float(at[np.argmin(np.abs(at))]) if at.size else None
