"""Every prescription file read again, by another library than wrote it, and held against the plan."""

from dataclasses import dataclass
from pathlib import Path

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from defusedxml import ElementTree

from hardpan.core.arrays import Floats
from hardpan.core.errors import HardpanError
from hardpan.core.units import M2_PER_HA, MM_PER
from hardpan.outputs.geodesy import geodesic_ha, to_wgs84
from hardpan.outputs.isoxml_reader import read_taskdata
from hardpan.outputs.task_cells import wrong_cell
from hardpan.outputs.tiff_reader import read_tiff

POINTS = 50
"""Random points inside the paddock at which every file must say what the plan says."""

_ROUNDED, _SIMPLIFIED, _GRIDDED = 0.001, 0.01, 0.02
"""Share by which the hectares of a depth may differ: rounding only; a stated simplification; cells along borders."""

_ROUNDING_M = 0.006
"""Rounding to 7 decimals moves a border by at most half of 11 mm: what tiny zones may differ by, along their border."""

_KML = "{http://www.opengis.net/kml/2.2}"

_CLEAR_M = 0.1
"""Points keep so far from borders at least: rounding to 7 decimals moves a border by up to 11 mm."""

_SCATTER = 0.29
"""Standard deviation of the area by which one border cell is off, in cells: that of a uniform share, 1/sqrt(12)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Places:
    """Points clear of borders, and what the plan says there."""

    working: Floats
    """(n, 2), working CRS."""
    degrees: Floats
    """(n, 2), longitude and latitude."""
    depth_mm: Floats


def check_geojson(path: Path, zones: gpd.GeoDataFrame, *, seed: int) -> None:
    """Hold prescription.geojson (written by the standard library, read by GDAL 3.12) against the plan."""
    table = pyogrio.read_dataframe(path)
    _check_polygons(path.name, table.geometry.array, table["depth_mm"].to_numpy(float), zones, seed=seed)


def check_shapefile(path: Path, zones: gpd.GeoDataFrame, *, unit: str, moved_m: float, seed: int) -> None:
    """Hold the display's shapefile (written by fiona, read by pyogrio) against the plan.

    Parameters
    ----------
    path : Path
        The zip.
    zones : GeoDataFrame
        The plan in the working CRS: `zone`, `depth_mm`, `area_ha`, geometry.
    unit : str
        Unit of its depth column.
    moved_m : float
        How far a stated simplification may have moved borders, m.
    seed : int
        Of the random points.
    """
    table = pyogrio.read_dataframe(f"/vsizip/{path.as_posix()}")
    depth_mm = table[f"DEPTH_{unit.upper()}"].to_numpy(float) * MM_PER[unit]
    # Inches to one decimal are within 1.27 mm of the plan; put the plan's depth in their place before comparing.
    planned = np.unique(zones["depth_mm"].to_numpy(float))
    nearest = planned[np.abs(planned[:, None] - depth_mm).argmin(axis=0)]
    depth_mm = np.where(np.abs(nearest - depth_mm) <= 0.051 * MM_PER[unit], nearest, depth_mm)
    _check_polygons(path.name, table.geometry.array, depth_mm, zones, moved_m=moved_m, seed=seed)


def check_geopackage(path: Path, zones: gpd.GeoDataFrame, *, seed: int) -> None:
    """Hold the GeoPackage's zones (written by pyogrio, read by fiona) against the plan."""
    with fiona.open(path, layer="zones") as features:
        rows = [(shapely.geometry.shape(row["geometry"]), row["properties"]["depth_mm"]) for row in features]
    shapes, _ = to_wgs84(np.array([shape for shape, _ in rows]), zones.crs)
    _check_polygons(path.name, shapes, np.array([depth for _, depth in rows], dtype=float), zones, seed=seed)


def check_kml(path: Path, zones: gpd.GeoDataFrame, *, seed: int) -> None:
    """Hold the KML (written by lxml, read by defusedxml) against the plan."""
    shapes, depth_mm = [], []
    for placemark in ElementTree.parse(path).getroot().iter(f"{_KML}Placemark"):
        for polygon in placemark.iter(f"{_KML}Polygon"):
            rings = [_ring(places.text) for places in polygon.iter(f"{_KML}coordinates")]
            shapes.append(shapely.Polygon(rings[0], rings[1:]))
            depth_mm.append(float(placemark.findtext(f"{_KML}styleUrl").removeprefix("#depth-")))
    _check_polygons(path.name, np.array(shapes), np.array(depth_mm), zones, seed=seed)


def _ring(places: str) -> list[tuple[float, ...]]:
    return [tuple(float(part) for part in place.split(",")) for place in places.split()]


def check_parquet(path: Path, zones: gpd.GeoDataFrame, *, seed: int) -> None:
    """Hold the zones' GeoParquet (written by geopandas, read by pyarrow and shapely) against the plan."""
    from pyarrow import parquet  # noqa: PLC0415 - an extra: only who asks for the format has it

    table = parquet.read_table(path, columns=["geometry", "depth_mm"])
    shapes, _ = to_wgs84(shapely.from_wkb(table["geometry"].to_pylist()), zones.crs)
    _check_polygons(path.name, shapes, table["depth_mm"].to_numpy().astype(float), zones, seed=seed)


def check_tasks(path: Path, zones: gpd.GeoDataFrame, *, lost_mm: int, moved_m: float, seed: int) -> None:
    """Hold the ripping task (written by lxml, read by defusedxml and NumPy) against the plan, a grid cell by cell.

    Parameters
    ----------
    path : Path
        The zip.
    zones : GeoDataFrame
        The plan in the working CRS: `kind`, `depth_mm`, `area_ha`, geometry.
    lost_mm : int
        Depth without a position.
    moved_m : float
        How far a stated simplification may have moved borders of polygons, m; a grid has none.
    seed : int
        Of the random points.
    """
    task = read_taskdata(path)[0]
    if (task.default, task.lost, task.outside) != (lost_mm, lost_mm, 0):
        what = f"falls back to {task.default}, {task.lost} and {task.outside} mm"
        raise _differs(path.name, what, f"{lost_mm}, {lost_mm} and 0")
    if task.cells is None:
        shapes = np.array([polygon for polygon, _ in task.polygons])
        depth_mm = np.array([depth for _, depth in task.polygons], dtype=float)
        _check_polygons(path.name, shapes, depth_mm, zones, moved_m=moved_m, seed=seed)
        return
    wrong = wrong_cell(task, zones)
    if wrong is not None:
        what = f"reads {wrong.found_mm} mm at {wrong.latitude:.6f}, {wrong.longitude:.6f}, the middle of a cell"
        raise _differs(path.name, what, f"{' or '.join(map(str, wrong.right_mm))} mm")


def check_raster(path: Path, band: int, zones: gpd.GeoDataFrame, *, seed: int) -> None:
    """Hold the depth band, counted from 0, of the GeoTIFF (written by GDAL, read by `tiff_reader`) against the plan."""
    bands, (west, north, cell_m) = read_tiff(path)
    places = _places(zones, cell_m, seed)
    row = ((north - places.working[:, 1]) / cell_m).astype(int)
    col = ((places.working[:, 0] - west) / cell_m).astype(int)
    _compare_depths(path.name, bands[band][row, col], places)
    found, count = np.unique(bands[band][np.isfinite(bands[band])], return_counts=True)
    hectares = pd.Series(count * cell_m**2 / M2_PER_HA, index=found)
    _compare_hectares(path.name, hectares, zones, _GRIDDED, cell_m=cell_m)


def _check_polygons(
    file: str, shapes: np.ndarray, depth_mm: Floats, zones: gpd.GeoDataFrame, *, seed: int, moved_m: float = 0.0
) -> None:
    """Hold polygons in longitude and latitude against the plan; `moved_m` is a stated simplification."""
    places = _places(zones, moved_m, seed)
    found = np.full(len(places.degrees), np.nan)
    hit, owner = shapely.STRtree(shapes).query(shapely.points(places.degrees), predicate="within")
    found[hit] = depth_mm[owner]
    _compare_depths(file, found, places)
    hectares = pd.Series(geodesic_ha(np.asarray(shapes))).groupby(depth_mm).sum()
    _compare_hectares(file, hectares, zones, _SIMPLIFIED if moved_m else _ROUNDED)


def _places(zones: gpd.GeoDataFrame, margin_m: float, seed: int) -> _Places:
    """Give random points, and one in each zone, at least `margin_m` from borders where the zones are wide enough."""
    inner = shapely.buffer(zones.geometry.array, -max(margin_m, _CLEAR_M))
    if shapely.is_empty(inner).all():
        inner = shapely.buffer(zones.geometry.array, -_CLEAR_M)
    sure = [one.representative_point() for one in inner if not one.is_empty]
    bounds, rng, tree = shapely.total_bounds(inner), np.random.default_rng(seed), shapely.STRtree(inner)
    points, owners = [np.array(sure)], [tree.query(sure, predicate="within")[1]]
    while sum(map(len, points)) < len(sure) + POINTS:
        tried = shapely.points(rng.uniform(bounds[:2], bounds[2:], (8 * POINTS, 2)))
        hit, owner = tree.query(tried, predicate="within")
        points.append(tried[hit])
        owners.append(owner)
    drawn, owner = (np.concatenate(parts)[: len(sure) + POINTS] for parts in (points, owners))
    degrees, _ = to_wgs84(drawn, zones.crs)
    depth_mm = zones["depth_mm"].to_numpy(float)[owner]
    coordinates = shapely.get_coordinates
    return _Places(working=coordinates(drawn), degrees=coordinates(degrees), depth_mm=depth_mm)


def _compare_depths(file: str, found_mm: Floats, places: _Places) -> None:
    off = ~(np.abs(found_mm - places.depth_mm) <= 0.5)
    if off.any():
        first = int(np.flatnonzero(off)[0])
        longitude, latitude = places.degrees[first]
        what = f"reads {found_mm[first]:g} mm at {latitude:.6f}, {longitude:.6f}"
        raise _differs(file, what, f"{places.depth_mm[first]:g} mm")


def _compare_hectares(
    file: str, found_ha: pd.Series, zones: gpd.GeoDataFrame, share: float, *, cell_m: float = 0.0
) -> None:
    """Compare hectares depth by depth; a grid not fitted to the zones may also scatter along its borders."""
    planned = zones["area_ha"].groupby(zones["depth_mm"]).sum()
    border_m = zones.geometry.length.groupby(zones["depth_mm"]).sum()
    if not set(found_ha.index.astype(float)) <= set(planned.index.astype(float)):
        raise _differs(file, f"holds depths of {sorted(found_ha.index)} mm", f"{sorted(planned.index)} mm")
    for depth, hectares in planned.items():
        rounding_ha = border_m[depth] * _ROUNDING_M / M2_PER_HA
        scatter_ha = 3 * _SCATTER * np.sqrt(border_m[depth] / cell_m) * cell_m**2 / M2_PER_HA if cell_m else 0.0
        if abs(found_ha.get(depth, 0.0) - hectares) > max(share * hectares, scatter_ha, rounding_ha):
            what = f"holds {found_ha.get(depth, 0.0):.4f} ha at {depth} mm"
            raise _differs(file, what, f"{hectares:.4f} ha")


def _differs(file: str, what: str, planned: str) -> HardpanError:
    return HardpanError(
        what=f"read back, it {what}", where=file, right=f"{planned} as planned", do="nothing was written; report it"
    )
