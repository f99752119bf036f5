"""Gate and wheel tracks, from settings and file to working CRS."""

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from hardpan.core.errors import InputError, SettingsError
from hardpan.core.said import Said, distance
from hardpan.records.access import AccessSettings
from hardpan.survey import files, geodesy, repairs, vectors
from hardpan.survey.land import Land
from hardpan.survey.notes import Log, warned

FARTHEST_GATE_M = 5000.0
"""A gate farther from the paddock than this is a slip: other axes, another CRS, another place."""


def read_gate(settings: AccessSettings, land: Land, log: Log) -> shapely.Point | None:
    """Gate in the working CRS; None where none is given.

    Raises
    ------
    SettingsError
        It has no place there, or lies far from the paddock.
    """
    if settings.gate is None:
        return None
    source = geodesy.read_crs(settings.gate_crs, key="sites.gate_crs")
    x, y = settings.gate
    swapped = source.is_geographic and abs(y) > 90 >= abs(x)
    move = geodesy.to_working_crs(source, land, "sites.gate", log)
    at = np.column_stack(move(np.array([x]), np.array([y])))[0]
    away_m = land.boundary.distance(shapely.Point(at)) if np.isfinite(at).all() else np.inf
    if away_m > FARTHEST_GATE_M:
        where = "has no place on this ground" if np.isinf(away_m) else f"is {away_m / 1000:,.0f} km from the paddock"
        raise SettingsError(
            what=f"the gate at {x:g}, {y:g} {where}",
            where="sites.gate",
            right="[longitude, latitude], or x and y with sites.gate_crs",
            do="swap the two" if swapped else "check the coordinates",
        )
    if away_m > 0:
        what = Said("the gate lies {away} outside the boundary", away=distance(float(away_m), 0))
        log.note((warned("gate-outside", what, "the walk begins there, on a straight line"),))
    return shapely.Point(at)


def read_tramlines(settings: AccessSettings, land: Land, log: Log) -> gpd.GeoSeries:
    """Lines of wheel tracks within the paddock; empty where no file is given.

    Raises
    ------
    InputError
        The file cannot be used, or holds no lines.
    """
    opened = open_tramlines(settings, log)
    if opened is None:
        return gpd.GeoSeries([], crs=land.crs)
    lines, source, file = opened
    moved = geodesy.move_geometry(lines, geodesy.to_working_crs(source, land, file, log))
    near = moved[shapely.intersects(shapely.envelope(moved), shapely.envelope(land.boundary))]
    if not len(near):
        log.note((warned("tramlines-elsewhere", "no wheel track crosses the paddock", "none kept off", file=file),))
    return gpd.GeoSeries(near, crs=land.crs)


def open_tramlines(settings: AccessSettings, log: Log) -> tuple[np.ndarray, pyproj.CRS, str] | None:
    """Lines of wheel tracks as they lie in their file, the CRS and name of that; None where there are none.

    Raises
    ------
    InputError
        The file cannot be used, or holds no lines.
    """
    if settings.tramlines is None:
        return None
    bundle = log.keep(files.load(settings.tramlines, what="the tramlines", most=files.MOST_VECTOR_BYTES))
    layer = vectors.read_layer(bundle, settings.tramlines_layer, key="sites.tramlines_layer", leave="points")
    asked = geodesy.asked(settings.tramlines_crs, "sites.tramlines_crs")
    source = geodesy.flat(vectors.known_crs(layer, asked, key="sites.tramlines_crs"))
    table, empty = repairs.drop_empty(layer.table, bundle.name)
    lines = table.geometry.to_numpy()
    if not len(lines) or (shapely.get_dimensions(lines) == 0).any():
        raise InputError(what="holds no lines" if not len(lines) else "holds points", where=bundle.name, right="lines")
    log.note((*layer.issues, *empty))
    return lines, source, bundle.name
