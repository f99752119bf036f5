"""Cells of a grid: which a place lies in, and their exact areas inside a polygon; soil types of places."""

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.frame import Frame

_ROUNDING = 1e-9
"""Share of a cell that rounding leaves or takes: none is none, and all is all."""


def centres_inside(polygon: shapely.Geometry, frame: Frame) -> Bools:
    """Cells of a frame whose centre lies in a polygon in the frame's CRS, shape (n_rows, n_cols)."""
    shapely.prepare(polygon)
    x, y = np.meshgrid(frame.x_m, frame.y_m)
    inside: Bools = shapely.contains_xy(polygon, x.ravel(), y.ravel()).reshape(frame.shape)
    return inside


def cells_at(xy_m: Floats, frame: Frame) -> tuple[Ints, Ints]:
    """Row and column of the cells of places (n, 2), (n,) each; the nearest where they lie off the frame."""
    row = np.floor((frame.y_max_m - xy_m[:, 1]) / frame.cell_m).astype(np.int64).clip(0, frame.n_rows - 1)
    col = np.floor((xy_m[:, 0] - frame.x_min_m) / frame.cell_m).astype(np.int64).clip(0, frame.n_cols - 1)
    return row, col


def areas_in_cells(polygon: shapely.Geometry, frame: Frame) -> Floats:
    """Area of each cell of a frame inside a polygon in the frame's CRS, m2, shape (n_rows, n_cols)."""
    origin, step = (frame.x_min_m, frame.y_max_m), (frame.cell_m, frame.cell_m)
    return shares_in_cells(polygon, origin, step, frame.shape) * frame.cell_m**2


def shares_in_cells(
    polygon: shapely.Geometry, origin: tuple[float, float], step: tuple[float, float], shape: tuple[int, int]
) -> Floats:
    """Share of each cell's area inside a polygon, (n_rows, n_cols); 0 where none of it is, 1 where all is.

    Parameters
    ----------
    polygon : Polygon or MultiPolygon
        Valid, any coordinates; what lies off the grid is left out.
    origin : tuple of float
        West and north edge of the grid; row 0 is the northernmost.
    step : tuple of float
        Width and height of a cell, both positive.
    shape : tuple of int
        Rows, columns.

    Notes
    -----
    By Green's theorem. Rings are cut where they cross lines of the grid. A piece that falls by d in one row, at a mean
    distance a right of its cell's west side, adds d (1 - a) to that cell and d to every cell east of it, in cells; with
    the inside to the left of every ring (west sides fall, east sides rise) what lies outside adds up to nothing.
    """
    n_rows, n_cols = shape
    rings = shapely.get_rings(shapely.get_parts(shapely.orient_polygons(polygon)))
    places, ring = shapely.get_coordinates(rings, return_index=True)
    at = (places - origin) * np.array([1.0, -1.0]) / step
    along = ring[1:] == ring[:-1]
    start, end = _cut_at_lines(at[:-1][along], at[1:][along])
    middle, fall = (start + end) / 2.0, end[:, 1] - start[:, 1]
    row = np.floor(middle[:, 1]).astype(np.int64)
    on_grid = (row >= 0) & (row < n_rows)
    row, fall, east = row[on_grid], fall[on_grid], middle[on_grid, 0].clip(0, n_cols)
    column = np.floor(east).astype(np.int64)
    width = n_cols + 2  # a piece on the east edge adds to cells beyond it
    cell, size = row * width + column, n_rows * width
    steps = np.bincount(cell, weights=fall * (column + 1 - east), minlength=size)
    steps += np.bincount(cell + 1, weights=fall * (east - column), minlength=size)
    share = steps.reshape(-1, width).cumsum(axis=1)[:, :n_cols]
    share[share < _ROUNDING], share[share > 1.0 - _ROUNDING] = 0.0, 1.0
    return np.asarray(share)


def _cut_at_lines(start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Starts and ends of the pieces of segments, shape (n, 2) each, between whole numbers of either coordinate."""
    number, share = [np.arange(len(start))], [np.zeros(len(start))]
    for axis in (0, 1):
        low, high = np.minimum(start, end)[:, axis], np.maximum(start, end)[:, axis]
        first = np.floor(low).astype(np.int64) + 1
        count = (np.ceil(high).astype(np.int64) - first).clip(0)
        crossing = np.repeat(np.arange(len(start)), count)
        line = first[crossing] + np.arange(count.sum()) - np.repeat(count.cumsum() - count, count)
        number.append(crossing)
        share.append((line - start[crossing, axis]) / (end - start)[crossing, axis])
    segment, begin = np.concatenate(number), np.concatenate(share)
    order = np.lexsort((begin, segment))
    segment, begin = segment[order], begin[order]
    last = np.append(segment[1:] != segment[:-1], [True] * (len(segment) > 0))
    finish = np.where(last, 1.0, np.roll(begin, -1))
    origin, run = start[segment], (end - start)[segment]
    return origin + begin[:, None] * run, origin + finish[:, None] * run


def soils_at(xy: Floats, soils: gpd.GeoDataFrame, soil_types: tuple[str, ...]) -> Ints:
    """Position in `soil_types` of the soil type of each place (n, 2), of the nearest polygon where none covers it."""
    if soils.empty:
        return np.zeros(len(xy), dtype=np.int64)
    polygons = soils.sort_values("soil_type", kind="stable")
    code_of = np.array([soil_types.index(str(name)) for name in polygons["soil_type"]])
    shapes = polygons.geometry.to_numpy()
    codes = np.full(len(xy), -1)
    shapely.prepare(shapes)
    for code, shape in zip(code_of, shapes, strict=True):
        free = np.flatnonzero(codes < 0)
        codes[free[shapely.contains_xy(shape, xy[free, 0], xy[free, 1])]] = code
    free = np.flatnonzero(codes < 0)
    if len(free):
        codes[free] = code_of[shapely.STRtree(shapes).nearest(shapely.points(xy[free]))]
    return codes
