"""Passes of the harvester, told from times and places."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints

_GAP = 5.0
"""Times the usual interval without a point that ends a pass."""

_LEAST_GAP_S = 10.0
"""A shorter gap ends none: a point or two may be missing."""

_TURN = 0.5
"""Cosine of 60 degrees: the least angle of a turn between the ways to a point and from it, over `_WAY` points each."""

_WAY = 3
"""Points: one step alone is mostly the error of the receiver."""


def number_passes(points: pd.DataFrame) -> Ints:
    """Pass of each point, (n,), 0, 1, 2 ... in the order of time; -1 where there is no time.

    A pass ends where nothing was logged for long, or where the harvester turns.
    """
    number = np.full(len(points), -1, dtype=np.int64)
    time_s = points["time_s"].to_numpy(dtype=float)
    known = np.flatnonzero(np.isfinite(time_s) & np.isfinite(points["x_m"].to_numpy(dtype=float)))
    if len(known) < 2 * _WAY:
        return number
    order = known[np.argsort(time_s[known], kind="stable")]
    step_s = np.diff(time_s[order])
    usual_s = float(np.median(step_s[step_s > 0])) if (step_s > 0).any() else 0.0
    run = np.cumsum(np.append(False, step_s > max(_GAP * usual_s, _LEAST_GAP_S)))
    turned = np.cumsum(_turns(points[["x_m", "y_m"]].to_numpy(dtype=float)[order], run))
    ends = (np.diff(run) > 0) | (np.diff(turned) > 0)
    number[order] = np.cumsum(np.append(False, ends))
    return number


def _turns(xy_m: Floats, run: Ints) -> Bools:
    """Points at which the way turns sharply, the first of each turn; `run` counts stretches logged without a gap."""
    turning = np.zeros(len(xy_m), dtype=bool)
    before, after = xy_m[_WAY:-_WAY] - xy_m[: -2 * _WAY], xy_m[2 * _WAY :] - xy_m[_WAY:-_WAY]
    length = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = np.einsum("ij,ij->i", before, after) / length
    turning[_WAY:-_WAY] = (cosine < _TURN) & (run[2 * _WAY :] == run[: -2 * _WAY])
    return np.asarray(turning & ~np.append(False, turning[:-1]))


def along_pass(points: pd.DataFrame, number: Ints) -> tuple[Floats, Floats]:
    """Seconds since the pass of each point began and until it ends, (n,) each; infinite where there is no pass."""
    since, until = np.full(len(points), np.inf), np.full(len(points), np.inf)
    known = number >= 0
    time_s = points["time_s"].to_numpy(dtype=float)
    grouped = pd.Series(time_s[known]).groupby(number[known])
    since[known] = time_s[known] - grouped.transform("min").to_numpy()
    until[known] = grouped.transform("max").to_numpy() - time_s[known]
    return since, until
