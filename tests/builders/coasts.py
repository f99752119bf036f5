"""Simulated paddocks of about 100 ha whose boundary wiggles like a coast; invented, for the cost of vertices."""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import shapely

CRS = pyproj.CRS("EPSG:32751")
MIDDLE_M = np.array([520_000.0, 6_600_000.0])
DEPTHS_MM = np.arange(25, 701, 25)


@dataclass(frozen=True, kw_only=True)
class Coast:
    """How a paddock is made."""

    vertices: int
    area_ha: float = 100.0
    roughness: float = 0.15
    """Standard deviation of the coast's distance from the middle, share of its mean."""
    falloff: float = 1.3
    """Power at which the amplitude of a wave falls with its number: 1.3 is a ragged coast, 2 a smooth one."""
    jitter_m: float = 0.0
    """Each vertex is off by so much, uniformly."""
    sites: int = 40
    patch_m: float = 160.0
    """Size of the patches of deep and shallow pan; small ones make enclaves."""
    strips: int = 1
    """Exclusion lines through the middle, each with `strip_m` on either side."""
    strip_m: float = 3.0


def coast_of(recipe: Coast, rng: np.random.Generator) -> shapely.Polygon:
    """A star-shaped ring, which crosses itself nowhere, in the working CRS."""
    angle = np.linspace(0.0, 2.0 * np.pi, recipe.vertices, endpoint=False)
    wave = np.arange(1, recipe.vertices // 2)
    spectrum = np.zeros(recipe.vertices // 2 + 1, dtype=complex)
    spectrum[1:-1] = wave**-recipe.falloff * np.exp(2j * np.pi * rng.uniform(size=wave.size))
    wiggle = np.fft.irfft(spectrum, recipe.vertices)
    wiggle = np.clip(recipe.roughness * wiggle[: angle.size] / wiggle.std(), -0.6, 0.6)
    radius_m = np.sqrt(recipe.area_ha * 1e4 / np.pi) * (1.0 + wiggle)
    radius_m += recipe.jitter_m * rng.uniform(-1.0, 1.0, angle.size)
    return shapely.Polygon(MIDDLE_M + radius_m[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def crooked_coast(vertices: int = 8_000, inlets: int = 30, *, wide_m: float = 0.2, seed: int = 1) -> shapely.Polygon:
    """A ragged ring of 230 m around (300, 300), cut by inlets 60 m long and as good as without width."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0.0, 2.0 * np.pi, vertices, endpoint=False)
    radius_m = 230.0 + 8.0 * np.sin(17 * angle) + 2.0 * np.sin(211 * angle) + 0.03 * rng.uniform(-1.0, 1.0, vertices)
    coast = shapely.Polygon(300.0 + radius_m[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))
    way = np.linspace(0.1, 2.0 * np.pi, inlets, endpoint=False)
    ends = np.stack([np.column_stack([np.cos(way), np.sin(way)]) * far_m for far_m in (180.0, 260.0)], axis=1)
    cuts = shapely.buffer(shapely.linestrings(300.0 + ends), wide_m / 2.0, cap_style="flat")
    return shapely.segmentize(shapely.difference(coast, shapely.union_all(cuts)), 0.3)


def write_coast(recipe: Coast, folder: Path, seed: int = 1) -> Path:
    """Write boundary, soils, exclusions, probes and configuration; give the configuration."""
    rng = np.random.default_rng(seed)
    coast = coast_of(recipe, rng)
    folder.mkdir(parents=True, exist_ok=True)
    _write_polygons(folder / "boundary.geojson", [coast], [{"name": "coast"}])
    west, south, east, north = shapely.buffer(shapely.box(*coast.bounds), 50.0).bounds
    bend = west + 0.55 * (east - west) + 40.0 * np.sin(np.linspace(0.0, 9.0, 60))
    seam = np.column_stack([bend, np.linspace(south, north, 60)])
    sand = shapely.Polygon([*seam, (west, north), (west, south)])
    gravel = shapely.Polygon([*seam, (east, north), (east, south)])
    _write_polygons(
        folder / "soils.geojson", [sand, gravel], [{"soil_type": "deep sand"}, {"soil_type": "gravelly sand"}]
    )
    lines = [_strip(rng, (west, south, east, north)) for _ in range(recipe.strips)]
    names = [{"name": f"strip {k + 1}", "buffer_m": recipe.strip_m} for k in range(recipe.strips)]
    _write_polygons(folder / "exclusions.geojson", lines, names)
    _write_probes(folder / "probes.csv", coast, recipe, rng)
    config = folder / "coast.toml"
    config.write_text(_CONFIG + ('exclusions = "exclusions.geojson"\n' if recipe.strips else "") + _REST)
    return config


def _strip(rng: np.random.Generator, bounds: tuple[float, ...]) -> shapely.LineString:
    west, south, east, north = bounds
    y = rng.uniform(south + 0.3 * (north - south), north - 0.3 * (north - south), 2)
    return shapely.LineString([(west, y[0]), (east, y[1])])


def _write_polygons(path: Path, shapes: list[shapely.Geometry], properties: list[dict[str, object]]) -> None:
    back = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    moved = shapely.transform(np.array(shapes, dtype=object), back.transform, interleaved=False)
    features = [
        {"type": "Feature", "properties": values, "geometry": shapely.geometry.mapping(shape)}
        for values, shape in zip(properties, moved, strict=True)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))


def _write_probes(path: Path, coast: shapely.Polygon, recipe: Coast, rng: np.random.Generator) -> None:
    """Write three insertions a site; the pan's bottom and strength come in patches, none at all in some."""
    shapely.prepare(coast)
    xy = np.empty((0, 2))
    west, south, east, north = coast.bounds
    while len(xy) < recipe.sites:
        tried = rng.uniform((west, south), (east, north), (200, 2))
        inland = shapely.contains_xy(coast, tried[:, 0], tried[:, 1])
        xy = np.vstack([xy, tried[inland]])[: recipe.sites]
    patch = [_patches(xy, recipe.patch_m, rng) for _ in range(2)]
    bottom_mm, peak_kpa = 400.0 + 90.0 * patch[0], 3400.0 + 900.0 * patch[1]
    back = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    rows = []
    for site, (bottom, peak) in enumerate(zip(bottom_mm, peak_kpa, strict=True)):
        for replicate in range(3):
            at = xy[site] + rng.normal(scale=0.5, size=2)
            lon, lat = back.transform(*at)
            middle, half = bottom - 90.0 + rng.normal(scale=10.0), 70.0
            strength = 900.0 + (peak - 900.0) * np.exp(-0.5 * ((DEPTHS_MM - middle) / half) ** 2) + DEPTHS_MM
            noisy = strength * np.exp(rng.normal(scale=0.04, size=DEPTHS_MM.size))
            rows.append([f"S{site:03d}", replicate + 1, round(lon, 7), round(lat, 7), *noisy.round(-1).astype(int)])
    columns = ["site", "rep", "longitude", "latitude", *(f"{depth} mm" for depth in DEPTHS_MM)]
    pd.DataFrame(rows, columns=columns).to_csv(path, index=False)


def _patches(xy: np.ndarray, size_m: float, rng: np.random.Generator) -> np.ndarray:
    """A smooth random field at places, mean 0 and standard deviation 1: a sum of 200 plane waves."""
    waves = rng.normal(scale=1.0 / size_m, size=(200, 2))
    phase = rng.uniform(0.0, 2.0 * np.pi, 200)
    return np.sqrt(2.0 / 200) * np.cos((xy - MIDDLE_M) @ waves.T + phase).sum(axis=1)


_CONFIG = """
[paddock]
name = "Coast (invented)"
boundary = "boundary.geojson"
seed = 1
"""

_REST = """
[probes]
file = "probes.csv"
layout = "wide"
resistance_unit = "kPa"
crs = "EPSG:4326"
depth_limit_mm = 700

[soil]
polygons = "soils.geojson"
type_field = "soil_type"

[surfaces]
cell_m = 5
draws = 200
"""
