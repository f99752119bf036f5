"""Distances to the borders of polygons, in time that hardly grows with their vertices, and borders they share."""

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from hardpan.core.arrays import Floats, Ints


def distances_to_borders(points: np.ndarray, polygons: np.ndarray) -> Floats:
    """Distance of each point to the nearest border of any polygon, in the unit of their coordinates, shape (n,).

    Parameters
    ----------
    points : (n,) array of Point
        Where to measure from, inside or outside.
    polygons : array of Polygon or MultiPolygon
        At least one, none empty.
    """
    rings = shapely.get_rings(shapely.get_parts(polygons))
    places, ring = shapely.get_coordinates(rings, return_index=True)
    along = ring[1:] == ring[:-1]
    edges = shapely.linestrings(np.stack([places[:-1][along], places[1:][along]], axis=1))
    nearest = shapely.STRtree(edges).nearest(points)
    return np.asarray(shapely.distance(points, edges[nearest]), dtype=np.float64)


def side_by_side(polygons: np.ndarray) -> tuple[Ints, Ints]:
    """Places of polygons that share a border, the lower place first; shapes (n_pairs,).

    Parameters
    ----------
    polygons : (n,) array of Polygon or MultiPolygon
        A coverage; those that meet in points only do not share a border.
    """
    one, other = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    one, other = one[one < other], other[one < other]
    shared_m = shapely.length(shapely.intersection(shapely.boundary(polygons[one]), shapely.boundary(polygons[other])))
    return one[shared_m > 0], other[shared_m > 0]


def groups_side_by_side(polygons: np.ndarray, kind: Ints) -> Ints:
    """Group of each polygon: those of one `kind` (n,) that share a border, directly or through others of it; (n,)."""
    one, other = side_by_side(polygons)
    alike = kind[one] == kind[other]
    edges = (np.ones(int(alike.sum())), (one[alike], other[alike]))
    _, group = connected_components(coo_array(edges, shape=(len(polygons), len(polygons))), directed=False)
    return np.asarray(group, dtype=np.int64)
