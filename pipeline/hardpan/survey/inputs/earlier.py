"""An earlier run, read from its folder."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.errors import InputError
from hardpan.records.after import READINGS, RECORD, Earlier
from hardpan.records.trail import MANIFEST
from hardpan.survey.inputs.folders import read_record

_NUMBERS = (
    "area_ha", "depth_mm", "spacing_mm", "speed_kmh", "loosened_share", "foot_mm", "side_deg", "critical_mm", "width_m",
    "hours", "fuel_l", "beside", "again_low", "again_high", "again_mm",
)  # fmt: skip


_RIPPED = ("spacing_mm", "foot_mm", "side_deg", "width_m")
"""Numbers that a ripped zone has."""

_POLYGONS = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)


def read_earlier(folder: Path) -> Earlier:
    """What a run left in its folder for the commands after the rip.

    Raises
    ------
    InputError
        The folder is no result of `hardpan run`, or its files were changed or are of a version without them.
    """
    manifest, record = (read_record(folder, name) for name in (MANIFEST, RECORD))
    try:
        crs = pyproj.CRS.from_user_input(record["working_crs"])
        return Earlier(
            name=str(record["name"]),
            crs=crs,
            boundary=shapely.from_wkt(record["boundary"]),
            threshold_kpa=float(record["threshold_kpa"]),
            zones=zones_of(record, crs),
            readings=_readings(folder / READINGS),
            settings=dict(manifest["settings"]),
            models=pd.DataFrame(manifest.get("models", [])),
            version=str(manifest["version"]),
        )
    except (KeyError, ValueError, TypeError, shapely.errors.ShapelyError, pyproj.exceptions.CRSError, OSError) as err:
        raise InputError(
            what=f"{RECORD} or {READINGS} is missing a part or was changed",
            where=str(folder),
            right="the result of `hardpan run` as it was written",
            do="run again",
        ) from err


def zones_of(record: Mapping[str, Any], crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Zones in the record of a run, as in `Earlier.zones`; a `KeyError` or `ValueError` where it was changed."""
    table = pd.DataFrame(record["zones"])
    for name in _NUMBERS:
        table[name] = pd.to_numeric(table[name]) if name in table else float("nan")
    shapes = shapely.from_wkt(table["geometry"].to_numpy(dtype=object))
    ripped = table["depth_mm"] > 0
    whole = table[["area_ha", "depth_mm"]].notna().all(axis=None) and table.loc[ripped, list(_RIPPED)].notna().all(
        axis=None
    )
    if not whole or not np.isin(shapely.get_type_id(shapes), _POLYGONS).all():
        raise ValueError(RECORD)
    return gpd.GeoDataFrame(table.drop(columns="geometry"), geometry=shapes, crs=crs)


def _readings(path: Path) -> pd.DataFrame:
    text = dict.fromkeys(("insertion", "site", "date", "stop"), str)
    table = pd.read_csv(path, dtype=text, keep_default_na=False, na_values={"theta": [""]})
    numbers = ["x_m", "y_m", "depth_mm", "cone_index_kpa", "theta"]
    if table.empty:
        raise ValueError(path.name)
    return table.astype(dict.fromkeys(numbers, float))
