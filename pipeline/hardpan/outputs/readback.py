"""Every prescription file read again, by another library than wrote it, and held against the plan."""

import struct
import warnings
import zlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

import fiona
import numpy as np
import pandas as pd
import pyogrio
import shapely
from defusedxml import ElementTree
from numpy.typing import NDArray

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError, ReadBackError
from hardpan.core.units import MM_PER
from hardpan.outputs.agreement import Expected, Found, hold_places, hold_polygons, hold_raster
from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.isoxml_reader import read_taskdata, wrong_cell
from hardpan.records.surfaces import Surfaces

_HALF_DECIMAL = 0.00501
"""Half of a table's last decimal."""

_KML = "{http://www.opengis.net/kml/2.2}"

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 12: 8}
_CODES = {1: "B", 2: "s", 3: "H", 4: "I", 12: "d"}
"""TIFF 6.0 field types met here: byte, ascii, short, long, double."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InCab:
    """What the files for the cab must say."""

    fitted: Expected
    """The plan as the display takes it, vertex by vertex; the plan itself where nothing had to be simplified."""
    moved_m: float
    """How far the simplification moved borders; clear of them by more, a file must say what the plan says."""
    unit: str
    """Of the display's depth column."""
    lost_mm: int
    """Depth without a position."""


def read_back(
    folder: Path,
    formats: Collection[str],
    expected: Expected,
    in_cab: InCab,
    *,
    bands: tuple[str, ...],
    surfaces: Surfaces,
) -> None:
    """Check every prescription file in `folder` against the plan, and residuals and draws against the record.

    Raises
    ------
    ReadBackError
        A file does not say what the plan says.
    """
    if "shapefile" in formats:
        check_shapefile(folder / "prescription_shp.zip", expected, in_cab)
    if "isoxml" in formats:
        check_tasks(folder / "taskdata.zip", expected, in_cab)
    if "geojson" in formats:
        check_geojson(folder / "prescription.geojson", expected)
    if "geopackage" in formats:
        check_geopackage(folder / "prescription.gpkg", expected)
    if "geoparquet" in formats:
        check_parquet(folder / "zones.parquet", expected)
    if "kml" in formats:
        check_kml(folder / "prescription.kml", expected)
    if "geotiff" in formats:
        check_raster(folder / "surfaces.tif", bands, expected)
    if "netcdf" in formats:
        check_netcdf(folder / "draws.nc", surfaces)
    check_residuals(folder / "residuals.csv", surfaces.residuals)


def check_residuals(path: Path, residuals: pd.DataFrame) -> None:
    """Check the table of residuals (written by the standard library, read by GDAL) against the record."""
    found = pyogrio.read_dataframe(path)
    names = ("observed_low", "observed_high", "predicted", "sd")
    same = len(found) == len(residuals) and all(
        np.allclose(pd.to_numeric(found[name]), residuals[name], rtol=0.0, atol=_HALF_DECIMAL, equal_nan=True)
        for name in names
    )
    if not same:
        raise ReadBackError(
            found=f"its {len(found)} rows hold other values",
            where=path.name,
            planned=f"the {len(residuals)} readings and forecasts of the maps",
            why="a separator or decimal sign of another kind does that",
        )


def check_netcdf(path: Path, surfaces: Surfaces) -> None:
    """Check the draws and the nodes of the cells (written by xarray and SciPy, read by GDAL) against the record."""
    import rasterio  # noqa: PLC0415 - asked for by few
    from rasterio.errors import NotGeoreferencedWarning  # noqa: PLC0415

    drawn = {name: surfaces.draws[name].to_numpy() for name in ("present", "top_mm", "bottom_mm", "peak_kpa")}
    for name, values in {**drawn, "node_of_cell": surfaces.node_of_cell}.items():
        as_stored = {"GDAL_NETCDF_VERIFY_DIMS": "NO", "GDAL_NETCDF_BOTTOMUP": "NO"} if name in drawn else {}
        with rasterio.Env(**as_stored), warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # draws by nodes are no raster
            with rasterio.open(f"netcdf:{path.as_posix()}:{name}") as raster:
                found = raster.read(1)
        if not np.array_equal(found, values):
            raise ReadBackError(
                found=f"{name} holds other values",
                where=path.name,
                planned="the draws of the maps",
                why="an axis turned round, or a number kept in fewer digits, does that",
            )


def check_geojson(path: Path, expected: Expected) -> None:
    """Check prescription.geojson (written by the standard library, read by GDAL 3.12) against the plan."""
    table = pyogrio.read_dataframe(path)
    found = Found(
        shapes=table.geometry.to_numpy(), depth_mm=table["depth_mm"].to_numpy(float), zone=table["zone"].to_numpy(int)
    )
    hold_polygons(path.name, found, expected)


def check_shapefile(path: Path, expected: Expected, in_cab: InCab) -> None:
    """Check the display's shapefile in its zip (written by fiona, read by pyogrio) against the plan."""
    unit = in_cab.unit
    table = pyogrio.read_dataframe(f"/vsizip/{path.as_posix()}")
    depth_mm = table[f"DEPTH_{unit.upper()}"].to_numpy(float) * MM_PER[unit]
    # Inches to one decimal are within 1.27 mm of the plan; put the plan's depth in their place before comparing.
    planned = np.unique(expected.depth_mm)
    nearest = planned[np.abs(planned[:, None] - depth_mm).argmin(axis=0)]
    depth_mm = np.where(np.abs(nearest - depth_mm) <= 0.051 * MM_PER[unit], nearest, depth_mm)
    found = Found(shapes=table.geometry.to_numpy(), depth_mm=depth_mm, zone=table["ZONE"].to_numpy(int))
    _hold_fitted(path.name, found, expected, in_cab)


def _hold_fitted(file: str, found: Found, expected: Expected, in_cab: InCab) -> None:
    hold_polygons(file, found, in_cab.fitted)
    hold_places(file, found, expected.places.clear_of_borders(in_cab.moved_m))


def check_geopackage(path: Path, expected: Expected) -> None:
    """Check the GeoPackage's zones (written by pyogrio, read by fiona) against the plan."""
    with fiona.open(path, layer="zones") as features:
        rows = [(shapely.geometry.shape(row["geometry"]), row["properties"]) for row in features]
    shapes, _ = to_wgs84(np.array([shape for shape, _ in rows], dtype=object), expected.zones.crs)
    depth_mm, zone = (np.array([row[name] for _, row in rows]) for name in ("depth_mm", "zone"))
    hold_polygons(path.name, Found(shapes=shapes, depth_mm=depth_mm.astype(float), zone=zone), expected)


def check_kml(path: Path, expected: Expected) -> None:
    """Check the KML (written by the standard library, read by defusedxml) against the plan."""
    shapes, depth_mm = [], []
    for placemark in ElementTree.parse(path).getroot().iter(f"{_KML}Placemark"):
        for polygon in placemark.iter(f"{_KML}Polygon"):
            rings = [_ring(places.text) for places in polygon.iter(f"{_KML}coordinates")]
            shapes.append(shapely.Polygon(rings[0], rings[1:]))
            depth_mm.append(float(placemark.findtext(f"{_KML}styleUrl").removeprefix("#depth-")))
    hold_polygons(path.name, Found(shapes=np.array(shapes), depth_mm=np.array(depth_mm)), expected)


def _ring(places: str) -> Floats:
    return np.array([place.split(",")[:2] for place in places.split()], dtype=float)


def check_parquet(path: Path, expected: Expected) -> None:
    """Check the zones' GeoParquet (written by geopandas, read by pyarrow and shapely) against the plan."""
    from pyarrow import parquet  # noqa: PLC0415 - an extra: only who asks for the format has it

    table = parquet.read_table(path, columns=["geometry", "depth_mm", "zone"])
    shapes, _ = to_wgs84(shapely.from_wkb(table["geometry"].to_pylist()), expected.zones.crs)
    depth_mm, zone = (table[name].to_numpy() for name in ("depth_mm", "zone"))
    hold_polygons(path.name, Found(shapes=shapes, depth_mm=depth_mm.astype(float), zone=zone.astype(int)), expected)


def check_tasks(path: Path, expected: Expected, in_cab: InCab) -> None:
    """Check the ripping task, read by defusedxml and NumPy, against the plan, a grid cell by cell."""
    lost_mm = in_cab.lost_mm
    task = read_taskdata(path)[0]
    if (task.default, task.lost, task.outside) != (lost_mm, lost_mm, 0):
        raise ReadBackError(
            found=f"it falls back to {task.default}, {task.lost} and {task.outside} mm",
            where=path.name,
            planned=f"{lost_mm}, {lost_mm} and 0 mm as planned",
            why="a fallback of another plan does that",
        )
    if task.cells is None:
        shapes = np.array([polygon for polygon, _ in task.polygons])
        found = Found(shapes=shapes, depth_mm=np.array([depth for _, depth in task.polygons], dtype=float))
        _hold_fitted(path.name, found, expected, in_cab)
        return
    wrong = wrong_cell(task, expected.zones)
    if wrong is not None:
        raise ReadBackError(
            found=f"the cell at {wrong.latitude:.6f}, {wrong.longitude:.6f} says {wrong.found_mm} mm",
            where=path.name,
            planned=f"{' or '.join(map(str, wrong.right_mm))} mm as planned",
            why="a grid turned, shifted or drawn from another plan does that",
        )


def check_raster(path: Path, names: tuple[str, ...], expected: Expected) -> None:
    """Check zone and depth of the GeoTIFF (bands `names`; written by GDAL, read by `tiff_reader`) against the plan."""
    bands, grid = read_tiff(path)
    zone, depth_mm = (bands[names.index(name)].astype(float) for name in ("zone", "depth_mm"))
    hold_raster(path.name, (zone, depth_mm), grid, expected)


def read_tiff(path: Path) -> tuple[NDArray[np.float32], tuple[float, float, float]]:
    """Full-resolution bands, (n_bands, n_rows, n_cols), and west edge, north edge and cell size.

    Raises
    ------
    InputError
        The file is not the little-endian, pixel-interleaved, deflated float32 TIFF that the outputs write.
    """
    content = path.read_bytes()
    if content[:4] != b"II*\0":
        raise InputError(what="is not a little-endian TIFF", where=path.name)
    try:
        tags = _directory(content)
        bands = _bands(content, tags)
        scale, tie = tags[33550], tags[33922]
    except (KeyError, struct.error, zlib.error, ValueError) as err:
        raise InputError(what=f"the raster is damaged: {err!r}", where=path.name) from err
    return bands, (tie[3], tie[4], scale[0])


def _directory(content: bytes) -> Mapping[int, tuple[float, ...]]:
    """Numeric tags of the first image directory."""
    (start,) = struct.unpack_from("<I", content, 4)
    (count,) = struct.unpack_from("<H", content, start)
    tags: dict[int, tuple[float, ...]] = {}
    for k in range(count):
        place = start + 2 + 12 * k
        tag, kind, length = struct.unpack_from("<HHI", content, place)
        if kind not in _SIZES or kind == 2:
            continue
        size = _SIZES[kind] * length
        offset = place + 8 if size <= 4 else struct.unpack_from("<I", content, place + 8)[0]
        tags[tag] = struct.unpack_from(f"<{length}{_CODES[kind]}", content, offset)
    return tags


def _bands(content: bytes, tags: Mapping[int, tuple[float, ...]]) -> NDArray[np.float32]:
    width, height, n_bands = int(tags[256][0]), int(tags[257][0]), int(tags[277][0])
    interleaved, plain = tags[284][0] == 1, tags.get(317, (1,))[0] == 1
    if tags[259][0] != 8 or tags[339][0] != 3 or tags[258][0] != 32 or not interleaved or not plain:
        message = "another compression, sample format, predictor or interleaving than written"
        raise ValueError(message)
    tile_w, tile_h = int(tags[322][0]), int(tags[323][0])
    across, down = -(-width // tile_w), -(-height // tile_h)
    canvas = np.full((down * tile_h, across * tile_w, n_bands), np.nan, dtype="<f4")
    for k, (offset, size) in enumerate(zip(tags[324], tags[325], strict=True)):
        if size:
            row, col = divmod(k, across)
            raw = zlib.decompress(content[int(offset) : int(offset) + int(size)])
            tile = np.frombuffer(raw, dtype="<f4").reshape(tile_h, tile_w, n_bands)
            canvas[row * tile_h : (row + 1) * tile_h, col * tile_w : (col + 1) * tile_w] = tile
    return np.moveaxis(canvas[:height, :width], 2, 0)
