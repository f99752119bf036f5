"""What lies in a paddock: a soil map with the faults of drawn maps, exclusions, cores and covariates."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from whole.shapes import within

SOILS = ("deep sand", "loamy sand", "sand over clay", "gravelly sand", "sandy loam", "loam", "clay")
OTHER_SPELLINGS = (
    "Pale_Deep Sand",
    "sandplain",
    "SANDY DUPLEX",
    "ironstone gravel",
    "sandy earth",
    "Silt Loam",
    "heavy clay",
)
OWN_LABELS = ("S1", "S2", "D1", "G1", "L1", "L2", "C1")
"""Codes of a map that soil.mapping explains."""
UNKNOWN = ("Qa", "Qb", "Td", "Te", "Xx", "Yy", "Zz")
LABELS = {"shipped": SOILS, "other spellings": OTHER_SPELLINGS, "mapped": OWN_LABELS, "unknown": UNKNOWN}
SLIVER_M = 1.5


def soil_map(recipe, boundary: shapely.Geometry, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Polygons `soil_type`, `clay_depth_mm` in the plane, with the recipe's fault."""
    reach_m = 0.2 * boundary.length
    west, south, east, north = boundary.buffer(50.0).bounds
    seeds = shapely.MultiPoint(rng.uniform((west, south), (east, north), (recipe.soils, 2)))
    around = shapely.box(west, south, east, north).buffer(reach_m)
    cells = np.array([shapely.box(*around.bounds)])
    if recipe.soils > 1:
        cells = shapely.get_parts(shapely.voronoi_polygons(seeds, extend_to=around))
        cells = shapely.intersection(cells, shapely.box(west, south, east, north))
    names = rng.permutation(len(SOILS))[: len(cells)]
    clay = np.where(rng.random(len(cells)) < 0.5, rng.uniform(300.0, 900.0, len(cells)).round(), np.nan)
    table = gpd.GeoDataFrame(
        {"soil_type": [LABELS[recipe.soil_labels][at] for at in names], "clay_depth_mm": clay}, geometry=[*cells]
    )
    if not recipe.clay_depths:
        table = table.drop(columns="clay_depth_mm")
    return _faulty(table, recipe.soil_fault, boundary)


def _faulty(table: gpd.GeoDataFrame, fault: str, boundary: shapely.Geometry) -> gpd.GeoDataFrame:
    if fault == "slivers":
        table = table.set_geometry(table.geometry.buffer(-SLIVER_M / 2))
    if fault == "overlaps":
        table = table.set_geometry(table.geometry.buffer(2 * SLIVER_M))
    met = table.index[table.geometry.intersection(boundary).area > 0]
    if fault == "gap" and len(met) > 1:
        table = table.drop(index=met[-1])
    if fault == "beyond":
        table = table.set_geometry(table.geometry.intersection(boundary.buffer(-3.0)))
    kept = table[~table.geometry.is_empty & table.geometry.intersects(boundary)]
    return kept.reset_index(drop=True)


def exclusions(recipe, boundary: shapely.Geometry, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Keep-out ground `name`, `kind`, `buffer_m` in the plane: points, lines and areas."""
    size_m = boundary.area**0.5
    rows = []
    for at, shape in enumerate(recipe.exclusions):
        point = within(boundary, rng)
        name, kind, buffer_m = f"keep out {at + 1}", "rock", 0.0
        geometry: shapely.Geometry = point.buffer(size_m * rng.uniform(0.01, 0.08), quad_segs=4)
        if shape == "point":
            kind, buffer_m, geometry = "well", float(rng.integers(2, 16)), point
        if shape == "spot":
            geometry = shapely.box(point.x - 2, point.y - 1, point.x + 2, point.y + 1)
        if shape == "swathe":
            west, south, east, north = boundary.bounds
            cut = west + (east - west) * rng.uniform(0.3, 0.9)
            kind, geometry = "flooded", shapely.box(west - 5, south - 5, cut, north + 5)
        if shape == "line":
            turn = rng.uniform(0.0, np.pi)
            reach = np.array([np.cos(turn), np.sin(turn)]) * 1.5 * size_m
            kind, buffer_m = "buried pipe", float(rng.integers(1, 8))
            geometry = shapely.LineString([np.array([point.x, point.y]) - reach, np.array([point.x, point.y]) + reach])
        rows.append((name, kind, buffer_m, geometry))
    return gpd.GeoDataFrame(rows, columns=["name", "kind", "buffer_m", "geometry"], geometry="geometry")


def cores(recipe, boundary: shapely.Geometry, rng: np.random.Generator) -> pd.DataFrame:
    """Lab cores with `x`, `y` in the plane."""
    points = [within(boundary, rng) for _ in range(recipe.cores)]
    n = len(points)
    return pd.DataFrame(
        {
            "core": [f"C{at:02d}" for at in range(1, n + 1)],
            "x": [point.x for point in points],
            "y": [point.y for point in points],
            "ph_0_100": rng.uniform(4.3, 8.0, n).round(1),
            "ph_100_200": rng.uniform(4.0, 8.5, n).round(1),
            "repellence_med": np.where(rng.random(n) < 0.5, np.nan, rng.uniform(0.0, 4.0, n).round(1)),
            "clay_depth_mm": np.where(rng.random(n) < 0.5, np.nan, rng.uniform(250.0, 800.0, n).round()),
            "esp_pct": rng.uniform(0.5, 18.0, n).round(1),
            "gravel_pct": rng.uniform(0.0, 60.0, n).round(),
        }
    )
