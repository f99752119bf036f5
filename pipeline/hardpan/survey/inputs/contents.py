"""What the files of a folder hold, as the readers of the survey recognise it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np
import shapely

from hardpan.core.errors import AmbiguousInputError, HardpanError, InputError
from hardpan.records.soils import SoilType
from hardpan.survey import column_names, cores, files, headers, rasters, soil_labels, soils, vectors
from hardpan.survey.columns import HEADER_ROWS
from hardpan.survey.inputs.probes import open_text, units_of
from hardpan.survey.inputs.tables import open_table
from hardpan.survey.notes import Bundle, Log, attribute, counted, listed
from hardpan.survey.settings import ColumnSettings, ProbeSettings, SoilSettings

Kind: TypeAlias = Literal[
    "readings", "positions", "cores", "soils", "exclusions", "polygons", "lines", "raster", "unknown"
]
_BESIDE = frozenset(
    (*files.SHAPEFILE_PARTS[1:], ".toml", ".md", ".py", ".pdf", ".html", ".json5", ".qml", ".xml", ".sbn", ".sbx")
)
"""Ends of files that are no input: parts of shapefiles, configurations, documents, styles."""
MOST_FILES = 200
"""A folder of more files is no paddock's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """What one file holds."""

    path: Path
    kind: Kind
    why: str
    """What in the file says so."""
    states: Mapping[str, str] = field(default_factory=dict)
    """What the file states for certain, by the key of the settings within its table."""
    placed: bool = True
    """Readings come with positions; a raster states its CRS."""


def look_at(folder: Path, soil_types: Mapping[str, SoilType]) -> list[Content]:
    """Contents of the files of a folder, by name; side files of shapefiles and configurations are passed over.

    Raises
    ------
    InputError
        There is no such folder, or it holds too many files.
    """
    if not folder.is_dir():
        raise InputError(what="no such folder", where=str(folder), do="give the folder with the paddock's files")
    paths = sorted(
        one for one in folder.iterdir()
        if one.is_file() and not one.name.startswith(".") and one.suffix.lower() not in _BESIDE
    )  # fmt: skip
    if len(paths) > MOST_FILES:
        raise InputError(what=f"holds more than {MOST_FILES} files", where=str(folder), do="give one paddock's folder")
    return [_look(path, soil_types) for path in paths]


def _look(path: Path, soil_types: Mapping[str, SoilType]) -> Content:
    """Content of a file: what the first reader that can make sense of it says."""
    try:
        bundle = files.load(path, what="a paddock")
    except HardpanError as err:
        return Content(path=path, kind="unknown", why=err.what)
    looks: tuple[Callable[[Path, Bundle, Mapping[str, SoilType]], Content | None], ...] = (
        _as_shapes, _as_raster, _as_readings, _as_cores, _as_places,
    )  # fmt: skip
    for look in looks:
        try:
            found = look(path, bundle, soil_types)
        except HardpanError:
            continue
        if found is not None:
            return found
    return Content(path=path, kind="unknown", why="none of the readers recognises it")


def _as_shapes(path: Path, bundle: Bundle, soil_types: Mapping[str, SoilType]) -> Content | None:
    leave: vectors.Leave = "others" if path.suffix.lower() == ".gpx" else "points"
    try:
        layer = vectors.read_layer(bundle, None, key="", leave=leave)
    except AmbiguousInputError as err:
        return Content(path=path, kind="unknown", why=err.what)
    dimension = shapely.get_dimensions(layer.table.geometry.to_numpy())
    names = [str(name).casefold() for name in layer.table.columns if name != layer.table.geometry.name]
    if dimension.max(initial=-1) < 0:
        return None
    if {"buffer_m", "kind"} & set(names):
        marks = listed(sorted({"buffer_m", "kind"} & set(names)))
        return Content(path=path, kind="exclusions", why=f"its features have the attribute {marks}")
    if (dimension == 0).all():
        return _named_points(path, layer)
    if not (dimension == 2).any():
        return Content(path=path, kind="lines", why=f"holds {counted(len(layer.table), 'line')}")
    return _polygons(path, layer, soil_types)


def _named_points(path: Path, layer: vectors.Layer) -> Content | None:
    names = [str(name) for name in layer.table.columns]
    found = column_names.find_roles(names, ColumnSettings())
    if column_names.depth_columns(names, ()) or "resistance" in found or cores.measures(names):
        return None
    if "site" in found:
        name = str(layer.table.columns[found["site"]])
        return Content(path=path, kind="positions", why=f"points that {name} names")
    return Content(path=path, kind="unknown", why="points without a name of their site")


def _polygons(path: Path, layer: vectors.Layer, soil_types: Mapping[str, SoilType]) -> Content:
    count = counted(len(layer.table), "polygon")
    try:
        column = soils.type_field(layer.table, SoilSettings(), layer.file)
    except InputError:
        return Content(path=path, kind="polygons", why=f"holds {count}")
    labels = sorted({attribute(value) for value in layer.table[column]} - {""})
    types = soil_labels.match_labels(labels, SoilSettings(), soil_types)
    known = [label for label, one in zip(labels, types, strict=True) if one is not None]
    if known:
        states = {"type_field": column}
        return Content(
            path=path, kind="soils", why=f"{count} whose {column} is a soil type: {listed(known, 3)}", states=states
        )
    names = {"name": labels[0]} if len(layer.table) == 1 and column.casefold() == "name" and labels else {}
    return Content(path=path, kind="polygons", why=f"holds {count}", states=names)


def _as_raster(path: Path, bundle: Bundle, _: Mapping[str, SoilType]) -> Content | None:
    raster = rasters.read_raster(bundle, None)
    if not np.isfinite(raster.values).any():
        return None
    remarks = "; ".join(str(issue.what) for issue in raster.issues)
    stated = raster.crs is not None
    where = f"in {raster.crs.name}" if raster.crs is not None else "that states no CRS"
    why = f"a raster {where}{f'; {remarks}' if remarks else ''}"
    return Content(path=path, kind="raster", why=why, placed=stated and not remarks)


def _as_readings(path: Path, bundle: Bundle, _: Mapping[str, SoilType]) -> Content | None:
    _grid, heading, text, mark = open_text(path, ProbeSettings(file=path), Log())
    if not heading.depths and not {"depth", "resistance"} <= heading.roles.keys():
        return None
    lines = open_table(bundle, None, lambda table: len(table.lines), Log()).rows(HEADER_ROWS)
    written = {cell for row in lines for cell in row}
    states = {
        f"columns.{role}": heading.names[at]
        for role, at in heading.roles.items()
        if role not in heading.rivals
        and heading.names[at] in written
        and list(heading.names).count(heading.names[at]) == 1
    }
    try:
        states["resistance_unit"], states["depth_unit"] = units_of(heading, text, mark)
    except InputError:
        states |= {} if heading.resistance_unit is None else {"resistance_unit": heading.resistance_unit}
        states |= {} if heading.depth_unit is None else {"depth_unit": heading.depth_unit}
    what = f"{len(heading.depths)} columns of depths" if heading.depths else "columns of depth and resistance"
    why = f"{counted(len(text.insertions), 'insertion')}, {what}"
    return Content(path=path, kind="readings", why=why, states=states, placed={"x", "y"} <= heading.roles.keys())


def _as_cores(path: Path, bundle: Bundle, _: Mapping[str, SoilType]) -> Content | None:
    table, factors, _ignored = cores.gather(open_table(bundle, None, cores.score, Log()))
    measured = [name for name in factors if name in cores.MEASURED]
    return Content(path=path, kind="cores", why=f"{counted(len(table), 'core')} with {listed(measured, 4)}")


def _as_places(path: Path, bundle: Bundle, _: Mapping[str, SoilType]) -> Content | None:
    columns = ColumnSettings()
    grid = open_table(bundle, None, lambda table: headers.score_places(table, columns), Log())
    heading = headers.find_places(grid, columns)
    named = listed([heading.names[at] for at in heading.roles.values()])
    return Content(path=path, kind="positions", why=f"columns {named}")
