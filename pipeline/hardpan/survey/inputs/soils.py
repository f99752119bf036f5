"""Soil polygons and lab cores, from file to working CRS."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.soils import SoilType
from hardpan.survey import cores, files, geodesy, numbers, repairs, soil_labels, soils, vectors
from hardpan.survey.columns import Text, TextTable
from hardpan.survey.inputs.places import places_of
from hardpan.survey.inputs.tables import open_table
from hardpan.survey.notes import Land, Log
from hardpan.survey.settings import ProbeSettings, SoilSettings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cores:
    """A file of lab cores as read."""

    grid: TextTable
    table: pd.DataFrame
    """A row a core, as text, with the column `row`."""
    mark: str
    """Decimal mark."""
    values: Mapping[str, Floats]
    """What was measured, in the units of the record."""


def read_soils(settings: SoilSettings, land: Land, soil_types: Mapping[str, SoilType], log: Log) -> gpd.GeoDataFrame:
    """Soil polygons that cover the boundary once; the whole of it is one type where no file is given."""
    if settings.polygons is None:
        soil_labels.refuse_wrong_targets(settings, soil_types)
        whole, told = soils.one_soil(land.boundary, land.crs, settings, soil_types)
        log.note(told)
        return whole
    layer, source = _open_polygons(settings, settings.polygons, log)
    shapes, repaired = repairs.repair(layer.table.geometry.to_numpy(), layer.file)
    table, empty = repairs.drop_empty(layer.table.set_geometry(shapes), layer.file)
    moved = geodesy.move_geometry(table.geometry.to_numpy(), geodesy.to_working_crs(source, land, layer.file, log))
    table = table.set_geometry(repairs.settled(moved))
    soil_map, told = soils.map_soils(table, land.boundary, settings, soil_types, crs=land.crs, file=layer.file)
    log.note((*layer.issues, *repaired, *empty, *told))
    return soil_map


def check_soils(settings: SoilSettings, soil_types: Mapping[str, SoilType], log: Log) -> None:
    """Refuse a soil file or settings of it that cannot be used wherever the paddock lies."""
    if settings.polygons is None:
        soil_labels.refuse_wrong_targets(settings, soil_types)
        soil_labels.default_soil(settings, soil_types)
        return
    layer, _ = _open_polygons(settings, settings.polygons, log)
    soils.describe(layer.table, settings, soil_types, layer.file)


def _open_polygons(settings: SoilSettings, path: Path, log: Log) -> tuple[vectors.Layer, pyproj.CRS]:
    """Soil polygons as they lie in their file, and the CRS of that."""
    bundle = log.keep(files.load(path, what="the soil polygons", most=files.MOST_VECTOR_BYTES))
    layer = vectors.read_layer(bundle, settings.layer, key="soil.layer", leave="points")
    source = geodesy.flat(vectors.known_crs(layer, geodesy.asked(settings.crs, "soil.crs"), key="soil.crs"))
    if not (shapely.get_dimensions(layer.table.geometry.to_numpy()) == 2).any():
        raise InputError(
            what="holds no polygons", where=bundle.name, right="polygons of soil types", do="check soil.polygons"
        )
    return layer, source


def read_cores(
    settings: SoilSettings,
    probes: ProbeSettings,
    soil_map: gpd.GeoDataFrame,
    land: Land,
    *,
    soil_types: Mapping[str, SoilType],
    log: Log,
) -> gpd.GeoDataFrame:
    """Lab cores with their soil type; empty where no file is given."""
    if settings.cores is None:
        return cores.no_cores(land.crs)
    read = open_cores(settings.cores, log)
    geometry = _core_points(read, settings, probes, land=land, log=log)
    labels = read.table.get("soil_type")
    named = None if labels is None else soil_labels.match_labels(labels, settings, soil_types)
    frame, placed = cores.place(
        cores.name_cores(read.table), read.values, geometry, named, soil_map=soil_map, file=settings.cores.name
    )
    log.note(placed)
    return frame


def check_cores(settings: SoilSettings, probes: ProbeSettings | None, land: Land | None, log: Log) -> None:
    """Refuse a file of lab cores that cannot be used.

    Its positions are looked at where the ground is known and their CRS is their own: one taken from the probes is told
    with the probes.
    """
    if settings.cores is None:
        return
    read = open_cores(settings.cores, log)
    if land is not None and probes is not None and settings.cores_crs is not None:
        _core_points(read, settings, probes, land=land, log=log)


def open_cores(path: Path, log: Log) -> Cores:
    """Cores of a file as text, and what was measured on each."""
    bundle = log.keep(files.load(path, what="the lab cores"))
    grid = open_table(bundle, None, cores.score, log)
    table, factors, ignored = cores.gather(grid)
    log.note(ignored)
    numeric = [name for name in table.columns if name in {"x", "y", *cores.MEASURED}]
    mark = numbers.decimal_mark([Text.of(table[name].to_numpy()) for name in numeric], "auto", where=bundle.name)
    measured = {
        name: numbers.convert(Text.of(table[name].to_numpy()), mark) for name in factors if name in cores.MEASURED
    }
    values, unread = cores.scale(measured, factors, table, bundle.name)
    log.note(unread)
    return Cores(grid=grid, table=table, mark=mark, values=values)


def _core_points(read: Cores, settings: SoilSettings, probes: ProbeSettings, *, land: Land, log: Log) -> np.ndarray:
    table, file, key = read.table, read.grid.file, "soil.cores_crs"
    if not {"x", "y"} <= set(table.columns):
        return np.full(len(table), None)
    text = table[["x", "y", "row"]].assign(site=cores.name_cores(table))
    asked = settings.cores_crs if read.grid.crs is not None else settings.cores_crs or probes.crs
    stated = geodesy.agreed_crs(read.grid.crs, asked, key=key, file=file)
    x_m, y_m = places_of(
        text, read.mark, stated, land, degree_names=cores.DEGREES in table.attrs, key=key, file=file, log=log,
        columns="",
    )  # fmt: skip
    known = np.isfinite(x_m) & np.isfinite(y_m)
    points = np.full(len(table), None)
    points[known] = shapely.points(x_m[known], y_m[known])
    return points
