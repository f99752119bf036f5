"""Readings of all insertions on one grid of depths, and what they say of a pan."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.records.survey import Stop

STEP_MM = 10.0
"""Step of the depth grid: readings are linear between one another, and no penetrometer reads finer."""
DEEPEST_MM = 800.0
THINNEST_MM = 50.0
"""A thinner hard layer does not end loosened ground."""
CRUST_MM = 100.0
"""A hard layer that ends above this depth is a crust."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gridded:
    """Cone index on the grid of depths."""

    about: pd.DataFrame
    """One row an insertion: `insertion`, `site`, `x_m`, `y_m`, `theta` (mean)."""
    kpa: Floats
    """(n_insertions, n_depths): NaN below the last reading; where strength stopped the rod, its last reading."""

    def rows(self, chosen: Bools) -> "Gridded":
        """Insertions that a mask picks."""
        return Gridded(about=self.about[chosen].reset_index(drop=True), kpa=self.kpa[chosen])


def depths_mm() -> Floats:
    """The grid of depths."""
    return np.arange(0.0, DEEPEST_MM + STEP_MM / 2.0, STEP_MM)


def gridded(readings: pd.DataFrame) -> Gridded:
    """Readings (columns of readings.csv) on the grid, in the order in which insertions come."""
    by = readings.groupby("insertion", sort=False)
    about = by[["site", "x_m", "y_m", "stop"]].first().join(by["theta"].mean()).reset_index()
    kpa = np.empty((len(about), depths_mm().size))
    ordered = readings.sort_values("depth_mm", kind="stable")
    depth, value = (ordered[name].to_numpy(float) for name in ("depth_mm", "cone_index_kpa"))
    at = ordered.groupby("insertion", sort=False).indices
    for row, (name, stop) in enumerate(zip(about["insertion"], about["stop"], strict=True)):
        own = value[at[name]]
        below = own[-1] if stop in {Stop.REFUSAL, Stop.LIMIT} else np.nan
        # Nobody reads at the surface: down to the first reading the ground is as hard as there.
        kpa[row] = np.interp(depths_mm(), depth[at[name]], own, left=own[0], right=below)
    return Gridded(about=about.astype({"site": str})[["insertion", "site", "x_m", "y_m", "theta"]], kpa=kpa)


def excess(kpa: Floats, threshold_kpa: float, to_mm: float) -> Floats:
    """Resistance above the threshold summed from the crust down to a depth, kPa mm, (n_insertions,).

    NaN where the readings end above it.
    """
    depth = depths_mm()
    within = (depth >= CRUST_MM) & (depth <= to_mm)
    return np.asarray(np.maximum(kpa[:, within] - threshold_kpa, 0.0).sum(axis=1) * STEP_MM)


def loose_to_mm(kpa: Floats, threshold_kpa: float, most_mm: float) -> Floats:
    """Depth down to which the ground reads below the threshold, at most `most_mm`, (n_insertions,).

    Hard layers thinner than `THINNEST_MM`, and crusts, do not end it; NaN where the readings end in soft ground above
    `most_mm`.
    """
    depth, n = depths_mm(), round(THINNEST_MM / STEP_MM)
    hard = kpa >= threshold_kpa
    # A layer begins where it and the next n - 1 depths are hard, and reaches below the crust.
    runs = np.stack([np.roll(hard, -shift, axis=1) for shift in range(n)]).all(axis=0)
    runs = runs & (depth + THINNEST_MM > CRUST_MM) & (depth <= DEEPEST_MM - THINNEST_MM)
    begins = np.where(runs.any(axis=1), depth[runs.argmax(axis=1)], np.inf)
    known = np.where(np.isfinite(kpa), depth, 0.0).max(axis=1)
    reached = np.minimum(begins, most_mm)
    return np.where(np.isfinite(begins) | (known >= most_mm - STEP_MM), reached, np.nan)
