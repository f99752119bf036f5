"""run.json: where a result comes from."""

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from hardpan.outputs.ownership import sealed
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import told_models
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issues
from hardpan.records.survey import DatumMove
from hardpan.records.trail import Trail

_STEADY = {".geojson", ".csv"}
"""Files whose bytes depend on nothing but inputs, settings and versions."""


def write_manifest(  # noqa: PLR0917
    path: Path, run: PaddockRun, words: Words, move: DatumMove, issues: Issues, files: dict[str, str]
) -> None:
    """Write provenance as JSON with sorted keys; everything the clock touches stands under `clock`.

    There stand the digests of all files too, and the record's own: a later run replaces nothing but what they match.

    Parameters
    ----------
    path : Path
        The file to write.
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
        "datum_moves": [_move(one) for one in (*run.survey.datum_moves, move)],
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


def _move(move: DatumMove) -> dict[str, object]:
    return {name: getattr(move, name) for name in ("file", "from_crs", "to_crs", "operation", "accuracy_m")}


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
