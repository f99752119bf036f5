"""Zones as a table, with hectares and run lengths, and as a grid of their numbers."""

import geopandas as gpd
import numpy as np
import pyproj
import rasterio.features
import shapely

from hardpan.core.arrays import Floats, Ints
from hardpan.records.surfaces import Surfaces
from hardpan.spatial.geodesy import hectares
from hardpan.spatial.regions import OUTSIDE, spread

HEADINGS_DEG = np.arange(0.0, 180.0, 1.0)
"""Headings tried; a degree changes the mean run by far less than the operator's choice of line does."""


def zone_table(
    shapes: list[shapely.Geometry],
    soils: list[str],
    excluded: gpd.GeoDataFrame,
    crs: pyproj.CRS,
    *,
    wiggle_m: float,
    heading_deg: float | None = None,
) -> gpd.GeoDataFrame:
    """Columns of `Zones.table`: ground first, then exclusions, numbered from 1.

    Wiggles of a border of less than `wiggle_m` make no runs of their own; runs follow `heading_deg` where it is given.
    """
    shapes = [*shapes, *excluded.geometry]
    runs = [
        best_run(shape, wiggle_m, HEADINGS_DEG if heading_deg is None else np.array([heading_deg % 180.0]))
        for shape in shapes
    ]
    return gpd.GeoDataFrame(
        {
            "zone": np.arange(1, len(shapes) + 1),
            "kind": ["ground"] * len(soils) + ["exclusion"] * len(excluded),
            "soil_type": [*soils, *excluded["name"]],
            "area_ha": hectares(np.array(shapes, dtype=object), crs),
            "length_m": [length for length, _ in runs],
            "heading_deg": [heading for _, heading in runs],
        },
        geometry=shapes,
        crs=crs,
    )[["zone", "kind", "soil_type", "area_ha", "geometry", "length_m", "heading_deg"]]


def best_run(shape: shapely.Geometry, wiggle_m: float, headings_deg: Floats = HEADINGS_DEG) -> tuple[float, float]:
    """Mean run length (m) along the best heading, and that heading (degrees, grid north, 0 to 180).

    Parallel runs over a shape of area A number, summed over their offsets, half the sum of its edges' extents across
    the heading; so the mean run is A / (1/2 sum |edge x heading|), also with holes and several parts (Cauchy). Wiggles
    of less than `wiggle_m`, the steps of a grid's cells among them, make no runs of their own and are taken off first.
    """
    plain = shapely.simplify(shape, wiggle_m)
    plain = plain if plain.is_valid and plain.area > 0 else shape
    heading = np.deg2rad(headings_deg)
    across = np.stack([np.cos(heading), -np.sin(heading)])
    breadth_m = np.zeros(heading.size)
    for ring in shapely.get_rings(shapely.get_parts(plain)):
        breadth_m += np.abs(np.diff(shapely.get_coordinates(ring), axis=0) @ across).sum(axis=0) / 2.0
    best = int(np.argmin(np.round(breadth_m, 6)))
    return float(plain.area / breadth_m[best]), float(headings_deg[best])


def zone_labels(table: gpd.GeoDataFrame, surfaces: Surfaces) -> Ints:
    """Zone at each cell's centre, 0 outside the boundary."""
    burnt = rasterio.features.rasterize(
        zip(table.geometry, table["zone"], strict=True),
        out_shape=surfaces.frame.shape,
        transform=surfaces.frame.affine,
        dtype="int32",
    ).astype(np.int64)
    return np.where(surfaces.inside, spread(np.where(burnt == 0, OUTSIDE, burnt)), 0)
