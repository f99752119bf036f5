"""run.json, where a result comes from; and what the commands after the rip read of a run."""

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from hardpan.outputs.ownership import sealed
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import told_models
from hardpan.records.after import READINGS, RECORD
from hardpan.records.catalog import Catalog
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issues
from hardpan.records.ledger import Total
from hardpan.records.survey import DatumMove
from hardpan.records.trail import Trail
from hardpan.records.weather import FitDays

_STEADY = {".geojson", ".csv"}
"""Files whose bytes depend on nothing but inputs, settings and versions."""


def write_manifest(  # noqa: PLR0917
    path: Path, run: PaddockRun, words: Words, move: DatumMove, issues: Issues, files: dict[str, str]
) -> None:
    """Write provenance as JSON with sorted keys; everything the clock touches stands under `clock`.

    There stand the digests of all files too, and the record's own: a later run replaces nothing but what they match.

    Parameters
    ----------
    run : PaddockRun
        The whole run.
    words : Words
        In the units of files.
    move : DatumMove
        How the zones came to WGS 84.
    issues : Issues
        All issues, those of the outputs included.
    files : dict
        Name to SHA-256 of every file of the result but this one.
    """
    document = provenance(run.trail) | {
        "paddock": {"name": run.survey.paddock.name, "area_ha": run.survey.paddock.area_ha},
        "plan": run.trail.plan_number,
        "seed": run.trail.seed,
        "working_crs": run.survey.crs.to_string(),
        "datum_moves": [asdict(one) for one in (*run.survey.datum_moves, move)],
        "cross_validation": rows_of(run.surfaces.scores),
        "residuals": rows_of(run.surfaces.residuals),
        "models": rows_of(told_models(run.surfaces, words)),
        "covariances": rows_of(run.surfaces.covariances),
        "trends": rows_of(run.surfaces.coefficients),
        "variograms": rows_of(run.surfaces.variograms),
        "verdict": words.ground.map_verdict(run.surfaces.verdict),
        "headline": words.money.headline(run.plan, run.ledger),
        "strategies": rows_of(run.ledger.strategies),
        "ways": rows_of(pd.DataFrame([asdict(one) for one in run.ledger.ways])),
        "issues": dict(sorted(Counter(issue.code for issue in issues).items())),
        "files_sha256": steady(files),
    }
    write_document(path, document, files)


def provenance(trail: Trail) -> dict[str, object]:
    """What every manifest says of where its result comes from."""
    return {
        "tool": "hardpan",
        "version": trail.version,
        "settings": trail.settings,
        "settings_sha256": trail.settings_digest,
        "inputs_sha256": trail.inputs.to_dict(),
        "versions": trail.versions.to_dict(),
        "clock": {"started": trail.started, "timings_s": trail.timings_s.to_dict()},
    }


def write_document(path: Path, document: Mapping[str, object], files: dict[str, str]) -> None:
    """Write a manifest as JSON, sealed with its own digest and those of `files` (name to SHA-256)."""
    record = sealed({key: _plain(value) for key, value in document.items()}, files)
    text = json.dumps(record, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def steady(files: Mapping[str, str]) -> dict[str, str]:
    """Digests of the files whose bytes depend on nothing but inputs, settings and versions."""
    return {name: digest for name, digest in files.items() if Path(name).suffix in _STEADY}


def rows_of(table: pd.DataFrame) -> list[dict[Any, Any]]:
    """Rows of a table by the names of its columns."""
    return table.to_dict("records")


def _plain(value: object) -> object:
    """JSON types only: NaN and infinities are null, anything unknown its text."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if np.isfinite(value) else None
    return value if value is None else str(value)


def write_record(folder: Path, run: PaddockRun) -> None:
    """Write record.json and readings.csv, all in the working CRS, mm and kPa; the same run gives the same bytes.

    record.json holds the boundary and every zone as planned: what the tines loosen (`foot_mm`, `side_deg`,
    `critical_mm`), what the machine does (`speed_kmh`, `hours`, `fuel_l`, `width_m`), after how many seasons it comes
    again (`again_low`, `again_high`) and how deep then (`again_mm`), and where it lies; and of each item of the ledger
    its total, with its draws, what other paddocks share apart; of each map how sure its mean is; and where years of
    weather were given the days on which each soil type was fit. readings.csv has one row a reading of
    the survey.
    """
    paddock, crs = run.survey.paddock, run.survey.crs
    machine = run.plan.machine.set_index("zone").to_dict("index")
    counted, again = _counted(run), _again(run)
    beside = {} if run.strips is None else dict(run.strips.table[["plan_zone", "zone"]].itertuples(index=False))
    plan = run.plan.zones.sort_values("zone")
    zones = [
        _zone(row, shape, machine.get(row["zone"], {}), run.catalog)
        | {"beside": int(beside.get(row["zone"], 0)) or None}
        | counted.get(str(row["zone"]), {})
        | again.get(row["zone"], {})
        for row, shape in zip(plan.drop(columns="geometry").to_dict("records"), plan.geometry, strict=True)
    ]
    document = {
        "tool": "hardpan",
        "name": paddock.name,
        "working_crs": crs.to_wkt(),
        "boundary": shapely.to_wkt(paddock.ground, rounding_precision=3),
        "threshold_kpa": run.pan.threshold_kpa,
        "zones": zones,
        "seed": run.trail.seed,
        "currency": run.rates.currency,
        "mean_sd": {band: round(sd, 6) for band, sd in run.surfaces.mean_sd.items()},
        "totals": {item: _total(total) for item, total in run.ledger.totals.items()},
    }
    if run.outlook is not None and run.outlook.fit is not None:
        document["fit_days"] = _fit_days(run.outlook.fit)
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
    (folder / RECORD).write_text(text + "\n", encoding="utf-8", newline="\n")
    write_table(folder / READINGS, run.survey.profiles.table)


def _zone(
    row: Mapping[Any, Any], shape: shapely.Geometry, machine: Mapping[Any, Any], catalog: Catalog
) -> dict[str, object]:
    setup = catalog.setups.get(str(row["setup"]))
    plan = {
        **{name: int(str(row[name])) for name in ("zone", "depth_mm")},
        **{name: str(row[name]) for name in ("kind", "soil_type", "setup")},
        **{name: _number(row[name]) for name in ("area_ha", "spacing_mm", "speed_kmh", "loosened_share")},
        "geometry": shapely.to_wkt(shape, rounding_precision=3),
    }
    if setup is None:
        return plan
    plates = 0.0 if setup.plate_width is None else setup.plate_width.value
    return plan | {
        "foot_mm": max(setup.foot_width.value, plates),
        "side_deg": setup.side_angle.value,
        "critical_mm": _number(machine.get("critical_depth_mm")),
        "width_m": _number(machine.get("width_m")),
    }


def _counted(run: PaddockRun) -> dict[str, dict[str, object]]:
    """Zone to its hours and litres, as the ledger counts them."""
    lines, counted = run.ledger.lines, dict[str, dict[str, object]]()
    for item, name in (("hours", "hours"), ("fuel", "fuel_l")):
        for zone, quantity in lines[lines["item"] == item][["zone", "quantity"]].itertuples(index=False):
            counted.setdefault(str(zone), {})[name] = _number(quantity)
    return counted


def _again(run: PaddockRun) -> dict[int, dict[str, object]]:
    """Zone to the seasons after which it comes again, at least and at most, and how deep then."""
    rows = run.ledger.when_again[["zone", "seasons_low", "seasons_high", "depth_mm"]].itertuples(index=False)
    return {
        int(zone): {"again_low": _number(low), "again_high": _number(high), "again_mm": _number(depth_mm)}
        for zone, low, high, depth_mm in rows
    }


def _fit_days(fit: FitDays) -> dict[str, object]:
    """Fit days by soil type, one number in hexadecimal a year: its bits are the days, the first day the highest."""
    days = np.packbits(fit.fit, axis=1)
    return {
        "first": fit.first.isoformat(),
        "years": list(fit.years),
        "days": fit.fit.shape[1],
        "soil_types": [
            {"soil_type": name, "depth_mm": depth_mm, "fit": [bits.tobytes().hex() for bits in days[:, :, number]]}
            for number, (name, depth_mm) in enumerate(zip(fit.soil_types, fit.depth_mm, strict=True))
        ],
    }


def _total(total: Total) -> dict[str, object]:
    figures = {name: _number(getattr(total, name)) for name in ("quantity", "amount", "low", "high")}
    draws = {name: " ".join(f"{each + 0.0:.2f}" for each in getattr(total, name)) for name in ("shared", "own")}
    return {"unit": total.unit, **figures, **draws}


def _number(value: object) -> float | None:
    number = float(str(value)) if value is not None else float("nan")
    return round(number, 6) if np.isfinite(number) else None
