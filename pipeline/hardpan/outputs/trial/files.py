"""Every file of a trial, written beside its place and renamed into it at the end."""

import json
from pathlib import Path

import numpy as np
import pandas as pd

from hardpan.core.settings import parse
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.manifest import provenance, rows_of, write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.trial.page import write_trial_page
from hardpan.outputs.words.english.trial import EnglishTrial
from hardpan.outputs.words.units import Units
from hardpan.records.evidence import TrialRun
from hardpan.records.trail import MANIFEST

_DECIMALS = {"level": 2, "df": 2}
"""Of trial.csv; the others keep six digits."""


def write_trial(run: TrialRun, folder: Path) -> tuple[Path, ...]:
    """Write tables, response, page and run.json of a trial; give their paths.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    words = trial_words(run)
    with fresh_folder(folder) as work:
        _write_csv(work / "trial.csv", run.result.effects)
        _write_csv(work / "cleaning.csv", run.result.cleaning.assign(rule=run.result.cleaning["rule"].map(str)))
        write_response(work / "response.toml", run, words)
        write_trial_page(work / "trial.html", run, words)
        _write_manifest(work / MANIFEST, run, digests(work))
    return tuple(sorted(folder.iterdir()))


def trial_words(run: TrialRun) -> EnglishTrial:
    """What is said of a trial, in the units of the run's readers."""
    currency = "" if run.catalog is None else run.catalog.prices.currency
    settings = parse(OutputSettings, run.display, file=MANIFEST)
    return EnglishTrial(Units.of(settings, currency), weighed=run.result.unit == "t/ha")


def write_response(path: Path, run: TrialRun, words: EnglishTrial) -> None:
    """Write gains of soil types as tables that a configuration takes in."""
    response = run.result.response
    lines = [f"# {line}" for line in words.response_head(run.name, run.result)]
    for row in response.to_dict("records"):
        entry = {"value": row["value"], "low": row["low"], "high": row["high"]}
        numbers = ", ".join(f"{name} = {round(float(value), 3) + 0.0}" for name, value in entry.items())
        note = json.dumps(words.response_note(row), ensure_ascii=False)
        lines += [
            "",
            f"[soil.types.{json.dumps(row['soil_type'], ensure_ascii=False)}]",
            f'first_year_gain = {{ {numbers}, unit = "t/ha", source = "user", note = {note} }}',
        ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    """Write a table; numbers to six digits, for the unit of yield may be any."""
    told = table.copy()
    for name in told.select_dtypes("float"):
        told[name] = [_cell(value, _DECIMALS.get(str(name))) for value in told[name]]
    told.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def _cell(value: float, decimals: int | None) -> str:
    if not np.isfinite(value):
        return ""
    return f"{value + 0.0:.6g}" if decimals is None else f"{value:.{decimals}f}"


def _write_manifest(path: Path, run: TrialRun, files: dict[str, str]) -> None:
    result = run.result
    document = provenance(run.trail) | {
        "kind": "trial",
        "paddock": {"name": run.name},
        "seed": run.trail.seed,
        "unit": result.unit,
        "delay_s": result.delay_s,
        "model": result.model,
        "response": rows_of(result.response),
        "payback": [] if result.payback is None else rows_of(result.payback.table),
        "issues": sorted(issue.code for issue in result.issues),
    }
    write_document(path, document, files)
