"""Gate, wheel tracks, and the strips of a trial, from settings and file to working CRS."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.errors import InputError, SettingsError
from hardpan.core.said import Said, distance
from hardpan.records.probing import AccessSettings
from hardpan.records.trial import LOCAL_METRES, STRIP, Treatment, TrialSettings, TrialStrips
from hardpan.spatial.datum import plan_move
from hardpan.survey import files, geodesy, repairs, vectors
from hardpan.survey.notes import Land, Log, attribute, listed, warned
from hardpan.survey.vocabulary import fold

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
            what=f"the gate at {x:.10g}, {y:.10g} {where}",
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
    if (shapely.get_dimensions(lines) == 2).all():
        raise InputError(what="holds polygons", where=bundle.name, right="lines of wheel tracks")
    log.note((*layer.issues, *empty))
    return lines, source, bundle.name


def read_strips(settings: TrialSettings, path: Path, crs: pyproj.CRS | None, log: Log) -> TrialStrips:
    """TrialStrips in the working CRS.

    Parameters
    ----------
    crs : pyproj.CRS or None
        Working CRS of the run that laid the strips out; None: the UTM zone they lie in, or the local metres of the
        trial.

    Raises
    ------
    InputError
        A feature is no polygon, its treatment is not known, or one treatment is missing.
    """
    bundle = log.keep(files.load(path, what="the strips"))
    layer = vectors.read_layer(bundle, None, key="trial.strips")
    shapes, issues = repairs.repair(layer.table.geometry.to_numpy(), bundle.name)
    if shapely.is_missing(shapes).any():
        raise InputError(what="a feature is no polygon", where=bundle.name, right="one polygon a strip")
    if settings.crs != LOCAL_METRES:
        source = geodesy.flat(layer.crs or geodesy.asked(settings.crs, "trial.crs") or pyproj.CRS(vectors.WGS84))
        bounds = geodesy.degrees_bounds(tuple(shapely.total_bounds(shapes)), source, bundle.name)
        middle = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
        crs = crs or geodesy.working_crs("auto", source, *middle)
        shapes = geodesy.move_geometry(shapes, plan_move(source, crs, bounds, file=bundle.name).points)
    elif crs is not None:
        raise InputError(what="strips of a run lie on the map", where="trial.crs", do="give the CRS of the points")
    log.note((*layer.issues, *issues))
    table = gpd.GeoDataFrame(_attributes(layer.table, bundle.name), geometry=shapes, crs=crs)[list(STRIP)]
    return TrialStrips(table=table, crs=crs)


def _attributes(table: gpd.GeoDataFrame, file: str) -> pd.DataFrame:
    names = {fold(str(name)): name for name in table.columns}
    if "treatment" not in names:
        raise InputError(what="no attribute treatment", where=file, right="treatment = ripped | unripped")
    treatment = [attribute(value).casefold() for value in table[names["treatment"]]]
    unknown = sorted(set(treatment) - set(Treatment))
    if unknown:
        raise InputError(what=f"treatment {listed(unknown)} is not known", where=file, right="ripped or unripped")
    missing = [str(one) for one in Treatment if one not in treatment]
    if missing:
        raise InputError(what=f"no strip is {missing[0]}", where=file, right="strips of both treatments")
    return pd.DataFrame(
        {
            "strip": np.arange(1, len(table) + 1),
            "treatment": treatment,
            "pair": _whole(table, names, "pair", file),
            "zone": _whole(table, names, "zone", file),
            "depth_mm": _numbers(table, names, "depth mm", file),
            "soil_type": [attribute(value) for value in table[names["soil type"]]] if "soil type" in names else "",
        }
    )


def _numbers(table: gpd.GeoDataFrame, names: dict[str, str], role: str, file: str) -> np.ndarray:
    """Numbers of an attribute, NaN where there is none."""
    if role not in names:
        return np.full(len(table), np.nan)
    texts = [attribute(value) for value in table[names[role]]]
    found = pd.to_numeric(pd.Series(texts).replace("", None), errors="coerce").to_numpy(dtype=float)
    spoilt = [text for text, number in zip(texts, found, strict=True) if text and np.isnan(number)]
    if spoilt:
        raise InputError(what=f"{names[role]} is {listed(spoilt)}", where=file, right="numbers")
    return found


def _whole(table: gpd.GeoDataFrame, names: dict[str, str], role: str, file: str) -> np.ndarray:
    """Whole numbers of an attribute, 0 where there is none."""
    found = np.nan_to_num(_numbers(table, names, role, file))
    if (found != np.round(found)).any():
        raise InputError(what=f"{names[role]} is no whole number", where=file, right="1, 2, 3 ...")
    return np.asarray(found, dtype=np.int64)
