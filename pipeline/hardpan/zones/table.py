"""Zones as a table, with hectares and run lengths, and as a grid of their numbers."""

import geopandas as gpd
import numpy as np
import pyproj
import rasterio.features
import shapely

from hardpan.core.arrays import Ints
from hardpan.records.surfaces import Surfaces
from hardpan.spatial.polygons import hectares
from hardpan.spatial.regions import OUTSIDE, spread
from hardpan.spatial.runs import driven_columns


def zone_table(
    shapes: list[shapely.Geometry],
    soils: list[str],
    excluded: gpd.GeoDataFrame,
    crs: pyproj.CRS,
    *,
    inner: shapely.Geometry,
    width_m: float,
    cell_m: float,
    heading_deg: float | None = None,
) -> gpd.GeoDataFrame:
    """Columns of `Zones.table`: ground first, then exclusions, numbered from 1; driven as `drive_over`."""
    shapes = [*shapes, *excluded.geometry]
    area_ha = hectares(np.array(shapes, dtype=object), crs)
    return gpd.GeoDataFrame(
        {
            "zone": np.arange(1, len(shapes) + 1),
            "kind": ["ground"] * len(soils) + ["exclusion"] * len(excluded),
            "soil_type": [*soils, *excluded["name"]],
            "area_ha": area_ha,
            **driven_columns(shapes, area_ha, inner, width_m=width_m, cell_m=cell_m, heading_deg=heading_deg),
        },
        geometry=shapes,
        crs=crs,
    )[["zone", "kind", "soil_type", "area_ha", "geometry", "length_m", "heading_deg", "headland_ha"]]


def zone_labels(table: gpd.GeoDataFrame, surfaces: Surfaces) -> Ints:
    """Zone at each cell's centre, 0 outside the boundary."""
    burnt = rasterio.features.rasterize(
        zip(table.geometry, table["zone"], strict=True),
        out_shape=surfaces.frame.shape,
        transform=surfaces.frame.affine,
        dtype="int32",
    ).astype(np.int64)
    return np.where(surfaces.inside, spread(np.where(burnt == 0, OUTSIDE, burnt)), 0)
