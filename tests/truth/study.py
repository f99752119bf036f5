"""The truth study: maps of simulated paddocks against what is really there.

Run `make truth`, or `python -m truth.study [paddocks [sites | heavy | ground]]`; prints the tables of tests/README.md.
"""

import sys

import numpy as np
import pandas as pd

from fields import Recipe, Truth, believe_stopped, drop_stopped, invent, shorten_rods
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan

HELD_OUT = 4000
"""First seed of the tables' paddocks; those from 0, 100, 1000 and 3000 on were looked at when priors were settled."""

NORMAL_95 = 1.6448536269514722


def judge(truth: Truth, pan) -> dict[str, float]:
    """Map the pan and compare the bottom with the truth on the cells that have a pan."""
    surfaces = map_pan(pan, truth.survey, SurfaceSettings(cell_m=truth.survey.frame.cell_m, draws=20), seed=1)
    on = truth.present & surfaces.inside
    error = surfaces.maps["pan_bottom_mm"].to_numpy()[on] - truth.bottom_mm[on]
    sd = surfaces.maps["pan_bottom_sd_mm"].to_numpy()[on]
    return {
        "bias_mm": float(error.mean()),
        "rmse_mm": float(np.sqrt(np.mean(error**2))),
        "coverage_90": float(np.mean(np.abs(error) <= NORMAL_95 * sd)),
        "sd_mm": float(np.sqrt(np.mean(sd**2))),
    }


def run(
    paddocks: int,
    n_sites: tuple[int, ...] = (25, 100),
    shares: tuple[float, ...] = (0.0, 0.15, 0.5),
    *,
    naive: bool = True,
    first: int = 0,
) -> pd.DataFrame:
    """One row a paddock, number of sites, share stopped and treatment."""
    rows = []
    for sites in n_sites:
        for stopped in shares:
            for seed in range(first, first + paddocks):
                truth = invent(Recipe(n_sites=sites, stopped=stopped), seed)
                treatments = {"likelihood": truth.pan}
                if naive and stopped:
                    treatments |= {"dropped": drop_stopped(truth.pan), "face value": believe_stopped(truth.pan)}
                for treatment, pan in treatments.items():
                    row = {"sites": sites, "stopped": stopped, "treatment": treatment, "paddock": seed}
                    rows.append(row | judge(truth, pan))
    return pd.DataFrame(rows)


OTHER_GROUND: dict[str, dict[str, float | int]] = {
    "strength says nothing of depth": {"together": 0.0},
    "range 150 m": {"range_m": 150.0},
    "range 900 m": {"range_m": 900.0},
    "rough within a site": {"micro_mm": 30.0},
    "one insertion a site": {"replicates": 1},
}
"""Paddocks that differ from the usual recipe in one thing."""


def run_other_ground(
    paddocks: int,
    n_sites: int = 36,
    stopped: float = 0.3,
    *,
    first: int = 100,
    kinds: tuple[str, ...] = tuple(OTHER_GROUND),
) -> pd.DataFrame:
    """One row a paddock and kind of ground."""
    rows = []
    for name in kinds:
        change = OTHER_GROUND[name]
        for seed in range(first, first + paddocks):
            truth = invent(Recipe(n_sites=n_sites, stopped=stopped, **change), seed)
            row = {"treatment": name, "sites": n_sites, "stopped": stopped, "paddock": seed}
            rows.append(row | judge(truth, truth.pan))
    return pd.DataFrame(rows)


def run_heavy(
    paddocks: int,
    shares: tuple[float, ...] = (0.0, 0.5, 0.7, 0.85, 0.95, 0.99),
    reasons: tuple[str, ...] = ("stopped", "short rods"),
    *,
    n_sites: int = 36,
    first: int = 0,
) -> pd.DataFrame:
    """One row a paddock, share of bottoms not seen and reason: stopped by strength, or rods too short."""
    rows = []
    for reason in reasons:
        for share in shares:
            for seed in range(first, first + paddocks):
                stopped = share if reason == "stopped" else 0.0
                truth = invent(Recipe(n_sites=n_sites, stopped=stopped, cell_m=30.0), seed)
                truth = truth if reason == "stopped" else shorten_rods(truth, share)
                row = {"treatment": reason, "sites": n_sites, "stopped": share, "paddock": seed}
                rows.append(row | judge(truth, truth.pan))
    return pd.DataFrame(rows)


def summarise(rows: pd.DataFrame) -> pd.DataFrame:
    """Means over the paddocks; RMSE as root of the mean square."""
    grouped = rows.groupby(["treatment", "sites", "stopped"], sort=False)
    return pd.DataFrame(
        {
            "paddocks": grouped.size(),
            "bias_mm": grouped["bias_mm"].mean(),
            "bias_se_mm": grouped["bias_mm"].sem(),
            "rmse_mm": grouped["rmse_mm"].agg(lambda x: np.sqrt(np.mean(x**2))),
            "sd_mm": grouped["sd_mm"].agg(lambda x: np.sqrt(np.mean(x**2))),
            "coverage_90": grouped["coverage_90"].mean(),
            "coverage_se": grouped["coverage_90"].sem(),
        }
    ).reset_index()


def lay_out(table: pd.DataFrame) -> str:
    """A summary as the lines of a table in tests/README.md; ± is the standard error over the paddocks."""
    return "\n".join(
        f"| {row.sites} | {100 * row.stopped:.0f} % | {row.treatment} | {row.paddocks}"
        f" | {row.bias_mm:.1f} ± {row.bias_se_mm:.1f} | {row.rmse_mm:.1f} | {row.sd_mm:.1f}"
        f" | {row.coverage_90:.3f} ± {row.coverage_se:.3f} |"
        for row in table.itertuples()
    )


PARTS = {
    "sites": lambda count: run(count, first=HELD_OUT),
    "heavy": lambda count: run_heavy(count, first=HELD_OUT + 200),
    "ground": lambda count: run_other_ground(count // 2, first=HELD_OUT + 100),
}
"""The tables, each made of so many paddocks a row."""


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    for part in sys.argv[2:] or PARTS:
        print(lay_out(summarise(PARTS[part](count))), "\n")  # noqa: T201
