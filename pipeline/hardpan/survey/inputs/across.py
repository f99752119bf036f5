"""The plan of a paddock, read from the folder of its result, to stand beside those of others."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely

from hardpan.core.errors import InputError
from hardpan.records.across import PaddockResult
from hardpan.records.after import RECORD
from hardpan.records.ledger import Strategy
from hardpan.records.totals import Total, Totals
from hardpan.records.trail import MANIFEST
from hardpan.records.weather import FitDays
from hardpan.survey.inputs.earlier import zones_of
from hardpan.survey.inputs.folders import read_record

_FIGURES = {"ripped_ha": "ripped_ha", "net": "net", "hours": "hours", "litres": "fuel_l"}
"""Figure of a result to its name among the strategies of run.json."""


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
        return PaddockResult(
            name=str(record["name"]),
            zones=zones_of(record, pyproj.CRS.from_user_input(record["working_crs"])),
            plan_number=str(manifest["plan"]),
            totals=totals_of(record),
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
