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
from hardpan.spatial.runs import way_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """Ground kept clear beside exclusions, beyond their own buffer."""

    margin_m: float
    """On all sides: half the implement and the positioning error."""
    lift_m: float = 0.0
    """More beside what is buried: driven while the tines rise."""
    heading_deg: float | None = None
    """Way of travel along which they rise, clockwise from grid north; None: it is not known, so on all sides."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkableArea:
    """Ground to be zoned."""

    outline: shapely.Geometry
    """Boundary less the widened exclusions, working CRS."""
    excluded: gpd.GeoDataFrame
    """Columns `name`, `geometry`: exclusions widened as `Clearance` asks."""
    cell_ha: Floats
    """(n_rows, n_cols): area of each cell inside `outline`, scaled so that the paddock has its geodesic area."""
    source: Ints
    """(n_rows, n_cols): flat index of the nearest cell inside the boundary; an edge cell takes its values there."""
    soil: Ints
    """(n_rows, n_cols): soil code of every cell that has ground, -1 elsewhere."""


def workable_area(paddock: Paddock, surfaces: Surfaces, clearance: Clearance) -> WorkableArea:
    """Ground of a paddock whose exclusions are kept clear.

    Raises
    ------
    InputError
        As `outline_of`.
    """
    outline, excluded = outline_of(paddock, surfaces.frame, clearance)
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


def outline_of(paddock: Paddock, frame: Frame, clearance: Clearance) -> tuple[shapely.Geometry, gpd.GeoDataFrame]:
    """Boundary less the exclusions kept clear, and the widened exclusions (`name`, `geometry`).

    Raises
    ------
    InputError
        Exclusions leave no ground, or less than a cell.
    """
    boundary = paddock.ground
    excluded = _widened(paddock.exclusions, boundary, clearance)
    outline = shapely.difference(boundary, shapely.union_all(excluded.geometry.to_numpy()))
    left_m2 = float(shapely.area(outline))
    if left_m2 < min(frame.cell_m**2, float(shapely.area(boundary))):
        left = f"leave {left_m2:.0f} m2 of the paddock" if left_m2 >= 1.0 else "cover the whole paddock"
        far_m = clearance.margin_m + (clearance.lift_m if paddock.exclusions["buried"].any() else 0.0)
        kept = f", kept clear by {far_m:.3g} m," if far_m > 0 else ""
        do = "check buffer_m and kind of the exclusions, zones.heading_deg and zones.gps_error_m"
        raise InputError(what=f"exclusions{kept} {left}", where=paddock.name, do=do)
    return outline, excluded


def _widened(exclusions: gpd.GeoDataFrame, boundary: shapely.Geometry, clearance: Clearance) -> gpd.GeoDataFrame:
    names, shapes = [], []
    taken: shapely.Geometry = shapely.Polygon()
    for name, buried, shape in zip(exclusions["name"], exclusions["buried"], exclusions.geometry, strict=True):
        wide = shapely.intersection(_kept_clear(shape, clearance, buried=buried), boundary)
        wide = _polygonal(shapely.difference(wide, taken))
        if not wide.is_empty:
            names.append(str(name))
            shapes.append(wide)
            taken = shapely.union(taken, wide)
    return gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=exclusions.crs)


def _kept_clear(shape: shapely.Geometry, clearance: Clearance, *, buried: bool) -> shapely.Geometry:
    """Ground that the middle of the implement stays off with its tines down."""
    lift_m = clearance.lift_m if buried else 0.0
    if clearance.heading_deg is None:
        return shapely.buffer(shape, clearance.margin_m + lift_m, quad_segs=4)
    return _swept(shapely.buffer(shape, clearance.margin_m, quad_segs=4), lift_m, clearance.heading_deg)


def _swept(shape: shapely.Geometry, distance_m: float, heading_deg: float) -> shapely.Geometry:
    """What a shape covers when it is moved by up to `distance_m` either way along a heading."""
    if distance_m == 0:
        return shape
    way = distance_m * way_of(heading_deg)
    swept = [shape]
    for ring in shapely.get_rings(shapely.get_parts(shape)):
        xy = shapely.get_coordinates(ring)
        swept += [*shapely.polygons(np.stack([xy[:-1] - way, xy[1:] - way, xy[1:] + way, xy[:-1] + way], axis=1))]
    return shapely.union_all(shapely.make_valid(swept))


def _polygonal(shape: shapely.Geometry) -> shapely.Geometry:
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])
