"""Task data read back as any task controller would: structure checked, nothing believed."""

import zipfile
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

import numpy as np
import shapely
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError

_NAME = "TASKDATA/TASKDATA.XML"


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

    def at(self, points: Floats) -> Floats:
        """Value at (longitude, latitude), shape (n, 2); the out-of-field value elsewhere."""
        out = np.full(len(points), float(self.outside))
        if self.cells is not None:
            row = np.floor((points[:, 1] - self.south) / self.cell_lat).astype(int)
            col = np.floor((points[:, 0] - self.west) / self.cell_lon).astype(int)
            n_rows, n_cols = self.cells.shape
            inside = (row >= 0) & (row < n_rows) & (col >= 0) & (col < n_cols)
            out[inside] = self.cells[row[inside], col[inside]]
            return out
        for polygon, value in self.polygons:
            out[shapely.contains_xy(polygon, points)] = value
        return out


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
