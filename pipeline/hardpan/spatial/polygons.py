"""Areas of polygons on the ellipsoid, the one place where they become hectares; their borders and those they share."""

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import InputError
from hardpan.core.units import M2_PER_HA

WGS84 = pyproj.Geod(ellps="WGS84")
"""The ellipsoid of longitudes and latitudes as displays read them."""


def geodesic_ha(polygons: np.ndarray, ellipsoid: pyproj.Geod = WGS84) -> Floats:
    """Areas of polygons in longitude and latitude on an ellipsoid, edges geodesic, ha; shape (n,).

    The direction of a ring, which whoever wrote it chose, gives its area a sign. Here every shell counts and every hole
    is taken away, whichever way they run.

    Parameters
    ----------
    polygons : (n,) array of Polygon or MultiPolygon
        Degrees, valid, none missing.
    ellipsoid : pyproj.Geod
        The one that the degrees are on.
    """
    parts, polygon = shapely.get_parts(np.asarray(polygons, dtype=object), return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    ring_m2 = [abs(ellipsoid.polygon_area_perimeter(*shapely.get_coordinates(ring).T)[0]) for ring in rings]
    shell = np.diff(part, prepend=-1) > 0  # the first ring of each part
    signed_m2 = np.where(shell, ring_m2, np.negative(ring_m2))
    return np.bincount(polygon[part], weights=signed_m2, minlength=len(polygons)) / M2_PER_HA


def hectares(polygons: np.ndarray, crs: pyproj.CRS) -> Floats:
    """Areas of polygons in `crs` on the ellipsoid of its own datum, ha; shape (n,).

    Raises
    ------
    InputError
        The CRS has no ellipsoid.
    """
    geodetic = crs.geodetic_crs
    ellipsoid = None if geodetic is None else geodetic.get_geod()
    if geodetic is None or ellipsoid is None:
        raise InputError(what=f"CRS {crs.name!r} has no ellipsoid", where="paddock.crs", right="a usual datum")
    back = pyproj.Transformer.from_crs(crs, geodetic, always_xy=True)
    flat = shapely.force_2d(np.asarray(polygons, dtype=object))
    return geodesic_ha(shapely.transform(flat, back.transform, interleaved=False), ellipsoid)


def edges_of(polygons: np.ndarray) -> tuple[Floats, Ints]:
    """Ends of the edges of all rings of polygons (n_edges, 2, 2), and the polygon of each."""
    parts, polygon = shapely.get_parts(polygons, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    places, ring = shapely.get_coordinates(rings, return_index=True)
    along = ring[1:] == ring[:-1]
    return np.stack([places[:-1][along], places[1:][along]], axis=1), polygon[part[ring[1:][along]]]


def middles_of(edges: Floats) -> NDArray[np.complex128]:
    """Middles of edges (n, 2, 2) as single numbers, (n,): that of an edge whichever way it runs, and of no other."""
    return as_numbers(edges.mean(axis=1))


def as_numbers(places: Floats) -> NDArray[np.complex128]:
    """Places (n, 2) as single numbers, (n,), which are equal where both coordinates are."""
    return np.asarray(places[:, 0] + 1j * places[:, 1])


def first_holding(xy: Floats, polygons: np.ndarray) -> Ints:
    """Place of the polygon that holds each point (n, 2), the first of those that share a border; -1 for none, (n,)."""
    point, polygon = shapely.STRtree(polygons).query(shapely.points(xy), predicate="intersects")
    found = np.full(len(xy), len(polygons), dtype=np.int64)
    np.minimum.at(found, point, polygon)
    return np.where(found < len(polygons), found, -1)


def distances_to_borders(points: np.ndarray, polygons: np.ndarray, reach: float | None = None) -> Floats:
    """Distance of each point to the nearest border of any polygon, in the unit of their coordinates, shape (n,).

    Parameters
    ----------
    points : (n,) array of Point
        Where to measure from, inside or outside.
    polygons : array of Polygon or MultiPolygon
        At least one, none empty.
    reach : float, positive
        What is told of points that are farther from every border; None: their distance.
    """
    tree = shapely.STRtree(shapely.linestrings(edges_of(polygons)[0]))
    (near, _), away = tree.query_nearest(points, max_distance=reach, return_distance=True, all_matches=False)
    distance = np.full(len(points), np.nan if reach is None else reach)
    distance[near] = away
    return distance


def side_by_side(polygons: np.ndarray) -> tuple[Ints, Ints]:
    """Places of polygons that share an edge, the lower place first; shapes (n_pairs,).

    Parameters
    ----------
    polygons : (n,) array of Polygon or MultiPolygon
        A coverage; those that meet in points only do not share an edge.
    """
    edges, polygon = edges_of(polygons)
    middles = middles_of(edges)
    order = np.argsort(middles, kind="stable")
    same = middles[order[1:]] == middles[order[:-1]]
    pairs = np.stack([polygon[order[:-1][same]], polygon[order[1:][same]]])
    one, other = np.unique(np.sort(pairs, axis=0), axis=1)
    return one, other


def groups_side_by_side(polygons: np.ndarray, kind: Ints) -> Ints:
    """Group of each polygon: those of one `kind` (n,) that share a border, directly or through others of it; (n,)."""
    one, other = side_by_side(polygons)
    alike = kind[one] == kind[other]
    edges = (np.ones(int(alike.sum())), (one[alike], other[alike]))
    _, group = connected_components(coo_array(edges, shape=(len(polygons), len(polygons))), directed=False)
    return np.asarray(group, dtype=np.int64)
