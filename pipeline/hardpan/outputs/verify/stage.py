"""Everything that is written of a pass that was probed afterwards."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.settings import parse
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.geodesy import to_display
from hardpan.outputs.geojson import write_collection
from hardpan.outputs.manifest import provenance, rows_of, steady, write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.tables import write_table
from hardpan.outputs.verify.applied import applied_record, write_applied
from hardpan.outputs.verify.page import write_verify_page
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import Units
from hardpan.records.after import Found, Mean, Position, VerifyRun, ZoneFound
from hardpan.records.trail import MANIFEST


def verify_words(run: VerifyRun) -> Words:
    """Words in the units of the run's readers."""
    return speak(Units.of(_settings(run), run.catalog.prices.currency), run.catalog)


def headlines(run: VerifyRun) -> list[str]:
    """The answer in one sentence, and that of the machine's log where one was given, for a terminal."""
    words = speak(Units.of_terminal(_settings(run), run.catalog.prices.currency), run.catalog)
    logged = [] if run.applied is None else [words.applied.headline(run.applied)]
    return [words.after.headline(run.found), *logged]


def _settings(run: VerifyRun) -> OutputSettings:
    given = run.earlier.settings.get("outputs", {})
    return parse(OutputSettings, given if isinstance(given, dict) else {}, file=MANIFEST)


def write_verify(run: VerifyRun, folder: Path) -> tuple[Path, ...]:
    """Write verify.csv, verify.geojson, verify.html and run.json into `folder`, whole or not at all; give their paths.

    Where a log was given, also applied.csv, cleaning.csv and observed.toml.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    words, plain = verify_words(run), speak(Units.of_files(run.catalog.prices.currency), run.catalog)
    table = verdict_table(run.found, plain)
    zones = run.earlier.zones[["zone", "geometry"]].merge(table, on="zone")
    shown, _, issues = to_display(gpd.GeoDataFrame(zones, geometry="geometry", crs=run.earlier.crs))
    with fresh_folder(folder) as work:
        write_table(work / "verify.csv", table)
        _write_geojson(work / "verify.geojson", shown, run.earlier.name)
        if run.applied is not None:
            write_applied(work, run.applied, plain)
        write_verify_page(work / "verify.html", run, (*run.issues, *issues), words)
        _write_manifest(work / MANIFEST, run, words)
    return tuple(sorted(folder.iterdir()))


def verdict_table(found: Found, words: Words) -> pd.DataFrame:
    """One row a zone; `low` and `high` are those of the depth midway, of the line where midway was not probed."""
    return pd.DataFrame([_row(one, words) for one in found.zones])


def _row(one: ZoneFound, words: Words) -> dict[str, object]:
    line, midway = (one.reached.get(place) for place in (Position.LINE, Position.MIDWAY))
    depth, across, broken = midway or line, one.across, one.broken
    return {
        "zone": one.zone,
        "verdict": str(one.verdict),
        "reached_line_mm": np.nan if line is None else line.value,
        "reached_midway_mm": np.nan if midway is None else midway.value,
        "low": _end(depth, "low"),
        "high": _end(depth, "high"),
        "opened_share": _within(across, "value"),
        "opened_low": _within(across, "low"),
        "opened_high": _within(across, "high"),
        "insertions": one.insertions,
        "advice": words.after.advice(one),
        "expected_line_mm": one.expected_mm[Position.LINE],
        "expected_midway_mm": one.expected_mm[Position.MIDWAY],
        "broken_share": _within(broken, "value"),
        "broken_low": _within(broken, "low"),
        "broken_high": _within(broken, "high"),
        "planned_share": one.planned_share,
        "more_insertions": one.more,
    }


def _end(mean: Mean | None, name: str) -> float:
    value = np.nan if mean is None else float(getattr(mean, name))
    return value if np.isfinite(value) else np.nan


def _within(mean: Mean | None, name: str) -> float:
    return float(np.clip(_end(mean, name), 0.0, 1.0))


def _write_geojson(path: Path, shown: gpd.GeoDataFrame, name: str) -> None:
    rows = [{key: _plain(value) for key, value in row.items()} for row in rows_of(shown.drop(columns="geometry"))]
    write_collection(path, {"name": name}, rows, shown.geometry.to_numpy())


def _write_manifest(path: Path, run: VerifyRun, words: Words) -> None:
    files = digests(path.parent)
    document = provenance(run.trail) | {
        "command": "verify",
        "paddock": {"name": run.earlier.name},
        "headline": words.after.headline(run.found),
        "applied": None if run.applied is None else applied_record(run.applied),
        "moisture": rows_of(run.found.moisture.round(4)),
        "files_sha256": steady(files),
    }
    write_document(path, document, files)


def _plain(value: object) -> object:
    if isinstance(value, float | np.floating):
        return round(float(value), 4) if np.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value
