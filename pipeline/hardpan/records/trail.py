"""Where a result comes from."""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trail:
    """Provenance of a run, for run.json."""

    version: str
    versions: pd.Series
    """Library name to version."""
    settings: dict[str, object]
    """The whole configuration as used, JSON-ready."""
    settings_digest: str
    inputs: pd.Series
    """File name to SHA-256."""
    seed: int
    started: str
    """UTC, ISO 8601."""
    timings_s: pd.Series
    """Stage to seconds."""
