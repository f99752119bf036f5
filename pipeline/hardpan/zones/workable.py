"""Which ground may be zoned: the boundary less the exclusions, as exact areas of cells."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import InputError
from hardpan.records.frame import Frame
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Paddock
from hardpan.spatial.cells import areas_in_cells
from hardpan.spatial.regions import OUTSIDE, nearest_of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkableArea:
    """Ground to be zoned."""

    outline: shapely.Geometry
    """Boundary less the widened exclusions, working CRS."""
    excluded: gpd.GeoDataFrame
    """Columns `name`, `geometry`: exclusions widened by half the implement and the positioning error."""
    cell_ha: Floats
    """(n_rows, n_cols): area of each cell inside `outline`, scaled so that the paddock has its geodesic area."""
    source: Ints
    """(n_rows, n_cols): flat index of the nearest cell inside the boundary; an edge cell takes its values there."""
    soil: Ints
    """(n_rows, n_cols): soil code of every cell that has ground, -1 elsewhere."""


def workable_area(paddock: Paddock, surfaces: Surfaces, margin_m: float) -> WorkableArea:
    """Ground of a paddock whose exclusions are kept clear by `margin_m` more than their own buffer.

    Raises
    ------
    InputError
        As `outline_of`.
    """
    outline, excluded = outline_of(paddock, surfaces.frame, margin_m)
    boundary_m2 = float(shapely.area(paddock.boundary.to_numpy()).sum())
    cell_ha = areas_in_cells(outline, surfaces.frame) * paddock.area_ha / boundary_m2
    source = nearest_of(surfaces.inside)
    soil = surfaces.maps["soil"].to_numpy().ravel()[source].astype(np.int64)
    return WorkableArea(
        outline=outline,
        excluded=excluded,
        cell_ha=cell_ha,
        source=source,
        soil=np.where(cell_ha > 0, soil, OUTSIDE),
    )


def outline_of(paddock: Paddock, frame: Frame, margin_m: float) -> tuple[shapely.Geometry, gpd.GeoDataFrame]:
    """Boundary less the exclusions kept clear by `margin_m`, and the widened exclusions (`name`, `geometry`).

    Raises
    ------
    InputError
        Exclusions leave no ground, or less than a cell.
    """
    boundary = shapely.union_all(paddock.boundary.to_numpy())
    excluded = _widened(paddock.exclusions, boundary, margin_m)
    outline = shapely.difference(boundary, shapely.union_all(excluded.geometry.to_numpy()))
    left_m2 = float(shapely.area(outline))
    if left_m2 < min(frame.cell_m**2, float(shapely.area(boundary))):
        left = f"leave {left_m2:.0f} m2 of the paddock" if left_m2 >= 1.0 else "cover the whole paddock"
        kept = f", kept clear by {margin_m:g} m," if left_m2 >= 1.0 else ""
        raise InputError(what=f"exclusions{kept} {left}", where=paddock.name, do="check buffer_m and zones.gps_error_m")
    return outline, excluded


def _widened(exclusions: gpd.GeoDataFrame, boundary: shapely.Geometry, margin_m: float) -> gpd.GeoDataFrame:
    names, shapes = [], []
    taken: shapely.Geometry = shapely.Polygon()
    for name, shape in zip(exclusions["name"], exclusions.geometry, strict=True):
        wide = shapely.intersection(shapely.buffer(shape, margin_m, quad_segs=4), boundary)
        wide = _polygonal(shapely.difference(wide, taken))
        if not wide.is_empty:
            names.append(str(name))
            shapes.append(wide)
            taken = shapely.union(taken, wide)
    return gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=exclusions.crs)


def _polygonal(shape: shapely.Geometry) -> shapely.Geometry:
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])
