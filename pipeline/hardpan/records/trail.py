"""Where a result comes from."""

import hashlib
from dataclasses import dataclass

import pandas as pd

MANIFEST = "run.json"
"""The file that marks a folder as a result of this tool: where it comes from, and what was written into it."""


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

    @property
    def plan_number(self) -> str:
        """Eight signs that are the same for the same inputs, settings and version, for example "7F3A-21C0"."""
        parts = (self.version, self.settings_digest, *(f"{name} {digest}" for name, digest in self.inputs.items()))
        digest = hashlib.sha256("\n".join(parts).encode()).hexdigest().upper()
        return f"{digest[:4]}-{digest[4:8]}"

    @property
    def day(self) -> str:
        """Day the run was started, year-month-day."""
        return self.started[:10]
