"""Working coordinates to the WGS 84 longitude and latitude that displays read: the outputs' one door to pyproj."""

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.core.said import Said, distance
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.survey import DatumMove

DECIMALS = 7
"""Decimals of a degree kept: 1e-7 degree is 11 mm of latitude."""

WGS84 = "EPSG:4326"

_CURRENT = {"Geocentric Datum of Australia 1994": "EPSG:7844"}
"""Datum to the one of the same country that follows the frame satellites work in; the registry's own way to WGS 84
is "no change" for both, which would put one field in two places 1.5 to 1.8 m apart."""

_TAKEN_M = 3.0
"""What the registry says of taking that newer datum as WGS 84 (any of its realisations), as the survey says of its own
moves; the shift from the older to the newer is itself good to a centimetre."""

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
        issues += (_issue("rounding-moved-borders", "rounding to 7 decimals of a degree disturbed borders", done),)
    shown = zones.set_geometry(gpd.GeoSeries(shapely.orient_polygons(geometry), index=zones.index), crs=WGS84)
    return shown, move, issues


def to_wgs84(geometry: np.ndarray, crs: pyproj.CRS) -> tuple[np.ndarray, DatumMove]:
    """Geometries in WGS 84 longitude and latitude rounded to `DECIMALS`, and how they were moved."""
    crs = pyproj.CRS(crs)
    datum = crs.geodetic_crs.datum.name if crs.geodetic_crs is not None and crs.geodetic_crs.datum else ""
    target = _CURRENT.get(datum, WGS84)
    transformer = pyproj.Transformer.from_crs(crs, target, always_xy=True)

    def move_points(points: Floats) -> Floats:
        x, y = transformer.transform(points[:, 0], points[:, 1])
        return np.round(np.column_stack([x, y]), DECIMALS)

    moved = shapely.transform(shapely.force_2d(geometry), move_points)
    bounds = shapely.total_bounds(moved)
    if not np.isfinite(bounds).all():
        raise InputError(what=f"coordinates have no place in {target}", where=crs.name, right="a CRS of this ground")
    if bounds[2] - bounds[0] > 180:
        raise InputError(
            what="the paddock lies across the antimeridian (180 degrees)", do="split it there and run each side"
        )
    operation = transformer.get_last_used_operation()
    if "ballpark" in operation.description.lower():
        raise InputError(
            what=f"only a guess leads from {crs.name} to {target}", do="set paddock.crs to a CRS with a known datum"
        )
    known = operation.accuracy if operation.accuracy >= 0 else None
    taken = target != WGS84
    return moved, DatumMove(
        file="(outputs)",
        from_crs=crs.to_string(),
        to_crs=WGS84,
        operation=operation.description + (", GDA2020 taken as WGS 84" if taken else ""),
        accuracy_m=known if known is None or not taken else max(known, _TAKEN_M),
    )


def degrees_per_metre(latitude: float) -> tuple[float, float]:
    """Degrees of longitude and of latitude in one metre on the WGS 84 ellipsoid at `latitude`."""
    geod = pyproj.Geod(ellps="WGS84")
    _, _, east = geod.inv(0.0, latitude, 0.01, latitude)
    _, _, north = geod.inv(0.0, latitude - 0.005, 0.0, latitude + 0.005)
    return 0.01 / east, 0.01 / north


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
    return (_issue("datum-accuracy", what, "written as they are; check the first run against a known mark"),)


def _issue(code: str, what: str, done: str) -> Issue:
    return Issue(outcome=Outcome.WARN, stage="outputs", code=code, what=what, done=done)
