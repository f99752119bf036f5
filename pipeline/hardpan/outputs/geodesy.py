"""Working coordinates to the WGS 84 longitude and latitude that displays read: the outputs' one door to pyproj."""

from functools import lru_cache

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.core.said import Said, distance
from hardpan.records.issues import Issue, Issues
from hardpan.records.survey import DatumMove
from hardpan.spatial.datum import Bounds, Move, plan_move
from hardpan.spatial.runs import way_of

DECIMALS = 7
"""Decimals of a degree kept: 1e-7 degree is 11 mm of latitude."""

WGS84 = "EPSG:4326"

_LINE_M = 100.0
"""Half the line whose ends tell its bearing: long against rounding, short against the change of grid north."""

_GOOD_M = 1.0
"""A stated accuracy worse than this is told to the user."""


def to_display(zones: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, DatumMove, Issues]:
    """Zones in WGS 84, rounded, still without gaps or overlaps, rings by the right-hand rule.

    Parameters
    ----------
    zones : GeoDataFrame
        A valid coverage of polygons in the working CRS.

    Raises
    ------
    InputError
        The ground lies across the antimeridian, or no operation better than a guess leads to WGS 84.
    """
    geometry, move = to_wgs84(zones.geometry.array, zones.crs)
    issues = _told(move)
    if not shapely.coverage_is_valid(geometry) or not shapely.is_valid(geometry).all():
        geometry = _mended(geometry)
        done = "borders were noded again on the rounded grid"
        issues += (
            Issue("outputs", "rounding-moved-borders", "rounding to 7 decimals of a degree disturbed borders", done),
        )
    shown = zones.set_geometry(gpd.GeoSeries(shapely.orient_polygons(geometry), index=zones.index), crs=WGS84)
    return shown, move, issues


def to_wgs84(geometry: np.ndarray, crs: pyproj.CRS) -> tuple[np.ndarray, DatumMove]:
    """Geometries in WGS 84 longitude and latitude rounded to `DECIMALS`, and how they were moved.

    Raises
    ------
    InputError
        They have no place there, lie across the antimeridian, or no operation better than a guess leads there.
    """
    crs, wgs84 = pyproj.CRS(crs), pyproj.CRS(WGS84)
    flat = shapely.force_2d(geometry)
    move = _move_from(crs, _whole_degrees(flat, crs))

    def move_points(points: Floats) -> Floats:
        x, y = move.points(points[:, 0], points[:, 1])
        return np.asarray(np.round(np.column_stack([x, y]), DECIMALS), dtype=np.float64)

    moved = shapely.transform(flat, move_points)
    bounds = shapely.total_bounds(moved)
    if not np.isfinite(bounds).all():
        raise InputError(what="coordinates have no place in WGS 84", where=crs.name, right="a CRS of this ground")
    if bounds[2] - bounds[0] > 180:
        raise InputError(
            what="the paddock lies across the antimeridian (180 degrees)", do="split it there and run each side"
        )
    return moved, move.said("(outputs)", crs, wgs84)


def _whole_degrees(geometry: np.ndarray, crs: pyproj.CRS) -> Bounds:
    """Bounds in whole degrees: the same for a paddock and its parts, but for one that lies across such a degree."""
    west, south, east, north = shapely.total_bounds(geometry)
    back = pyproj.Transformer.from_crs(crs, crs.geodetic_crs or crs, always_xy=True)
    lon, lat = back.transform([west, east, west, east], [south, south, north, north])
    if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
        raise InputError(what="coordinates have no place in WGS 84", where=crs.name, right="a CRS of this ground")
    edges = (np.floor(min(lon)), np.floor(min(lat)), np.ceil(max(lon)), np.ceil(max(lat)))
    return float(edges[0]), float(edges[1]), float(edges[2]), float(edges[3])


@lru_cache(maxsize=16)
def _move_from(crs: pyproj.CRS, bounds: Bounds) -> Move:
    return plan_move(crs, pyproj.CRS(WGS84), bounds, file="paddock.crs")


def degrees_per_metre(latitude: float) -> tuple[float, float]:
    """Degrees of longitude and of latitude in one metre on the WGS 84 ellipsoid at `latitude`."""
    geod = pyproj.Geod(ellps="WGS84")
    _, _, east = geod.inv(0.0, latitude, 0.01, latitude)
    _, _, north = geod.inv(0.0, latitude - 0.005, 0.0, latitude + 0.005)
    return 0.01 / east, 0.01 / north


def bearing_deg(heading_deg: float, place: shapely.Point, crs: pyproj.CRS) -> float:
    """Bearing of a line from true north, degrees from 0 to 180, of its heading from grid north at `place` in `crs`."""
    geodetic = crs.geodetic_crs or pyproj.CRS(WGS84)
    back = pyproj.Transformer.from_crs(crs, geodetic, always_xy=True)
    way = way_of(heading_deg)
    lon, lat = back.transform(
        *np.column_stack([(place.x, place.y) - _LINE_M * way, (place.x, place.y) + _LINE_M * way])
    )
    azimuth, _, _ = (geodetic.get_geod() or pyproj.Geod(ellps="WGS84")).inv(lon[0], lat[0], lon[1], lat[1])
    return float(azimuth % 180.0)


def _mended(geometry: np.ndarray) -> np.ndarray:
    """Node all borders on the rounding grid and give each face to the polygon its inner point lies in."""
    lines = shapely.union_all(shapely.boundary(geometry), grid_size=10.0**-DECIMALS)
    faces = shapely.get_parts(shapely.polygonize([lines]))
    tree = shapely.STRtree(geometry)
    face, owner = tree.query(shapely.point_on_surface(faces), predicate="intersects")
    first = np.unique(face, return_index=True)[1]
    owners, owned = owner[first], faces[face[first]]
    mended = np.array([shapely.coverage_union_all(owned[owners == one]) for one in range(len(geometry))])
    if shapely.is_empty(mended).any() or not shapely.coverage_is_valid(mended):
        raise InputError(what="the zones overlap or leave gaps", right="a coverage", do="raise zones.min_area_ha")
    return mended


def _told(move: DatumMove) -> Issues:
    accuracy = move.accuracy_m
    if accuracy is not None and accuracy <= _GOOD_M:
        return ()
    what = Said(
        "positions go from {source} to WGS 84 by {operation!r}, "
        + ("of unknown accuracy" if accuracy is None else "good to {accuracy}"),
        source=move.from_crs,
        operation=move.operation,
        accuracy=None if accuracy is None else distance(accuracy),
    )
    return (Issue("outputs", "datum-accuracy", what, "written as they are; check the first run against a known mark"),)
