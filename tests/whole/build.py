"""A recipe as a folder of files: boundary, exclusions, soils, cores, probes, covariates and the configuration."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import affine
import geopandas as gpd
import numpy as np
import pyproj
import rasterio
import shapely

from hardpan.core.units import M2_PER_HA
from whole import ground
from whole.faults import FAULTS
from whole.probing import Push, push, waves
from whole.recipe import Recipe
from whole.shapes import boundary_of
from whole.tables import write_probes

DRIVERS = {"geojson": "GeoJSON", "gpkg": "GPKG", "shp": "ESRI Shapefile", "fgb": "FlatGeobuf", "kml": "KML"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Built:
    """The folder of a paddock, and what is true of it."""

    recipe: Recipe
    config: Path
    boundary: shapely.MultiPolygon
    """In the plane, m."""
    plane: pyproj.CRS
    probes: Push
    open_ha: float
    """Ground that is in no exclusion, whatever is kept clear around them."""


def build(recipe: Recipe, folder: Path) -> Built:
    """Write the files of a recipe into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([recipe.seed, 777])
    plane = recipe.place.plane(recipe.longitude, recipe.latitude)
    boundary = boundary_of(recipe, rng)
    open_ha = boundary.area / M2_PER_HA
    tables: dict[str, dict[str, Any]] = {name: dict(table) for name, table in recipe.settings.items()}
    tables["paddock"] = {"name": f"Invented paddock {recipe.seed}", "crs": recipe.working, "seed": recipe.seed % 7}
    tables["paddock"]["boundary"] = _write_boundary(recipe, boundary, plane, folder)
    if recipe.split and recipe.together:
        tables["paddock"]["boundary_feature"] = "all"
    if recipe.exclusions:
        shapes = ground.exclusions(recipe, boundary, rng).set_crs(plane)
        open_ha = shapely.difference(boundary, shapes.union_all()).area / M2_PER_HA
        tables["paddock"]["exclusions"] = write_shapes(
            shapes, recipe.exclusion_format, recipe.place.geographic, folder / "exclusions"
        )
    probes = push(recipe, boundary, rng)
    tables["probes"] = write_probes(recipe, probes, plane, folder)
    tables["soil"] = _write_soils(recipe, boundary, plane, folder, rng)
    if recipe.cores:
        _write_cores(recipe, boundary, plane, folder, rng)
        tables["soil"] |= {"cores": "cores.csv", "cores_crs": f"EPSG:{recipe.place.geographic}"}
    if recipe.covariates:
        names = [
            _write_covariate(recipe, boundary, plane, folder / f"covariate{at}.tif", rng)
            for at in range(recipe.covariates)
        ]
        tables["surfaces"]["covariates"] = names
    if recipe.fault:
        FAULTS[recipe.fault].makes(tables, folder)
    config = folder / "paddock.toml"
    config.write_text(as_toml(tables), encoding="utf-8")
    return Built(recipe=recipe, config=config, boundary=boundary, plane=plane, probes=probes, open_ha=open_ha)


def write_shapes(table: gpd.GeoDataFrame, kind: str, code: int, stem: Path) -> str:
    """Write a table in the CRS `code`, or the one its format demands; give the file's name."""
    code = 4326 if kind == "kml" else code
    moved = table.to_crs(code)
    path = stem.with_suffix(f".{kind}")
    if kind == "geojson":
        text = json.loads(moved.to_json(drop_id=True))
        if code != 4326:
            text["crs"] = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{code}"}}
        path.write_text(json.dumps(text), encoding="utf-8")
    else:
        names = {name: name[:10] for name in moved.columns} if kind == "shp" else {}
        moved.rename(columns=names).to_file(path, driver=DRIVERS[kind], engine="pyogrio")
    return path.name


def _write_boundary(recipe: Recipe, boundary: shapely.MultiPolygon, plane: pyproj.CRS, folder: Path) -> str:
    if recipe.flaw == "heights":
        boundary = shapely.force_3d(boundary, 212.5)
    shapes = [*boundary.geoms] if recipe.split else [boundary]
    table = gpd.GeoDataFrame({"part": range(1, len(shapes) + 1)}, geometry=shapes, crs=plane)
    if len(shapes) == 1 and len(boundary.geoms) == 1:
        table = table.set_geometry([boundary.geoms[0]], crs=plane)
    return write_shapes(table, recipe.boundary_format, recipe.boundary_crs, folder / "boundary")


def _write_soils(recipe: Recipe, boundary, plane: pyproj.CRS, folder: Path, rng: np.random.Generator) -> dict[str, Any]:
    out: dict[str, Any] = {} if recipe.default_type is None else {"default_type": recipe.default_type}
    if not recipe.soils:
        return out
    table = ground.soil_map(recipe, boundary, rng).set_crs(plane)
    out["polygons"] = write_shapes(table, recipe.soil_format, recipe.place.geographic, folder / "soils")
    if recipe.soil_labels == "mapped":
        out["mapping"] = dict(zip(ground.OWN_LABELS, ground.SOILS, strict=True))
    return out


def _write_cores(recipe: Recipe, boundary, plane: pyproj.CRS, folder: Path, rng: np.random.Generator) -> None:
    table = ground.cores(recipe, boundary, rng)
    back = pyproj.Transformer.from_crs(plane, recipe.place.geographic, always_xy=True)
    longitude, latitude = back.transform(table["x"], table["y"])
    table = table.assign(x=np.round(longitude, 7), y=np.round(latitude, 7))
    table.rename(columns={"x": "longitude", "y": "latitude"}).to_csv(folder / "cores.csv", index=False)


def _write_covariate(recipe: Recipe, boundary, plane: pyproj.CRS, path: Path, rng: np.random.Generator) -> str:
    """Write a raster in degrees, rather coarser than the grid, a smooth field with some noise."""
    moved = gpd.GeoSeries([boundary], crs=plane).to_crs(recipe.place.geographic)
    west, south, east, north = moved.total_bounds
    margin = 0.05 * max(east - west, north - south)
    east = west + recipe.covered * (east - west)
    west, south, east, north = west - margin, south - margin, east + margin, north + margin
    rows, columns = int(rng.integers(12, 80)), int(rng.integers(12, 80))
    transform = affine.Affine((east - west) / columns, 0.0, west, 0.0, -(north - south) / rows, north)
    grid = np.column_stack([axis.ravel() for axis in np.meshgrid(np.arange(columns), np.arange(rows))])
    values = 40.0 + 12.0 * waves(grid / max(rows, columns), 0.3, rng) + rng.normal(0, 1, len(grid))
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float32", nodata=-9999.0,
        crs=f"EPSG:{recipe.place.geographic}", transform=transform,
    ) as file:  # fmt: skip
        file.write(values.reshape(rows, columns).astype("float32"), 1)
    return path.name


def as_toml(tables: dict[str, dict[str, Any]]) -> str:
    """Tables as TOML."""
    lines = []
    for name, table in tables.items():
        lines.append(f"[{name}]")
        lines += [f"{key} = {_value(value)}" for key, value in table.items()]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f'"{key}" = {_value(item)}' for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False)
