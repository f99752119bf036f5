"""Task data read back as any task controller would, nothing believed; every cell held against the ground it covers."""

import zipfile
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

import geopandas as gpd
import numpy as np
import shapely
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.outputs.geodesy import degrees_per_metre, to_wgs84
from hardpan.spatial.polygons import edges_of, middles_of

_NAME = "TASKDATA/TASKDATA.XML"

_ROUNDED_M = 0.02
"""Rounding to 7 decimals of a degree moves a border by 11 mm at most, and a cell's edge by less."""

_MOST_CELLS = 100_000
"""Cells looked at in one go, so that memory does not grow with the grid."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadTask:
    """What one task says of places."""

    ddi: str
    default: int
    """Value before the first zone is met."""
    lost: int
    outside: int
    polygons: tuple[tuple[shapely.Polygon, int], ...]
    """Polygon (longitude, latitude) and value; empty for a grid."""
    cells: np.ndarray | None
    """Grid values, (n_rows, n_cols), south row first; None for polygons."""
    south: float = 0.0
    west: float = 0.0
    cell_lat: float = 0.0
    cell_lon: float = 0.0


def read_taskdata(path: Path) -> tuple[ReadTask, ...]:
    """Tasks of a task-data zip.

    Raises
    ------
    InputError
        The zip or its XML is damaged, a reference leads nowhere, or a grid is not as long as its element says.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
        root = fromstring(members[_NAME], forbid_dtd=True)
    except (zipfile.BadZipFile, KeyError, ParseError, DefusedXmlException) as err:
        raise InputError(what=f"task data cannot be read: {err}", where=path.name) from err
    try:
        if root.tag != "ISO11783_TaskData" or root.attrib["VersionMajor"] not in {"3", "4"}:
            raise InputError(what="is not task data of version 3 or 4", where=path.name)
        known = [element.attrib["A"] for tag in ("PFD", "VPN", "TSK") for element in root.findall(tag)]
        if len(set(known)) != len(known):
            raise InputError(what="an identifier is used twice", where=path.name)
        return tuple(_task(task, members, set(known), path.name) for task in root.findall("TSK"))
    except (KeyError, ValueError, IndexError) as err:
        raise InputError(what=f"task data is damaged: {err!r}", where=path.name) from err


def _task(task: Element, members: dict[str, bytes], known: set[str], where: str) -> ReadTask:
    zones = {int(zone.attrib["A"]): zone for zone in task.findall("TZN")}
    used = [task.attrib["E"], *(pdv.attrib["E"] for zone in zones.values() for pdv in zone.findall("PDV"))]
    if not set(used) <= known or len(zones) != len(task.findall("TZN")):
        raise InputError(what="a reference leads nowhere, or a zone code is used twice", where=where)
    value = {code: int(zone.findall("PDV")[0].attrib["B"]) for code, zone in zones.items()}
    grids = task.findall("GRD")
    polygons = tuple(
        (_polygon(polygon), value[code]) for code, zone in zones.items() for polygon in zone.findall("PLN")
    )
    if len(grids) > 1 or (grids and polygons):
        raise InputError(what="a task has more than one shape", where=where)
    shape = _grid(grids[0], value, members, where) if grids else {"cells": None}
    return ReadTask(
        ddi=next(iter(zones.values())).findall("PDV")[0].attrib["A"],
        default=value[int(task.attrib["H"])],
        lost=value[int(task.attrib["I"])],
        outside=value[int(task.attrib["J"])],
        polygons=polygons,
        **shape,
    )


def _grid(grid: Element, value: dict[int, int], members: dict[str, bytes], where: str) -> dict[str, object]:
    at = grid.attrib
    shape = int(at["F"]), int(at["E"])
    kind = {"1": "u1", "2": "<i4"}[at["I"]]
    content = members[f"TASKDATA/{at['G']}.bin"]
    length = shape[0] * shape[1] * np.dtype(kind).itemsize
    if not len(content) == length == int(at["H"]):
        raise InputError(what=f"the grid holds {len(content)} bytes", where=where, right=f"{length}")
    cells = np.frombuffer(content, dtype=kind).reshape(shape)
    if at["I"] == "1":
        table = np.array([value[code] for code in np.unique(cells).tolist()])
        cells = table[np.searchsorted(np.unique(cells), cells)]
    return {
        "cells": cells, "south": float(at["A"]), "west": float(at["B"]), "cell_lat": float(at["C"]),
        "cell_lon": float(at["D"]),
    }  # fmt: skip


def _polygon(polygon: Element) -> shapely.Polygon:
    rings: dict[str, list[list[tuple[float, float]]]] = {"1": [], "2": []}
    for line in polygon.findall("LSG"):
        points = [(float(point.attrib["D"]), float(point.attrib["C"])) for point in line.findall("PNT")]
        rings[line.attrib["A"]].append(points)
    shell = rings["1"][0]
    return shapely.Polygon(shell, rings["2"])


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongCell:
    """A cell that says what none of the ground it covers says."""

    longitude: float
    latitude: float
    found_mm: int
    right_mm: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """The plan as polygons and the segments of their borders, longitude and latitude."""

    shapes: np.ndarray
    levels_mm: np.ndarray
    """Depths of the plan and 0, rising."""
    level: np.ndarray
    """Place of each polygon's depth in `levels_mm`."""
    shut: np.ndarray
    """Whether each polygon is keep-out ground."""
    segments: shapely.STRtree
    owner: np.ndarray
    """Polygon of each segment."""
    outer: np.ndarray
    """Whether each segment is of the paddock's outline: no second polygon has it."""


def wrong_cell(task: ReadTask, zones: gpd.GeoDataFrame) -> WrongCell | None:
    """First cell with a wrong depth, None where all are right.

    Right is the depth of keep-out ground, 0, where a cell touches it; the zone's depth where it lies in one zone; and
    across a border the depth of any of the zones it touches, or 0 at the outline of the paddock.

    Parameters
    ----------
    task : ReadTask
        A grid of depths in mm.
    zones : GeoDataFrame
        The plan in the working CRS, a coverage: `kind`, `depth_mm`, polygons.
    """
    if task.cells is None:
        return None
    ground = _ground(zones)
    n_rows, n_cols = task.cells.shape
    step = max(1, _MOST_CELLS // n_cols)
    for first in range(0, n_rows, step):
        found = task.cells[first : first + step]
        middles = _middles(task, first, len(found), n_cols)
        right = _right(task, middles, ground)
        wrong = ~(right & (found.reshape(-1, 1) == ground.levels_mm)).any(axis=1)
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            return WrongCell(
                longitude=float(middles[at, 0]), latitude=float(middles[at, 1]), found_mm=int(found.ravel()[at]),
                right_mm=tuple(ground.levels_mm[right[at]].tolist()),
            )  # fmt: skip
    return None


def _ground(zones: gpd.GeoDataFrame) -> _Ground:
    shapes, _ = to_wgs84(zones.geometry.array, zones.crs)
    depth_mm = np.round(zones["depth_mm"].to_numpy(float)).astype(int)
    levels_mm = np.unique(np.append(depth_mm, 0))
    edges, owner = edges_of(shapes)
    _, which, times = np.unique(middles_of(edges), return_inverse=True, return_counts=True)
    return _Ground(
        shapes=shapes,
        levels_mm=levels_mm,
        level=np.searchsorted(levels_mm, depth_mm),
        shut=(zones["kind"] == "exclusion").to_numpy(),
        segments=shapely.STRtree(shapely.linestrings(edges)),
        owner=owner,
        outer=times[which] == 1,
    )


def _middles(task: ReadTask, first: int, n_rows: int, n_cols: int) -> Floats:
    """Longitude and latitude of the middles of some rows of cells, (n_rows * n_cols, 2)."""
    longitude = task.west + task.cell_lon * (np.arange(n_cols) + 0.5)
    latitude = task.south + task.cell_lat * (np.arange(first, first + n_rows) + 0.5)
    return np.column_stack([one.ravel() for one in np.meshgrid(longitude, latitude)])


def _right(task: ReadTask, middles: Floats, ground: _Ground) -> np.ndarray:
    """Whether each cell may have each of the depths, (n_cells, n_levels)."""
    out = np.zeros((len(middles), len(ground.levels_mm)), dtype=bool)
    shut, outside = np.zeros_like(out), np.ones(len(middles), dtype=bool)
    for shape, level, closed in zip(ground.shapes, ground.level, ground.shut, strict=True):
        shapely.prepare(shape)
        inside = shapely.contains_xy(shape, middles)
        out[inside, level] = True
        shut[inside, level] |= closed
        outside &= ~inside
    nothing = int(np.searchsorted(ground.levels_mm, 0))
    out[outside, nothing] = True
    cell, segment = _touched(task, middles, ground, _ROUNDED_M)
    out[cell, ground.level[ground.owner[segment]]] = True
    out[cell[ground.outer[segment]], nothing] = True
    cell, segment = _touched(task, middles, ground, -_ROUNDED_M)
    closed = ground.shut[ground.owner[segment]]
    shut[cell[closed], ground.level[ground.owner[segment[closed]]]] = True
    return np.where(shut.any(axis=1, keepdims=True), shut, out)


def _touched(task: ReadTask, middles: Floats, ground: _Ground, more_m: float) -> np.ndarray:
    """Cell and segment of each pair that touch, (2, n), cells made larger by `more_m` on each side."""
    per_metre = np.array(degrees_per_metre(float(middles[:, 1].mean())))
    half = np.array([task.cell_lon, task.cell_lat]) / 2 + more_m * per_metre
    cells = shapely.box(*(middles - half).T, *(middles + half).T)
    return np.asarray(ground.segments.query(cells, predicate="intersects"))
