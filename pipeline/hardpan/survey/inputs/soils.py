"""Soil polygons and lab cores, from file to working CRS."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.records.soils import SoilType
from hardpan.survey import cores, delimited, files, geodesy, numbers, positions, repairs, soil_labels, soils, vectors
from hardpan.survey.columns import Text
from hardpan.survey.land import Land
from hardpan.survey.notes import Log
from hardpan.survey.settings import ProbeSettings, SoilSettings


def read_soils(settings: SoilSettings, land: Land, soil_types: Mapping[str, SoilType], log: Log) -> gpd.GeoDataFrame:
    """Soil polygons that cover the boundary once; the whole of it is one type where no file is given."""
    if settings.polygons is None:
        soil_labels.refuse_wrong_targets(settings, soil_types)
        whole, told = soils.one_soil(land.boundary, land.crs, settings, soil_types)
        log.note(told)
        return whole
    bundle = log.keep(files.load(settings.polygons, what="the soil polygons", most=files.MOST_VECTOR_BYTES))
    layer = vectors.read_layer(bundle, settings.layer, key="soil.layer", leave="points")
    source = geodesy.flat(vectors.known_crs(layer, geodesy.asked(settings.crs, "soil.crs"), key="soil.crs"))
    shapes, repaired = repairs.repair(layer.table.geometry.to_numpy(), bundle.name)
    table, empty = repairs.drop_empty(layer.table.set_geometry(shapes), bundle.name)
    moved = geodesy.move_geometry(table.geometry.to_numpy(), geodesy.to_working_crs(source, land, bundle.name, log))
    table = table.set_geometry(repairs.settled(moved))
    soil_map, told = soils.map_soils(table, land.boundary, settings, soil_types, crs=land.crs, file=bundle.name)
    log.note((*layer.issues, *repaired, *empty, *told))
    return soil_map


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
    bundle = log.keep(files.load(settings.cores, what="the lab cores"))
    text, told = delimited.decode(bundle.whole, bundle.name)
    grid = delimited.split(text, bundle.name, cores.score)
    table, factors, ignored = cores.gather(grid)
    log.note((*told, *ignored))
    numeric = [name for name in table.columns if name in {"x", "y", *cores.MEASURED}]
    mark = numbers.decimal_mark([Text.of(table[name].to_numpy()) for name in numeric], "auto", where=bundle.name)
    measured = {
        name: numbers.convert(Text.of(table[name].to_numpy()), mark) for name in factors if name in cores.MEASURED
    }
    values, unread = cores.scale(measured, factors, table, bundle.name)
    log.note(unread)
    geometry = _core_points(table, mark, settings, probes, land=land, file=bundle.name, log=log)
    named = soil_labels.match_labels(table["soil_type"], settings, soil_types) if "soil_type" in table else None
    frame, placed = cores.place(cores.name_cores(table), values, geometry, named, soil_map=soil_map, file=bundle.name)
    log.note(placed)
    return frame


def _core_points(
    table: pd.DataFrame,
    mark: str,
    settings: SoilSettings,
    probes: ProbeSettings,
    *,
    land: Land,
    file: str,
    log: Log,
) -> np.ndarray:
    if not {"x", "y"} <= set(table.columns):
        return np.full(len(table), None)
    text = table[["x", "y", "row"]].assign(site=cores.name_cores(table))
    axes = positions.read_axes(text, mark, degree_names=cores.DEGREES in table.attrs, file=file)
    stated = geodesy.asked(settings.cores_crs or probes.crs, "soil.cores_crs")
    source, assumed = positions.choose_crs(axes, stated, land.crs, key="soil.cores_crs", file=file)
    log.note((*axes.issues, *assumed))
    x_m, y_m = geodesy.to_working_crs(source, land, file, log)(axes.x, axes.y)
    known = np.isfinite(x_m) & np.isfinite(y_m)
    points = np.full(len(table), None)
    points[known] = shapely.points(x_m[known], y_m[known])
    return points
