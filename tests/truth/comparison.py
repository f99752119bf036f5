"""The study of comparisons: maps of one ground at two thresholds, and what their difference is known to.

Paddocks of known ground are mapped from the same insertions twice: to the bottom of the pan, and to a second bottom
that lies above it by a field of its own, as that of a higher threshold does. The maps' errors go together, but not
wholly. `python -m truth.comparison [paddocks]` prints the table of tests/README.md.
"""

import sys
from dataclasses import replace

import numpy as np
import pandas as pd

from fields import Recipe, Truth, invent, unit_field
from hardpan.compare.differences import NORMAL_95, bottom_difference, error_correlation, find_maps
from hardpan.records.past import PastRun
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan

CELL_M = 30.0
GROUND = {"thresholds near one another": (8.0, 300.0), "thresholds far apart": (25.0, 200.0)}
"""Standard deviation (mm) and range (m) of the field between the two bottoms."""
APART_MM, READ_MM = 40.0, 6.0
"""Mean between the two bottoms, and what readings of an insertion add."""


def higher(truth: Truth, sd_mm: float, range_m: float, seed: int) -> Truth:
    """The same insertions read at a higher threshold, and the bottom that is there."""
    frame, insertions = truth.survey.frame, truth.pan.insertions.copy()
    x, y = (grid.ravel() for grid in np.meshgrid(frame.x_m, frame.y_m))
    at = np.column_stack([insertions.geometry.x, insertions.geometry.y])
    rise = APART_MM + sd_mm * unit_field(np.vstack([np.column_stack([x, y]), at]), range_m, seed + 77)
    read = rise[x.size :] + READ_MM * np.random.default_rng([seed, 50]).normal(size=len(at))
    for column in ("bottom_mm", "bottom_low_mm", "bottom_high_mm"):
        insertions[column] = insertions[column] - read
    above = rise[: x.size].reshape(frame.shape)
    return replace(truth, pan=replace(truth.pan, insertions=insertions), bottom_mm=truth.bottom_mm - above)


def mapped(truth: Truth) -> PastRun:
    """What is kept of a map of the ground."""
    surfaces = map_pan(truth.pan, truth.survey, SurfaceSettings(cell_m=CELL_M, draws=100), seed=1)
    maps = {
        str(name): np.where(truth.present, of.to_numpy(), np.nan)
        for name, of in surfaces.maps.items() if str(name).startswith("pan_bottom")
    }  # fmt: skip
    return PastRun(
        name="", document={}, zones=None, tallies=None, insertions=None, maps=maps, grid=(0.0, 0.0, CELL_M), draws={},
        mean_sd=surfaces.mean_sd, residuals=surfaces.residuals,
    )  # fmt: skip


def study(seeds: range) -> pd.DataFrame:
    """One row a paddock: shares of cells whose interval holds the true difference, and whether that of the mean does.

    `together` counts the correlation of the errors, `apart` does not.
    """
    rows = []
    for kind, field in GROUND.items():
        for seed in seeds:
            truth = invent(Recipe(n_sites=49, stopped=0.0, cell_m=CELL_M), seed)
            second = higher(truth, *field, seed)
            one, other = mapped(truth), mapped(second)
            real = np.where(truth.present, second.bottom_mm - truth.bottom_mm, np.nan)
            row = {"kind": kind, "correlation": error_correlation(one, other)}
            for name, before in (("together", one), ("apart", replace(one, residuals=one.residuals[:0]))):
                row |= {f"{name}_{what}": held for what, held in judged(before, other, real).items()}
            rows.append(row)
    return pd.DataFrame(rows)


def judged(before: PastRun, after: PastRun, real: np.ndarray) -> dict[str, float]:
    """How the intervals of cells and of the mean hold the true difference."""
    difference, _ = bottom_difference(before, after)
    # a cell is clear where it differs by more than its interval: move the later map so that its error is what differs
    moved = replace(after, maps=after.maps | {"pan_bottom_mm": after.maps["pan_bottom_mm"] - real})
    _, missed = bottom_difference(before, moved)
    (mean,) = (row for row in find_maps(before, after) if row[1] == "pan_bottom_mm")
    known = np.isfinite(difference)
    return {
        "holds": 1.0 - float(np.isfinite(missed)[known].mean()),
        "mean_holds": float(mean[4] <= np.nanmean(real) <= mean[5]),
        "mean_sd_mm": (mean[5] - mean[4]) / (2.0 * NORMAL_95),
        "mean_error_mm": float(mean[3] - mean[2] - np.nanmean(real)),
    }


def main() -> None:
    """Print the means of the study by kind of ground."""
    found = study(range(int(sys.argv[1]) if len(sys.argv) > 1 else 10))
    by = found.groupby("kind", sort=False)
    rms = by["together_mean_error_mm"].apply(lambda error: float(np.sqrt(np.mean(error**2))))
    print(by.mean().assign(rms_mean_error_mm=rms).round(2).T.to_string())  # noqa: T201


if __name__ == "__main__":
    main()
