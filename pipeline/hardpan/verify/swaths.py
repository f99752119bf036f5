"""Ground that was worked: swaths between records, seen on a grid of sample points of the plan's zones."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats, Ints

MOST_POINTS = 200_000
"""Points of the grid; more change hectares by less than 0.1 %."""
TURN_RAD = 0.829
"""The golden angle less a right one: no pass runs along rows of points turned so far."""
_PER_WIDTH = 6.0
"""Points across a swath, where the ground is small enough."""


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
