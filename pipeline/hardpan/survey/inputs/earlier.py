"""Earlier results, read from their folders: for the commands after the rip, and to stand beside those of others."""

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.errors import InputError
from hardpan.records.after import READINGS, RECORD, Earlier
from hardpan.records.ledger import NET_RETURN, Strategy, Total, Totals
from hardpan.records.past import PaddockResult
from hardpan.records.trail import MANIFEST
from hardpan.records.weather import FitDays

_NUMBERS = (
    "area_ha", "depth_mm", "spacing_mm", "speed_kmh", "loosened_share", "foot_mm", "side_deg", "critical_mm", "width_m",
    "hours", "fuel_l", "beside", "again_low", "again_high", "again_mm",
)  # fmt: skip

_RIPPED = ("spacing_mm", "foot_mm", "side_deg", "width_m")
"""Numbers that a ripped zone has."""

_POLYGONS = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)

_FIGURES = {"ripped_ha": "ripped_ha", "hours": "hours", "litres": "fuel_l"}
"""Figure of a result to its name among the strategies of run.json."""

_RIGHT = "the result of `hardpan run`"


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


def read_paddock_result(folder: Path) -> PaddockResult:
    """Plan of a paddock, from the folder of `hardpan run`.

    Raises
    ------
    InputError
        The folder is no result, or its files were changed.
    """
    manifest, record = (read_record(folder, name) for name in (MANIFEST, RECORD))
    try:
        plan = next(row for row in manifest["strategies"] if row["strategy"] == Strategy.PLAN)
        totals = totals_of(record)
        return PaddockResult(
            name=str(record["name"]),
            zones=zones_of(record, pyproj.CRS.from_user_input(record["working_crs"])),
            net=totals.items[NET_RETURN].amount if NET_RETURN in totals.items else 0.0,
            plan_number=str(manifest["plan"]),
            totals=totals,
            outputs=dict(manifest["settings"].get("outputs") or {}),
            fit=None if "fit_days" not in record else fit_days_of(record["fit_days"]),
            **{ours: float(plan[theirs] or 0.0) for ours, theirs in _FIGURES.items()},
        )
    except (KeyError, ValueError, TypeError, AttributeError, StopIteration, shapely.errors.ShapelyError) as err:
        raise InputError(
            what=f"{MANIFEST} or {RECORD} is missing a part or was changed", where=str(folder), do="run again"
        ) from err


def totals_of(record: Mapping[str, Any]) -> Totals:
    """Totals in the record of a run; a `KeyError`, `TypeError` or `ValueError` where it has none or was changed."""
    items = {str(item): _total(row) for item, row in record["totals"].items()}
    return Totals(items=items, currency=str(record["currency"]), seed=int(record["seed"]))


def fit_days_of(told: Mapping[str, Any]) -> FitDays:
    """Fit days in the record of a run; a `KeyError`, `TypeError` or `ValueError` where it was changed."""
    soils, years = told["soil_types"], [int(year) for year in told["years"]]
    days = np.array([[list(bytes.fromhex(bits)) for bits in soil["fit"]] for soil in soils], dtype=np.uint8)
    fit = np.unpackbits(days, axis=2, count=int(told["days"])).astype(bool)
    if fit.shape[:2] != (len(soils), len(years)):
        raise ValueError(fit.shape)
    return FitDays(
        years=tuple(years),
        first=date.fromisoformat(told["first"]),
        soil_types=tuple(str(soil["soil_type"]) for soil in soils),
        depth_mm=tuple(float(soil["depth_mm"]) for soil in soils),
        fit=fit.transpose(1, 2, 0),
    )


def _total(row: Mapping[str, Any]) -> Total:
    quantity, amount, low, high = (float(row[name] or 0.0) for name in ("quantity", "amount", "low", "high"))
    shared, own = (np.array(row[name].split(), dtype=float) for name in ("shared", "own"))
    return Total(quantity=quantity, unit=str(row["unit"]), amount=amount, low=low, high=high, shared=shared, own=own)


def read_record(folder: Path, name: str, *, holding: frozenset[str] = frozenset()) -> dict[str, Any]:
    """Content of the JSON file `name` that `hardpan run` wrote into a folder, with the keys `holding` at least.

    Raises
    ------
    InputError
        The folder or the file is missing, or the file is no such record.
    """
    path = folder / name
    if not path.is_file():
        nowhere = "" if folder.is_dir() else "no such folder, so it "
        raise InputError(what=f"{nowhere}holds no {name}", where=str(folder), right=_RIGHT, do="give its folder")
    try:
        document: dict[str, Any] = json.loads(path.read_bytes())
        known = document["tool"] == "hardpan" and holding <= document.keys()
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        known = False
    if not known:
        raise InputError(what="is no record of a run", where=str(path), right=_RIGHT)
    return document
