"""The machine's log: what takes records out of it, and the ground it worked, on sample points of the plan's zones."""

from collections.abc import Iterator
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.units import KMH_PER_MS
from hardpan.records.applied import AppliedSettings, LogRule

LEAST_ZEROS = 10

MOST_POINTS = 200_000
"""Points of the grid; more change hectares by less than 0.1 %."""
TURN_RAD = 0.829
"""The golden angle less a right one: no pass runs along rows of points turned so far."""
_PER_WIDTH = 6.0
"""Points across a swath, where the ground is small enough."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swaths:
    """One rectangle between each record in work and the next."""

    shapes: np.ndarray
    """(n_swaths,) polygons."""
    depth_mm: Floats
    """Depth held from the first record on; NaN where it was not measured."""


def swaths_of(records: pd.DataFrame, working: Bools, known: Bools, depth_mm: Floats, width_m: Floats) -> Swaths:
    """Swaths from records in work to the next of the stretch: what a record says holds until then.

    Parameters
    ----------
    records : DataFrame
        Columns `records.applied.LOG`.
    working, known : (n,)
        Records in work, and those whose place is known.
    depth_mm, width_m : (n,)
        Of each record.
    """
    x, y, stretch = (records[name].to_numpy() for name in ("x_m", "y_m", "stretch"))
    at = np.flatnonzero(working[:-1] & known[1:] & (stretch[:-1] == stretch[1:]))
    east, north = x[at + 1] - x[at], y[at + 1] - y[at]
    length = np.hypot(east, north)
    at, east, north, length = (values[length > 0] for values in (at, east, north, length))
    side = np.column_stack([-north, east]) / length[:, None] * (width_m[at] / 2.0)[:, None]
    start, end = (np.column_stack([x[to], y[to]]) for to in (at, at + 1))
    rings = np.stack([start + side, end + side, end - side, start - side, start + side], axis=1)
    return Swaths(shapes=np.asarray(shapely.polygons(rings)), depth_mm=depth_mm[at])


def sample_points(
    zones: gpd.GeoDataFrame, width_m: float, most: int = MOST_POINTS, turn_rad: float = 0.0
) -> tuple[Floats, Ints, float]:
    """Even grid of points over the zones (n, 2), row of the zone of each (n,), and their distance, m.

    Parameters
    ----------
    width_m : float
        Width of a swath.
    most : int
        About the most points.
    turn_rad : float
        Angle of the grid: hectares are counted on one that runs along with no pass.
    """
    west, south, east, north = zones.total_bounds
    step = max(width_m / _PER_WIDTH, float(np.sqrt(zones.geometry.area.sum() / most)))
    half = np.array([east - west, north - south]) / 2.0
    if turn_rad:
        half = np.full(2, np.hypot(*half))
    x, y = np.meshgrid(*(np.arange(-reach + step / 2, reach, step) for reach in half))
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    middle = np.array([west + east, south + north]) / 2.0
    points = np.column_stack([cos * x.ravel() - sin * y.ravel(), sin * x.ravel() + cos * y.ravel()]) + middle
    owner = np.full(len(points), -1, dtype=np.int64)
    for row, shape in enumerate(zones.geometry):
        shapely.prepare(shape)
        owner[(owner < 0) & shapely.contains_xy(shape, points)] = row
    return points[owner >= 0], owner[owner >= 0], step


def deepest_at(points: Floats, swaths: Swaths) -> tuple[Bools, Floats]:
    """Whether each point was worked, and the deepest it was worked to, mm; NaN where that was not measured, (n,)."""
    worked, depth = np.zeros(len(points), dtype=bool), np.full(len(points), -np.inf)
    if len(swaths.shapes):
        at, by = shapely.STRtree(swaths.shapes).query(shapely.points(points), predicate="intersects")
        worked[at] = True
        np.maximum.at(depth, at, np.nan_to_num(swaths.depth_mm[by], nan=-np.inf))
    return worked, np.where(np.isfinite(depth), depth, np.nan)


def squares(points: Floats, step: float, crs: object) -> gpd.GeoSeries:
    """Squares of `step` around points of a grid, those in one row joined."""
    if not len(points):
        return gpd.GeoSeries([], crs=crs)
    order = np.lexsort((points[:, 0], points[:, 1]))
    x, y = points[order].T
    new = np.r_[True, (np.abs(np.diff(y)) > step / 2) | (np.diff(x) > 1.5 * step)]
    first, last = np.flatnonzero(new), np.r_[np.flatnonzero(new)[1:] - 1, len(x) - 1]
    half = step / 2.0
    return gpd.GeoSeries(shapely.box(x[first] - half, y[first] - half, x[last] + half, y[last] + half), crs=crs)
