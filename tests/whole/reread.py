"""The files of a result read by other libraries than the package's own readers, and held against one another.

geopandas for vectors, lxml and NumPy for task data (ISO 11783-10: `TZN` zones, `PDV` values, `GRD` grids from the
south-west, `PLN` polygons), rasterio for the grid; areas on the ellipsoid by pyproj from the generator's own outline.
"""

import json
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import rasterio
import shapely
from lxml import etree

from hardpan.core.units import M2_PER_HA, MM_PER
from whole.build import Built

AREA_SHARE = 0.001
"""The contract: areas of all zones are the paddock's within 0.1 %."""
ROUNDING_M = 0.012
"""Rounding to 7 decimals of a degree moves a border by no more."""
SIMPLIFIED_SHARE = 0.01
"""Most that a stated simplification for a display may change the hectares of a depth."""
MOST_MOVED_M = 20.0
"""Most that a stated simplification for a display may move a border."""
INCH_ROUNDING_MM = 1.3
"""Half a tenth of an inch."""
DISPLAY = {"shapefile": "prescription_shp.zip", "isoxml": "taskdata.zip"}
"""Files a machine drives by."""
WGS84 = pyproj.Geod(ellps="WGS84")
CLEAR_M = 0.5
"""Places kept so far from borders are not a matter of rounding."""
DEPTH_DDI = ("0032", "0033", "0034", "0035", "0036")
"""Working depths of the data dictionary; values in mm."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """The plan as the GeoJSON draws it."""

    depth_mm: np.ndarray
    shapes: np.ndarray
    """In degrees."""
    ha: pd.Series
    """Depth to hectares."""
    border_m: pd.Series
    """Depth to length of border."""
    places: gpd.GeoDataFrame
    """One place a polygon, as deep inside as it goes: `depth_mm`, `away_m` from its border."""


def check(built: Built, out: Path) -> list[str]:
    """What is wrong with a result, nothing if all is well."""
    wanted = set(built.recipe.settings["outputs"]["formats"])
    plan = gpd.read_file(out / "prescription.geojson")
    wrong = _check_areas(built, plan, out)
    drawn = _draw(plan, built.plane)
    if _too_wet(built, plan):
        wrong += [f"{name} is written though it is too wet" for name in DISPLAY.values() if (out / name).exists()]
        wanted -= set(DISPLAY)
    if "shapefile" in wanted:
        wrong += _against(drawn, _shapefile(out / "prescription_shp.zip"), "shapefile", SIMPLIFIED_SHARE)
    sure = replace(drawn, places=drawn.places[drawn.places["away_m"] > _moved_m(out)])
    if "geopackage" in wanted:
        layer = gpd.read_file(out / "prescription.gpkg", layer="zones").to_crs(4326)
        wrong += _against(sure, layer, "geopackage", AREA_SHARE)
    if "geoparquet" in wanted:
        wrong += _against(sure, gpd.read_parquet(out / "zones.parquet").to_crs(4326), "geoparquet", AREA_SHARE)
    if "isoxml" in wanted:
        wrong += _tasks(drawn.places, out / "taskdata.zip")
    if "geotiff" in wanted:
        wrong += _raster(drawn.places, out / "surfaces.tif")
    return wrong


def _moved_m(out: Path) -> float:
    """What run.json says the change to degrees is good to: another library may take another one as good."""
    moves = json.loads((out / "run.json").read_text(encoding="utf-8"))["datum_moves"]
    return max((move["accuracy_m"] for move in moves if move["file"] == "(outputs)"), default=0.0)


def _too_wet(built: Built, plan: gpd.GeoDataFrame) -> bool:
    """Whether the files for the display are to be held back."""
    settings = built.recipe.settings
    wet = settings["season"].get("too_wet", False) and not settings["outputs"].get("force", False)
    return wet and bool((plan["depth_mm"] > 0).any())


def hectares(shapes: np.ndarray, ellipsoid: pyproj.Geod) -> np.ndarray:
    """Areas of polygons in degrees, whichever way their rings are wound."""
    oriented = shapely.orient_polygons(np.asarray(shapes))
    return np.array([abs(ellipsoid.geometry_area_perimeter(one)[0]) for one in oriented]) / M2_PER_HA


def _check_areas(built: Built, plan: gpd.GeoDataFrame, out: Path) -> list[str]:
    outline = gpd.GeoSeries([built.boundary], crs=built.plane).to_crs(built.recipe.place.geographic)
    paddock_ha = hectares(outline.to_numpy(), pyproj.CRS.from_epsg(built.recipe.place.geographic).get_geod())[0]
    drawn_ha = hectares(plan.geometry.to_numpy(), WGS84).sum()
    table_ha = pd.read_csv(out / "zones.csv")["area_ha"].sum()
    named = {"prescription.geojson": plan["area_ha"].sum(), "its polygons": drawn_ha, "zones.csv": table_ha}
    return [
        f"areas of {name} are {ha:.4f} ha, the paddock is {paddock_ha:.4f}"
        for name, ha in named.items()
        if abs(ha - paddock_ha) > max(AREA_SHARE * paddock_ha, 0.00051 * len(plan))
    ]


def _draw(plan: gpd.GeoDataFrame, plane: pyproj.CRS) -> Drawn:
    depth_mm, shapes = plan["depth_mm"].to_numpy(float), plan.geometry.to_numpy()
    flat = plan[["depth_mm", "geometry"]].to_crs(plane)
    parts = flat.explode(index_parts=False)
    circles = shapely.maximum_inscribed_circle(parts.geometry.to_numpy(), tolerance=0.5)
    points = gpd.GeoSeries(shapely.get_point(circles, 0), crs=plane).to_crs(4326)
    table = {"depth_mm": parts["depth_mm"].to_numpy(float), "away_m": shapely.length(circles)}
    places = gpd.GeoDataFrame(table, geometry=points.to_numpy(), crs=4326)
    return Drawn(
        depth_mm=depth_mm,
        shapes=shapes,
        ha=pd.Series(hectares(shapes, WGS84)).groupby(depth_mm).sum(),
        border_m=pd.Series(flat.length.to_numpy()).groupby(depth_mm).sum(),
        places=places[places["away_m"] > CLEAR_M],
    )


def _shapefile(path: Path) -> gpd.GeoDataFrame:
    table = gpd.read_file(f"zip://{path}")
    column = next(name for name in table.columns if name.startswith("DEPTH_"))
    unit = column.removeprefix("DEPTH_").lower()
    return table.assign(depth_mm=table[column] * MM_PER[unit])


def _against(drawn: Drawn, other: gpd.GeoDataFrame, name: str, share: float) -> list[str]:
    """Compare depth at places and hectares by depth; depths in inches are within half a tenth."""
    depths, told_mm = drawn.ha.index.to_numpy(), other["depth_mm"].to_numpy(float)
    nearest = depths[np.abs(depths[:, None] - told_mm).argmin(axis=0)]
    off = np.abs(nearest - told_mm).max(initial=0.0)
    wrong = [f"{name} holds a depth {off:.2f} mm from any planned"] if off > INCH_ROUNDING_MM else []
    places = drawn.places[drawn.places["away_m"] > (MOST_MOVED_M if share == SIMPLIFIED_SHARE else CLEAR_M)]
    at, owner = shapely.STRtree(other.geometry.to_numpy()).query(places.geometry.to_numpy(), predicate="within")
    found = np.full(len(places), np.nan)
    found[at] = nearest[owner]
    unlike = int((found != places["depth_mm"].to_numpy()).sum())
    wrong += [f"{name} reads other depths than the GeoJSON inside {unlike} polygons"] if unlike else []
    theirs = (
        pd.Series(hectares(other.geometry.to_numpy(), WGS84)).groupby(nearest).sum().reindex(depths, fill_value=0.0)
    )
    apart = (theirs - drawn.ha).abs() > np.maximum(share * drawn.ha, drawn.border_m * ROUNDING_M / M2_PER_HA)
    return wrong + [f"{name}: {theirs[at]:.4f} ha at {at:g} mm, GeoJSON {drawn.ha[at]:.4f}" for at in depths[apart]]


def _tasks(places: gpd.GeoDataFrame, path: Path) -> list[str]:
    """Read the ripping task: depth at each place that is clear of borders by two cells."""
    with zipfile.ZipFile(path) as archive:
        root = etree.fromstring(archive.read("TASKDATA/TASKDATA.XML"))
        binaries = {Path(name).stem: archive.read(name) for name in archive.namelist() if name.endswith(".bin")}
    task = next(one for one in root.findall("TSK") if one.find("TZN/PDV").get("A") in DEPTH_DDI)
    value = {zone.get("A"): int(zone.find("PDV").get("B")) for zone in task.findall("TZN")}
    xy = shapely.get_coordinates(places.geometry.to_numpy())
    found = np.full(len(places), float(value[task.get("J")]))
    grid, clear_m = task.find("GRD"), 20.0
    if grid is not None:
        at = grid.attrib
        shape = int(at["F"]), int(at["E"])
        kind = "<i4" if at["I"] == "2" else "u1"
        cells = np.frombuffer(binaries[at["G"]], dtype=kind).reshape(shape)
        row = np.floor((xy[:, 1] - float(at["A"])) / float(at["C"])).astype(int)
        column = np.floor((xy[:, 0] - float(at["B"])) / float(at["D"])).astype(int)
        read = cells[row, column]
        found = np.array([value[str(code)] for code in read], float) if at["I"] == "1" else read.astype(float)
        clear_m = 2.0 * float(at["C"]) * 111_320.0
    else:
        for zone in task.findall("TZN"):
            for polygon in zone.findall("PLN"):
                rings = [
                    [(float(p.get("D")), float(p.get("C"))) for p in line.findall("PNT")]
                    for line in polygon.findall("LSG")
                ]
                found[shapely.contains_xy(shapely.Polygon(rings[0], rings[1:]), xy)] = value[zone.get("A")]
    off = (found != places["depth_mm"].to_numpy(float)) & (places["away_m"].to_numpy() > clear_m)
    return [f"task data reads other depths than the GeoJSON inside {int(off.sum())} polygons"] if off.any() else []


def _raster(places: gpd.GeoDataFrame, path: Path) -> list[str]:
    with rasterio.open(path) as file:
        band = 1 + file.descriptions.index("depth_mm")
        there = places.to_crs(file.crs)
        values = np.array(
            [one[0] for one in file.sample(shapely.get_coordinates(there.geometry.to_numpy()), indexes=band)]
        )
        clear = places["away_m"].to_numpy() > 1.5 * file.res[0]
    off = (values != places["depth_mm"].to_numpy()) & clear
    return [f"the raster reads other depths than the GeoJSON inside {int(off.sum())} polygons"] if off.any() else []


def not_written(out: Path) -> list[str]:
    """What a refused run left behind, beside the paddock's own folder."""
    return [
        f"left behind: {path.name}"
        for path in out.parent.iterdir()
        if path == out or path.name.startswith(f".{out.name}.")
    ]
