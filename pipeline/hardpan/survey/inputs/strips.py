"""TrialStrips of a trial: polygons that say what was done to them."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.errors import InputError
from hardpan.records.trial import LOCAL_METRES, STRIP, Treatment, TrialSettings, TrialStrips
from hardpan.spatial.datum import plan_move
from hardpan.survey import files, geodesy, repairs, vectors
from hardpan.survey.notes import Log, attribute, listed
from hardpan.survey.vocabulary import fold


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
        source = geodesy.flat(layer.crs or geodesy.read_crs(settings.crs, key="trial.crs"))
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
