"""What takes records out of an as-applied log: one rule after the other, each counted."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats
from hardpan.core.units import KMH_PER_MS
from hardpan.records.applied import AppliedSettings, LogRule

LEAST_ZEROS = 10


def clean_log(
    records: pd.DataFrame, paddock: shapely.Geometry, settings: AppliedSettings
) -> tuple[np.ndarray, pd.DataFrame]:
    """Rule that took each record, (n,), "" where it is kept; and a table `rule`, `records`, the kept ones last.

    Parameters
    ----------
    records : DataFrame
        Columns `records.applied.LOG`.
    paddock : Geometry
        Ground of the plan.
    """
    taken = np.full(len(records), "", dtype=object)
    for rule, hit in _rules(records, paddock, settings):
        taken[hit & (taken == "")] = rule
    counts = [(str(rule), int((taken == rule).sum())) for rule in LogRule]
    return taken, pd.DataFrame([*counts, ("", int((taken == "").sum()))], columns=["rule", "records"])


def _rules(
    records: pd.DataFrame, paddock: shapely.Geometry, settings: AppliedSettings
) -> Iterator[tuple[LogRule, Bools]]:
    x, y, depth_mm, working = (records[name].to_numpy(float) for name in ("x_m", "y_m", "depth_mm", "working"))
    fix = records["fix"].to_numpy(bool) & np.isfinite(x) & np.isfinite(y)
    speed = speed_kmh(records.assign(x_m=np.where(fix, x, np.nan), y_m=np.where(fix, y, np.nan)))
    yield LogRule.NO_FIX, ~fix
    jump = speed > settings.most_speed_kmh
    yield LogRule.JUMP, jump
    unknown = not_measured(records)
    tells = _tells(records, working)
    by_depth = (depth_mm <= np.where(tells, 0.0, settings.lifted_mm)) & ~unknown
    yield LogRule.LIFTED, by_depth | (tells & (working == 0))
    yield LogRule.TURNING, turning(records, fix & ~jump, settings)
    yield LogRule.STANDING, speed < settings.least_speed_kmh
    shapely.prepare(paddock)
    yield LogRule.OUTSIDE, ~shapely.intersects_xy(paddock, np.nan_to_num(x), np.nan_to_num(y))
    yield LogRule.NOT_MEASURED, unknown


def not_measured(records: pd.DataFrame) -> Bools:
    """Records of which nobody knows the depth: none was logged, or the sensor stands at zero, (n,).

    A log whose depth is zero throughout has no sensor. In another one, zero in work for `LEAST_ZEROS` records on end is
    a sensor that fell out; for fewer, tines on their way down.
    """
    depth_mm, working = records["depth_mm"].to_numpy(float), records["working"].to_numpy(float)
    known = depth_mm[np.isfinite(depth_mm)]
    if known.size and not known.any():
        return np.ones(len(records), dtype=bool)
    zero = (depth_mm == 0) & (working == 1) & _tells(records, working)
    run = pd.Series(zero).groupby(np.cumsum(np.diff(zero, prepend=False))).transform("size").to_numpy()
    return np.asarray(np.isnan(depth_mm) | (zero & (run >= LEAST_ZEROS)))


def _tells(records: pd.DataFrame, working: Floats) -> Bools:
    """Records whose work state is told: one that never changes says nothing where the depth does, (n,)."""
    seen = np.unique(working[np.isfinite(working)])
    depth_mm = records["depth_mm"].to_numpy(float)
    return np.asarray(np.isfinite(working) & ((seen.size > 1) | ~(np.nan_to_num(depth_mm) != 0).any()))


def speed_kmh(records: pd.DataFrame) -> Floats:
    """Speed from the record before to each, (n,); of the first of a stretch to the one after; NaN where unknown."""
    by = records.groupby("stretch", sort=False)
    step_m = np.hypot(by["x_m"].diff().to_numpy(float), by["y_m"].diff().to_numpy(float))
    step_s = by["time_s"].diff().to_numpy(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.where(step_s > 0, KMH_PER_MS * step_m / step_s, np.nan)
    known = pd.Series(speed).groupby(records["stretch"].to_numpy()).bfill(limit=1).to_numpy(float)
    logged = records["speed_kmh"].to_numpy(float)
    return np.where(np.isfinite(known), known, logged)


def turning(records: pd.DataFrame, known: Bools, settings: AppliedSettings) -> Bools:
    """Records at which the heading changes by more than `turn_deg` within `turn_m` of way, (n,)."""
    out = np.zeros(len(records), dtype=bool)
    x, y, stretch = (records[name].to_numpy() for name in ("x_m", "y_m", "stretch"))
    half = settings.turn_m / 2.0
    for one in np.unique(stretch[known]):
        at = np.flatnonzero(known & (stretch == one))
        way = np.r_[0.0, np.cumsum(np.hypot(np.diff(x[at]), np.diff(y[at])))]
        moved = np.r_[True, np.diff(way) > 0]
        if way[-1] < half:
            continue
        ways = [np.interp(way + shift, way[moved], axis[at][moved]) for shift in (-half, 0.0, half) for axis in (x, y)]
        before, after = (
            np.arctan2(ways[3] - ways[1], ways[2] - ways[0]),
            np.arctan2(ways[5] - ways[3], ways[4] - ways[2]),
        )
        change = np.abs((after - before + np.pi) % (2.0 * np.pi) - np.pi)
        inside = (way > 0) & (way < way[-1])  # the ends of a stretch have no heading before or after
        out[at] = inside & (np.rad2deg(change) > settings.turn_deg)
    return out
