"""What takes points out of a harvest: one rule after the other, each counted, none looking at the treatment."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.units import KMH_PER_MS
from hardpan.records.trial import CleaningSettings, Rule
from hardpan.trials.passes import along_pass

_LEAST_NEIGHBOURS = 5
"""Fewer say nothing of what is usual at a place."""


def clean(
    points: pd.DataFrame, number: Ints, settings: CleaningSettings, *, had_value: Bools, everything: bool
) -> tuple[Bools, pd.DataFrame]:
    """Points that are kept, (n,), and how many each rule took.

    Parameters
    ----------
    points : DataFrame
        Columns `records.trial.POINT`.
    number : (n,) ints
        Pass of each point, -1 where there is no time.
    had_value : (n,) bools
        Points with a yield before the delay was taken out.
    everything : bool
        Every point that can be read is taken.

    Returns
    -------
    (n,) bools, and a table `rule`, `points` of the rules that could be applied, in their order
    """
    kept = np.isfinite(points[["x_m", "y_m", "value"]].to_numpy(dtype=float)).all(axis=1)
    late = ~kept & had_value & np.isfinite(points["x_m"].to_numpy(dtype=float))
    taken = {Rule.UNREADABLE: int((~kept & ~late).sum())} | ({Rule.DELAYED: int(late.sum())} if late.any() else {})
    if not everything:
        for rule, hit in _by_point(points, number, settings):
            taken[rule] = int((hit & kept).sum())
            kept &= ~hit
        # what is usual is judged by what is left
        for rule, judge in ((Rule.GLOBAL, _far_from_all), (Rule.LOCAL, _far_from_neighbours)):
            hit = np.zeros(len(points), dtype=bool)
            hit[kept] = judge(points[kept], settings)
            taken[rule] = int(hit.sum())
            kept &= ~hit
    return kept, pd.DataFrame({"rule": list(taken), "points": list(taken.values())})


def _by_point(points: pd.DataFrame, number: Ints, settings: CleaningSettings) -> Iterator[tuple[Rule, Bools]]:
    """Rules that judge a point by its own values, where the file has them."""
    value, speed, swath, moisture = (
        points[name].to_numpy(dtype=float) for name in ("value", "speed_ms", "swath_m", "moisture_pct")
    )
    yield Rule.NOT_ABOVE_ZERO, value <= 0
    if (number >= 0).any():
        since, until = along_pass(points, number)
        yield Rule.PASS_START, since < settings.start_s
        yield Rule.PASS_END, until < settings.end_s
    if np.isfinite(speed).any():
        kmh = speed * KMH_PER_MS
        yield Rule.SPEED, (kmh < settings.least_speed_kmh) | (kmh > settings.most_speed_kmh)
        if (number >= 0).any():
            yield Rule.SPEED_STEP, _speed_steps(points, number) > settings.speed_step
    if np.isfinite(swath).any():
        yield Rule.SWATH, swath < settings.swath_share * np.nanquantile(swath, 0.95)
    if np.isfinite(moisture).any():
        yield Rule.MOISTURE, (moisture < settings.least_moisture_pct) | (moisture > settings.most_moisture_pct)


def _speed_steps(points: pd.DataFrame, number: Ints) -> Floats:
    """Change of speed since the point before in the pass, share of the speed there, (n,); 0 for the first of a pass."""
    step = np.zeros(len(points))
    known = np.flatnonzero(number >= 0)
    order = known[np.argsort(points["time_s"].to_numpy(dtype=float)[known], kind="stable")]
    speed = points["speed_ms"].to_numpy(dtype=float)[order]
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.abs(np.diff(speed)) / speed[:-1]
    same = np.diff(number[order]) == 0
    step[order[1:]] = np.where(same & np.isfinite(change), change, 0.0)
    return step


def _far_from_all(points: pd.DataFrame, settings: CleaningSettings) -> Bools:
    value = points["value"].to_numpy(dtype=float)
    return (
        np.asarray(np.abs(value - value.mean()) > settings.global_sd * value.std()) if len(value) else np.zeros(0, bool)
    )


def _far_from_neighbours(points: pd.DataFrame, settings: CleaningSettings) -> Bools:
    """Points further from the mean of their neighbours than so many standard deviations of these."""
    value, xy = points["value"].to_numpy(dtype=float), points[["x_m", "y_m"]].to_numpy(dtype=float)
    if not len(value):
        return np.zeros(0, dtype=bool)
    tree = cKDTree(xy)
    near = tree.sparse_distance_matrix(tree, settings.neighbours_m, output_type="ndarray")
    near = near[near["i"] != near["j"]]
    count = np.bincount(near["i"], minlength=len(value))
    total, squares = (np.bincount(near["i"], value[near["j"]] ** power, minlength=len(value)) for power in (1, 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / count
        spread = np.sqrt(np.maximum(squares / count - mean**2, 0.0))
        far = np.abs(value - mean) > settings.local_sd * spread
    return np.asarray((count >= _LEAST_NEIGHBOURS) & (spread > 0) & far)
