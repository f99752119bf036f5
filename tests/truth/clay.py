"""The truth study of the clay limit: how much ground is in clay at the depth that the map's own quantile allows.

Run `python -m truth.clay [paddocks]`; prints the table of tests/README.md, section Clay.
"""

import sys
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import KDTree

from fields import Recipe, invent, unit_field
from hardpan.options.loosening import clay_chance
from hardpan.surfaces.clay import map_clay
from hardpan.surfaces.domain import build_domain
from hardpan.surfaces.settings import SurfaceSettings

RISK = 0.05
SOIL = "sand over clay"
MEAN_MM, MAP_ERROR, SPREAD = 500.0, 0.15, (0.05, 0.15)
"""True mean stated by the soil map with a standard error of 15 %; true spread between 5 and 15 % of the depth."""
CORE_ERROR_MM, LENGTH_M = 15.0, (80.0, 300.0)
WRONG, SOFT_MM = 0.2, 80.0
"""Share of the hard layers below a pan that are not clay but lie anywhere, and soft ground within the clay."""


def in_clay(seed: int, n_cores: int, *, n_sites: int = 20, hard: float = 0.0) -> tuple[float, float]:
    """Share of the soil type's true ground with clay above the deepest depth the map allows, and that depth, mm.

    The margin is left aside; a share `hard` of the insertions meets a hard layer below the pan.
    """
    rng = np.random.default_rng(seed)
    truth = invent(Recipe(n_sites=n_sites), seed)
    settings = SurfaceSettings(cell_m=truth.survey.frame.cell_m, draws=200)
    domain, _ = build_domain(truth.pan.insertions, truth.survey, settings)
    of_soil = domain.cells.xy_m[domain.cells.soil == domain.soil_types.index(SOIL)]
    mean_mm = MEAN_MM * (1.0 + MAP_ERROR * rng.standard_normal())
    sd_mm, length_m = rng.uniform(*SPREAD) * mean_mm, rng.uniform(*LENGTH_M)
    true_mm = mean_mm + sd_mm * unit_field(of_soil, length_m, seed)
    at = rng.choice(len(of_soil), n_cores, replace=False)
    cores = gpd.GeoDataFrame(
        {"soil_type": [SOIL] * n_cores, "clay_depth_mm": true_mm[at] + rng.normal(0.0, CORE_ERROR_MM, n_cores)},
        geometry=list(shapely.points(of_soil[at])),
        crs=truth.survey.crs,
    )
    insertions = meet_hard(truth.pan.insertions, of_soil, true_mm, hard, rng)
    clay = map_clay(replace(truth.survey, cores=cores), insertions, domain, settings, seed=seed)
    nodes = domain.nodes.soil == domain.soil_types.index(SOIL)
    depths = np.arange(0.0, 1000.0, 5.0)
    share = clay_chance(clay.draws_mm[:, nodes].astype(np.float32), depths).mean(axis=0)
    allowed_mm = float(depths[share <= RISK].max())
    return float((true_mm < allowed_mm).mean()), allowed_mm


def meet_hard(
    insertions: gpd.GeoDataFrame, of_soil: np.ndarray, true_mm: np.ndarray, share: float, rng: np.random.Generator
) -> gpd.GeoDataFrame:
    """The insertions, of which a `share` meets a hard layer: within the clay of the nearest cell, or some other."""
    at = KDTree(of_soil).query(np.column_stack([insertions.geometry.x, insertions.geometry.y]))[1]
    n = len(insertions)
    in_clay_mm = true_mm[at] + rng.uniform(0.0, SOFT_MM, n)
    met = np.where(rng.uniform(size=n) < WRONG, rng.uniform(350.0, 700.0, n), in_clay_mm)
    passed = insertions["bottom_mm"].to_numpy() < met
    return insertions.assign(next_mm=np.where(passed & (rng.uniform(size=n) < share), met, np.nan))


def run(paddocks: int) -> pd.DataFrame:
    """One row a number of cores and share of hard layers: mean share of the ground in clay with its standard error."""
    rows = []
    for n_cores, hard in [(0, 0.0), (2, 0.0), (4, 0.0), (12, 0.0), (0, 0.5), (4, 0.5)]:
        found = np.array([in_clay(900 + seed, n_cores, n_sites=60, hard=hard) for seed in range(paddocks)])
        shares, allowed = found.T
        error = shares.std(ddof=1) / np.sqrt(paddocks)
        rows.append({"cores": n_cores, "hard": hard, "in_clay": shares.mean(), "error": error, "mm": allowed.mean()})
    return pd.DataFrame(rows)


if __name__ == "__main__":
    print(run(int(sys.argv[1]) if len(sys.argv) > 1 else 24).round(3).to_string(index=False))  # noqa: T201
