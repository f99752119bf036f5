"""Soil types of places."""

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Floats, Ints


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
