"""Distances to the borders of polygons, in time that hardly grows with their vertices."""

import numpy as np
import shapely

from hardpan.core.arrays import Floats


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
