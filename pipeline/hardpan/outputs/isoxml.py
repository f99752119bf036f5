"""Task data by ISO 11783-10: one task with one shape, every fallback zone safe."""

import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from hardpan.core.units import M2_PER_ACRE, M2_PER_HA, MM_PER, POUND_KG
from hardpan.outputs.guidance import GuidanceLine
from hardpan.outputs.settings import OutputSettings

TILLAGE_DEPTH, MASS_PER_AREA = "0033", "0006"
"""Data dictionary entries: 51 setpoint tillage depth, mm; 6 setpoint mass per area, mg/m2."""

_OUTSIDE, _FALLBACK, _FIRST = 0, 1, 2
"""Treatment zone codes: out of the field; start and lost position; the first of the plan."""

_MOST_CODES = 250
"""Zone codes end at 254; above this many polygons those of one value share a code."""

_GUIDANCE = "5"
"""Type of a line string to steer by."""

_STRAIGHT, _BOTH_SIDES, _BOTH_ENDS, _FROM_DESK = "1", "1", "1", "16"
"""A pattern from A to B, repeated to both sides, longer at both ends, made at a desk."""

_ENDS, _OTHER = ("6", "7"), "2"
"""Types of the points A and B of a line; of a point of no other type, before version 4."""

_MG_PER_M2_PER_KG_PER_HA = 100.0
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One job: a value for each zone, and how the display shows it."""

    name: str
    ddi: str
    targets: Mapping[int, int]
    """Zone to value in the entry's own unit."""
    says: Mapping[int, str]
    """Zone to what the operator reads."""
    outside: str
    lost: int
    """Value at the start and where the position is lost."""
    scale: float
    decimals: int
    unit: str


def rip_task(zones: gpd.GeoDataFrame, unit: str, *, lost_mm: int = 0) -> Task:
    """Task of ripping: depth in mm a zone, `lost_mm` without a position, shown in `unit`."""
    table = zones.drop_duplicates("zone").set_index("zone")
    targets = {int(zone): round(depth) for zone, depth in zip(table.index, table["depth_mm"], strict=True)}
    shown = {zone: f"{value / MM_PER[unit]:.{0 if unit == 'mm' else 1}f} {unit}" for zone, value in targets.items()}
    named = {"exclusion": "keep out", "strip": "check strip"}
    idle = {zone: named.get(str(kind), "leave") for zone, kind in table["kind"].items()}
    says = {
        zone: f"{zone}: {shown[zone]} {table.loc[zone, 'setup']}" if value else f"{zone}: {idle[zone]}, lifted"
        for zone, value in targets.items()
    }
    return Task(
        name="Rip", ddi=TILLAGE_DEPTH, targets=targets, says=says, outside="outside: lifted", lost=lost_mm,
        scale=1 / MM_PER[unit], decimals=0 if unit == "mm" else 1, unit=unit,
    )  # fmt: skip


def lime_rates(lines: pd.DataFrame) -> dict[int, float]:
    """Kg/ha of lime by zone, 0 where none, from the ledger's lines; empty where none is prescribed at all."""
    zoned = lines[lines["zone"] != "total"]
    area_ha = zoned[zoned["item"] == "area"].set_index("zone")["quantity"]
    tonnes = zoned[(zoned["item"] == "lime") & (zoned["quantity"] > 0)].set_index("zone")["quantity"]
    if tonnes.empty:
        return {}
    return {int(str(zone)): 1000.0 * tonnes.get(zone, 0.0) / hectares for zone, hectares in area_ha.items()}


def lime_task(kg_per_ha: Mapping[int, float], settings: OutputSettings) -> Task:
    """Task of spreading lime: mg/m2 a zone, shown in kg/ha or lb/ac."""
    targets = {zone: round(rate * _MG_PER_M2_PER_KG_PER_HA) for zone, rate in kg_per_ha.items()}
    us = settings.units == "us"
    scale = (M2_PER_ACRE / M2_PER_HA / POUND_KG if us else 1.0) / _MG_PER_M2_PER_KG_PER_HA
    unit = "lb/ac" if us else "kg/ha"
    says = {zone: f"{zone}: {value * scale:.0f} {unit} lime" for zone, value in targets.items()}
    return Task(
        name="Lime", ddi=MASS_PER_AREA, targets=targets, says=says, outside="outside: none",
        lost=min((target for target in targets.values() if target > 0), default=0),
        scale=scale, decimals=0, unit=unit,
    )  # fmt: skip


def write_taskdata(
    path: Path,
    *,
    tasks: tuple[Task, ...],
    parts: gpd.GeoDataFrame,
    grid: xr.DataArray | None,
    boundary: shapely.Geometry,
    identity: tuple[str, str, float],
    settings: OutputSettings,
    lines: tuple[GuidanceLine, ...] = (),
) -> None:
    """Write the zip with TASKDATA/TASKDATA.XML and a grid file for each task.

    Parameters
    ----------
    path : Path
        The zip to write; the same input gives the same bytes.
    tasks : tuple of Task
        In order; the first is the ripping.
    parts : GeoDataFrame
        Single polygons in WGS 84 with `zone`; used where the shape is "polygons".
    grid : DataArray or None
        Zone numbers (latitude, longitude), 0 outside, attributes as `task_grid.zone_grid` gives; else used.
    boundary : shapely.Geometry
        Outline of the paddock in WGS 84.
    identity : tuple
        Name of the paddock, version of this tool, area in m2.
    lines : tuple of GuidanceLine
        Lines to steer by.
    """
    name, version, area_m2 = identity
    major, minor = ("3", "3") if settings.isoxml_version == "3.3" else ("4", "3")
    root = ET.Element(
        "ISO11783_TaskData", VersionMajor=major, VersionMinor=minor, ManagementSoftwareManufacturer="hardpan",
        ManagementSoftwareVersion=version[:32], DataTransferOrigin="1",
    )  # fmt: skip
    field = ET.SubElement(root, "PFD", A="PFD1", C=_designator(name), D=str(round(area_m2)))
    for part in shapely.get_parts(boundary):
        _polygon(field, part, kind="1")
    _guidance(field, lines, groups=major == "4")
    for number, task in enumerate(tasks, 1):
        ET.SubElement(
            root, "VPN", A=f"VPN{number}", B="0", C=_number(task.scale), D=str(task.decimals), E=task.unit
        )  # fmt: skip
    binaries: dict[str, bytes] = {}
    for number, task in enumerate(tasks, 1):
        element = ET.SubElement(
            root, "TSK", A=f"TSK{number}", B=_designator(f"{task.name} {name}"), E="PFD1", G="1",
            H=str(_FALLBACK), I=str(_FALLBACK), J=str(_OUTSIDE),
        )  # fmt: skip
        binaries |= _filled(element, number, task, parts=parts, grid=grid, shape=settings.isoxml_shape)
    ET.indent(root)
    document = ET.tostring(root, xml_declaration=True, encoding="UTF-8") + b"\n"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, content in {"TASKDATA.XML": document, **binaries}.items():
            entry = zipfile.ZipInfo(f"TASKDATA/{member}", _ZIP_TIME)
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content, zipfile.ZIP_DEFLATED)


def _guidance(field: ET.Element, lines: tuple[GuidanceLine, ...], *, groups: bool) -> None:
    """Add lines to steer by to a field: patterns in a group of version 4, bare lines before it."""
    parent = ET.SubElement(field, "GGP", A="GGP1", B="Rip") if groups and lines else field
    for number, line in enumerate(lines, 1):
        says = _designator(f"{line.bearing_deg:.0f} deg, zone {', '.join(map(str, line.zones))}")
        if groups:
            holder = ET.SubElement(
                parent, "GPN", A=f"GPN{number}", B=says, C=_STRAIGHT, E=_BOTH_SIDES, F=_BOTH_ENDS, I=_FROM_DESK
            )
        else:
            holder = field
        drawn = ET.SubElement(holder, "LSG", A=_GUIDANCE, B=says, C=str(round(1000.0 * line.width_m)))
        for (east, north), kind in zip(line.ends, _ENDS if groups else (_OTHER, _OTHER), strict=True):
            ET.SubElement(drawn, "PNT", A=kind, C=f"{north:.7f}", D=f"{east:.7f}")


def _filled(
    element: ET.Element, number: int, task: Task, *, parts: gpd.GeoDataFrame, grid: xr.DataArray | None, shape: str
) -> dict[str, bytes]:
    """Add treatment zones and the shape to a task; give the grid file, if any."""
    _zone(element, number, task, code=_OUTSIDE, says=task.outside, value=0)
    shown = _shown(task, task.lost) if task.lost else task.outside.removeprefix("outside: ")
    _zone(element, number, task, code=_FALLBACK, says=f"start or signal lost: {shown}", value=task.lost)
    if shape == "polygons" or grid is None:
        for code, (members, value, says) in enumerate(_groups(task, parts), _FIRST):
            _zone(element, number, task, code=code, says=says, value=value, members=members)
        return {}
    size = max(task.targets) + 1
    if shape == "grid1":
        codes = np.full(size, _OUTSIDE, dtype="u1")
        for code, (zone, value) in enumerate(sorted(task.targets.items()), _FIRST):
            _zone(element, number, task, code=code, says=task.says[zone], value=value)
            codes[zone] = code
        cells, more = codes[grid.to_numpy()].tobytes(), {"I": "1"}
    else:
        _zone(element, number, task, code=_FIRST, says=f"{task.name.lower()} as the grid says", value=0)
        values = np.zeros(size, dtype="<i4")
        values[list(task.targets)] = list(task.targets.values())
        cells, more = values[grid.to_numpy()].tobytes(), {"I": "2", "J": str(_FIRST)}
    base = f"GRD{number:05d}"
    a = grid.attrs
    ET.SubElement(
        element, "GRD", {
            "A": _number(a["south"]), "B": _number(a["west"]), "C": _number(a["cell_lat"]),
            "D": _number(a["cell_lon"]), "E": str(grid.sizes["longitude"]), "F": str(grid.sizes["latitude"]),
            "G": base, "H": str(len(cells)), **more,
        },
    )  # fmt: skip
    return {f"{base}.bin": cells}


def _groups(task: Task, parts: gpd.GeoDataFrame) -> Iterator[tuple[list[shapely.Polygon], int, str]]:
    """Polygons with value and label: one a group, or all of one value where there are too many for codes."""
    zones = [int(zone) for zone in parts["zone"]]
    if len(parts) <= _MOST_CODES:
        for zone, part in zip(zones, parts.geometry, strict=True):
            yield [part], task.targets[zone], task.says[zone]
        return
    for value in sorted(set(task.targets.values())):
        members = [part for zone, part in zip(zones, parts.geometry, strict=True) if task.targets[zone] == value]
        yield members, value, _shown(task, value)


def _shown(task: Task, value: int) -> str:
    return f"{round(value * task.scale, task.decimals):g} {task.unit}"


def _zone(
    parent: ET.Element,
    number: int,
    task: Task,
    *,
    code: int,
    says: str,
    value: int,
    members: Iterable[shapely.Polygon] = (),
) -> None:
    zone = ET.SubElement(parent, "TZN", A=str(code), B=_designator(says))
    for part in members:
        _polygon(zone, part, kind="2")
    ET.SubElement(zone, "PDV", A=task.ddi, B=str(value), E=f"VPN{number}")


def _polygon(parent: ET.Element, shape: shapely.Polygon, *, kind: str) -> None:
    polygon = ET.SubElement(parent, "PLN", A=kind)
    for ring, role in [(shape.exterior, "1"), *((hole, "2") for hole in shape.interiors)]:
        line = ET.SubElement(polygon, "LSG", A=role)
        for east, north in shapely.get_coordinates(ring):
            ET.SubElement(line, "PNT", A="2", C=f"{north:.7f}", D=f"{east:.7f}")


def _number(value: float) -> str:
    """Decimal in plain notation with 12 decimals at most."""
    return f"{value:.12f}".rstrip("0").rstrip(".")


def _designator(text: str) -> str:
    """At most 32 characters that XML can carry."""
    return "".join(letter if letter.isprintable() else " " for letter in text)[:32].strip()
