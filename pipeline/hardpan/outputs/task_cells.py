"""Every cell of a task grid held against the ground it covers."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Floats
from hardpan.outputs.geodesy import degrees_per_metre, to_wgs84
from hardpan.outputs.isoxml_reader import ReadTask
from hardpan.spatial.polygons import edges_of, middles_of

_ROUNDED_M = 0.02
"""Rounding to 7 decimals of a degree moves a border by 11 mm at most, and a cell's edge by less."""

_MOST_CELLS = 100_000
"""Cells looked at in one go, so that memory does not grow with the grid."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongCell:
    """A cell that says what none of the ground it covers says."""

    longitude: float
    latitude: float
    found_mm: int
    right_mm: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """The plan as polygons and the segments of their borders, longitude and latitude."""

    shapes: np.ndarray
    levels_mm: np.ndarray
    """Depths of the plan and 0, rising."""
    level: np.ndarray
    """Place of each polygon's depth in `levels_mm`."""
    shut: np.ndarray
    """Whether each polygon is keep-out ground."""
    segments: shapely.STRtree
    owner: np.ndarray
    """Polygon of each segment."""
    outer: np.ndarray
    """Whether each segment is of the paddock's outline: no second polygon has it."""


def wrong_cell(task: ReadTask, zones: gpd.GeoDataFrame) -> WrongCell | None:
    """First cell with a wrong depth, None where all are right.

    Right is the depth of keep-out ground, 0, where a cell touches it; the zone's depth where it lies in one zone; and
    across a border the depth of any of the zones it touches, or 0 at the outline of the paddock.

    Parameters
    ----------
    task : ReadTask
        A grid of depths in mm.
    zones : GeoDataFrame
        The plan in the working CRS, a coverage: `kind`, `depth_mm`, polygons.
    """
    if task.cells is None:
        return None
    ground = _ground(zones)
    n_rows, n_cols = task.cells.shape
    step = max(1, _MOST_CELLS // n_cols)
    for first in range(0, n_rows, step):
        found = task.cells[first : first + step]
        middles = _middles(task, first, len(found), n_cols)
        right = _right(task, middles, ground)
        wrong = ~(right & (found.reshape(-1, 1) == ground.levels_mm)).any(axis=1)
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            return WrongCell(
                longitude=float(middles[at, 0]), latitude=float(middles[at, 1]), found_mm=int(found.ravel()[at]),
                right_mm=tuple(ground.levels_mm[right[at]].tolist()),
            )  # fmt: skip
    return None


def _ground(zones: gpd.GeoDataFrame) -> _Ground:
    shapes, _ = to_wgs84(zones.geometry.array, zones.crs)
    depth_mm = np.round(zones["depth_mm"].to_numpy(float)).astype(int)
    levels_mm = np.unique(np.append(depth_mm, 0))
    edges, owner = edges_of(shapes)
    _, which, times = np.unique(middles_of(edges), return_inverse=True, return_counts=True)
    return _Ground(
        shapes=shapes,
        levels_mm=levels_mm,
        level=np.searchsorted(levels_mm, depth_mm),
        shut=(zones["kind"] == "exclusion").to_numpy(),
        segments=shapely.STRtree(shapely.linestrings(edges)),
        owner=owner,
        outer=times[which] == 1,
    )


def _middles(task: ReadTask, first: int, n_rows: int, n_cols: int) -> Floats:
    """Longitude and latitude of the middles of some rows of cells, (n_rows * n_cols, 2)."""
    longitude = task.west + task.cell_lon * (np.arange(n_cols) + 0.5)
    latitude = task.south + task.cell_lat * (np.arange(first, first + n_rows) + 0.5)
    return np.column_stack([one.ravel() for one in np.meshgrid(longitude, latitude)])


def _right(task: ReadTask, middles: Floats, ground: _Ground) -> np.ndarray:
    """Whether each cell may have each of the depths, (n_cells, n_levels)."""
    out = np.zeros((len(middles), len(ground.levels_mm)), dtype=bool)
    shut, outside = np.zeros_like(out), np.ones(len(middles), dtype=bool)
    for shape, level, closed in zip(ground.shapes, ground.level, ground.shut, strict=True):
        shapely.prepare(shape)
        inside = shapely.contains_xy(shape, middles)
        out[inside, level] = True
        shut[inside, level] |= closed
        outside &= ~inside
    nothing = int(np.searchsorted(ground.levels_mm, 0))
    out[outside, nothing] = True
    cell, segment = _touched(task, middles, ground, _ROUNDED_M)
    out[cell, ground.level[ground.owner[segment]]] = True
    out[cell[ground.outer[segment]], nothing] = True
    cell, segment = _touched(task, middles, ground, -_ROUNDED_M)
    closed = ground.shut[ground.owner[segment]]
    shut[cell[closed], ground.level[ground.owner[segment[closed]]]] = True
    return np.where(shut.any(axis=1, keepdims=True), shut, out)


def _touched(task: ReadTask, middles: Floats, ground: _Ground, more_m: float) -> np.ndarray:
    """Cell and segment of each pair that touch, (2, n), cells made larger by `more_m` on each side."""
    per_metre = np.array(degrees_per_metre(float(middles[:, 1].mean())))
    half = np.array([task.cell_lon, task.cell_lat]) / 2 + more_m * per_metre
    cells = shapely.box(*(middles - half).T, *(middles + half).T)
    return np.asarray(ground.segments.query(cells, predicate="intersects"))
