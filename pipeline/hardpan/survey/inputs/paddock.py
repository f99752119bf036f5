"""The paddock's ground: boundary and exclusions, from file to working CRS."""

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from hardpan.core.errors import InputError
from hardpan.survey import boundaries, files, geodesy, repairs, vectors
from hardpan.survey.land import Land
from hardpan.survey.notes import Log, warned
from hardpan.survey.settings import PaddockSettings


def read_boundary(settings: PaddockSettings, log: Log) -> Land:
    """Paddock in the working CRS, which the boundary decides."""
    bundle = log.keep(files.load(settings.boundary, what="the boundary", most=files.MOST_VECTOR_BYTES))
    layer = vectors.read_layer(bundle, settings.boundary_layer, key="paddock.boundary_layer", leave="points")
    source = geodesy.flat(
        vectors.known_crs(
            layer, geodesy.asked(settings.boundary_crs, "paddock.boundary_crs"), key="paddock.boundary_crs"
        )
    )
    table, empty = repairs.drop_empty(layer.table, bundle.name)
    table, beside = boundaries.leave_out(table, bundle.name)
    table, picked = boundaries.pick(table, settings.boundary_feature, settings.name, bundle.name)
    shapes, closed = boundaries.polygons_of(
        table.geometry.to_numpy(), bundle.name, unit="degrees" if source.is_geographic else "m"
    )
    shapes, repaired = repairs.repair(shapes, bundle.name)
    log.note((*layer.issues, *empty, *beside, *picked, *closed, *repaired))
    whole = shapely.union_all([shape for shape in shapes if shape is not None])
    if whole.is_empty or whole.area <= 0:
        raise InputError(what="the boundary has no area", where=bundle.name, right="a polygon")
    bounds = geodesy.degrees_bounds(whole.bounds, source, bundle.name)
    crs = geodesy.working_crs(settings.crs, source, (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    land = Land(boundary=whole, crs=crs, bounds=bounds)
    moved = geodesy.move_geometry(np.asarray([whole]), geodesy.to_working_crs(source, land, bundle.name, log))
    return Land(boundary=repairs.settled(moved)[0], crs=crs, bounds=bounds)


def read_exclusions(settings: PaddockSettings, land: Land, log: Log) -> gpd.GeoDataFrame:
    """Exclusions, clipped and disjoint; empty where no file is given."""
    opened = open_exclusions(settings, log)
    if opened is None:
        return boundaries.no_exclusions(land.crs)
    layer, source = opened
    shapes = layer.table.geometry.to_numpy()
    areas = shapely.get_dimensions(shapes) == 2
    mended, repaired = repairs.repair(np.asarray(np.where(areas, shapes, None)), layer.file)
    shapes = np.asarray(np.where(areas, mended, shapes))
    table, empty = repairs.drop_empty(layer.table.set_geometry(shapes), layer.file)
    move = geodesy.to_working_crs(source, land, layer.file, log)
    moved = geodesy.move_geometry(table.geometry.to_numpy(), move)
    moved = repairs.settled(moved)
    frame, left_out = boundaries.exclude(
        table.set_geometry(moved), land.boundary, land.crs, layer.file, visible_kinds=settings.visible_kinds
    )
    log.note((*layer.issues, *repaired, *empty, *left_out))
    return frame


def open_exclusions(settings: PaddockSettings, log: Log) -> tuple[vectors.Layer, pyproj.CRS] | None:
    """Exclusions as they lie in their file, and the CRS of that; None where there are none."""
    if settings.exclusions is None:
        return None
    bundle = log.keep(files.load(settings.exclusions, what="the exclusions", most=files.MOST_VECTOR_BYTES))
    layer = vectors.read_layer(bundle, settings.exclusions_layer, key="paddock.exclusions_layer", least=0)
    if layer.table.empty:
        log.note((warned("no-exclusions", "holds no features", "no ground is excluded", file=bundle.name),))
        return None
    asked = geodesy.asked(settings.exclusions_crs, "paddock.exclusions_crs")
    return layer, geodesy.flat(vectors.known_crs(layer, asked, key="paddock.exclusions_crs"))
