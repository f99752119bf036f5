"""The truth study of the decision: what a prescription really returns on paddocks whose pan is known.

Run `python -m truth.decision [paddocks [first seed]]`; prints the table of tests/README.md, section Decision.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from fields import Recipe, Truth, invent
from hardpan.money.stage import price_machines
from hardpan.options.economy import Economy, economy_of, loss_of
from hardpan.options.ground import Ground, build_ground
from hardpan.options.loosening import cumulated_excess, depth_grid_mm
from hardpan.options.stage import weigh_options
from hardpan.options.totals import weights_of
from hardpan.prescription.stage import settle_zones
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings, SeasonSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.pan import PanFeatures
from hardpan.records.surfaces import Surfaces
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan
from hardpan.zones.settings import ZoneSettings
from hardpan.zones.stage import draw_zones
from truth.known import draw_known

BLOCK_CELLS = 4
"""Perfect knowledge decides for blocks of 4 x 4 cells (60 m), about the least zone a machine is asked to follow."""
FIRST_SEED = 200
"""Paddocks whose seeds lie below were looked at while zones and priors were settled."""
KNOWN_DRAWS = 200
OTHERS = ["best_uniform", "mean_plus_50"]
SHIPPED, CONTROLLED = SeasonSettings(), SeasonSettings(controlled_traffic=True)


@dataclass(frozen=True, kw_only=True, eq=False)
class Worked:
    """One paddock taken from probes to plan, and the true net return of every option on every cell."""

    net: np.ndarray
    """(n_rows, n_cols, n_options), money per ha."""
    option: np.ndarray
    """(n_rows, n_cols): the prescription."""
    mapped: np.ndarray
    """(n_rows, n_cols): what pays best by the map's own draws, cell by cell."""
    known: np.ndarray
    """(n_rows, n_cols): what pays best by draws of one who has the same readings and knows how the ground was made."""
    plus_50: np.ndarray
    """(n_rows, n_cols): the zone's kriged mean bottom plus 50 mm, rounded up to the step, everywhere."""
    ripped_zones: int
    zone_cost: float
    cell_ha: float

    def total(self, option: np.ndarray | int) -> float:
        """The true net return of the paddock, money."""
        chosen = np.broadcast_to(option, self.net.shape[:2])[..., None]
        return float(np.take_along_axis(self.net, chosen, axis=2).sum() * self.cell_ha)

    @property
    def perfect(self) -> float:
        """What the best option of each block returns, money."""
        rows, cols, options = self.net.shape
        whole = self.net[: rows - rows % BLOCK_CELLS, : cols - cols % BLOCK_CELLS]
        blocks = whole.reshape(rows // BLOCK_CELLS, BLOCK_CELLS, cols // BLOCK_CELLS, BLOCK_CELLS, options)
        return float(blocks.sum(axis=(1, 3)).max(axis=-1).sum() * self.cell_ha)


def work(truth: Truth, recipe: Recipe, season: SeasonSettings, *, draws: int = 100, map_true: bool = False) -> Worked:
    """Take a paddock through map, options, zones and plan with the shipped tables, or from the truth as its map on."""
    config = Config(paddock={"name": "invented", "boundary": Path()}, probes={"file": Path()})
    catalog, asked = read_catalog(config), DecisionSettings(season=season)
    survey, pan = truth.survey, truth.pan
    surfaces = map_pan(pan, survey, SurfaceSettings(cell_m=survey.frame.cell_m, draws=draws), seed=1)
    surfaces = true_map(surfaces, truth) if map_true else surfaces
    rates = price_machines(catalog, season, surfaces.soil_types, n_draws=draws, seed=1)
    evidence = Evidence(survey=survey, pan=pan, surfaces=surfaces)
    options = weigh_options(evidence, catalog, rates, asked=asked)
    zones = draw_zones(evidence, options, catalog, ZoneSettings(), asked=asked.prescription, seed=1)
    zones, plan = settle_zones(zones, options, evidence, catalog, rates, asked=asked)
    table, ground = options.table, build_ground(surfaces, survey, catalog, asked.prescription)
    key = {(row.setup, row.depth_mm): row.option for row in table.itertuples()}
    of_zone = {row.zone: key[row.setup, row.depth_mm] for row in plan.zones.itertuples()}
    fitted = [row.setup for row in plan.zones.itertuples() if row.depth_mm > 0]
    bottom = surfaces.maps["pan_bottom_mm"].to_numpy()
    labels = zones.labels
    setup = fitted[0] if fitted else "winged"
    deepest = table.loc[table["setup"] == setup, "depth_mm"].max()
    plus = {
        zone: key[setup, min(deepest, int(np.ceil((np.nanmean(bottom[zones.labels == zone]) + 50.0) / 25.0) * 25))]
        for zone in plan.zones["zone"]
    }
    stage = {"surfaces": surfaces, "options": options, "ground": ground, "catalog": catalog, "rates": rates}
    known = draw_known(truth, recipe, draws=KNOWN_DRAWS, seed=1)
    there = [one.reshape(1, -1) for one in (truth.top_mm, truth.bottom_mm, truth.present)]
    return Worked(
        net=net_of(there, pan, **stage),
        mapped=options.net.argmax(axis=1)[surfaces.node_of_cell],
        known=net_of(known[:3], pan, **stage).argmax(axis=2),
        option=np.vectorize(lambda zone: of_zone.get(zone, 0))(labels),
        plus_50=np.vectorize(lambda zone: plus.get(zone, 0))(labels),
        ripped_zones=int((plan.zones["depth_mm"] > 0).sum()),
        zone_cost=catalog.prices.extra_zone.value,
        cell_ha=surfaces.frame.cell_area_ha,
    )


def true_map(surfaces: Surfaces, truth: Truth) -> Surfaces:
    """Surfaces whose maps are the truth, and whose draws at a node are what is there on its cells in turn."""
    node, top = surfaces.node_of_cell.ravel(), np.minimum(truth.top_mm, truth.bottom_mm - 20.0)
    count = np.bincount(node[node >= 0])
    cells = np.argsort(node, kind="stable")[np.count_nonzero(node < 0) :]
    turn = np.arange(surfaces.draws.sizes["draw"])[:, None] % count
    there = {"present": truth.present, "top_mm": top, "bottom_mm": truth.bottom_mm}
    drawn = {
        name: (("draw", "node"), values.ravel()[cells[np.cumsum(count) - count + turn]])
        for name, values in there.items()
    }
    sure = {name: 0.0 * surfaces.maps[name] for name in ("pan_top_sd_mm", "pan_bottom_sd_mm")}
    maps = {"pan_probability": truth.present.astype(float), "pan_top_mm": top, "pan_bottom_mm": truth.bottom_mm}
    maps = {
        name: surfaces.maps[name].copy(data=np.where(surfaces.inside, values, np.nan)) for name, values in maps.items()
    }
    return replace(surfaces, maps=surfaces.maps.assign(maps | sure), draws=surfaces.draws.assign(drawn))


def net_of(
    ground_draws: Sequence[np.ndarray],
    pan: PanFeatures,
    *,
    surfaces: Surfaces,
    options: Options,
    ground: Ground,
    catalog: Catalog,
    rates: Rates,
) -> np.ndarray:
    """The mean net return of every option on every cell over draws of top, bottom and presence, (k, n_cells).

    At the expected prices and gains, and with peaks as usual on the soil type; 0 outside.
    """
    candidates = options.table[["option", "setup", "depth_mm", "spacing_mm"]]
    loss = loss_of(ground, pan, catalog.response)
    economy = economy_of(
        candidates,
        ground,
        catalog,
        rates,
        loss=loss,
        draft=options.draft,
        moist_mm=np.full(len(ground.soils), np.inf),
        tines=options.tines,
    )
    soil = np.nan_to_num(surfaces.maps["soil"].to_numpy()).astype(int).ravel()
    usual_kpa = np.nan_to_num(ground.usual_strength_kpa)[soil]
    return priced((*ground_draws, np.broadcast_to(usual_kpa, ground_draws[0].shape)), economy, surfaces)


def priced(ground_draws: Sequence[np.ndarray], economy: Economy, surfaces: Surfaces) -> np.ndarray:
    """The mean net return per ha of every option on every cell over draws of top, bottom, presence and peak."""
    worth, cost = economy.worth.mean(axis=0), economy.cost().mean(axis=1)
    soil = np.nan_to_num(surfaces.maps["soil"].to_numpy()).astype(int).ravel()
    clay = surfaces.maps["clay_depth_mm"].to_numpy().ravel()
    reach = np.where(np.isnan(clay), np.inf, np.floor(clay / 10.0) * 10.0)
    grid = depth_grid_mm(float(economy.section["depth_mm"].max()))
    net = np.zeros((soil.size, len(economy.table)))
    for depth in np.unique(reach):
        cells = np.flatnonzero(reach == depth)
        weights = weights_of(economy.section, economy.drawn, grid, reach_mm=float(depth), moist_mm=np.inf).used.mean(
            axis=0
        )
        excess = np.zeros((cells.size, grid.size))
        for upper, lower, there, peak in zip(*(one[:, cells] for one in ground_draws), strict=True):
            edges = np.minimum(upper, lower - 20.0).astype(np.float32), lower.astype(np.float32)
            lost = there * economy.loss.relative(*edges, peak.astype(np.float32))
            excess += lost[:, None] * cumulated_excess(*edges, economy.loss.shape, grid)
        net[cells] = worth[soil[cells], None] * (excess / len(ground_draws[0]) @ weights) - cost[soil[cells]]
    net[~surfaces.inside.ravel()] = 0.0
    return net.reshape(*surfaces.frame.shape, -1)


def judge(worked: Worked) -> dict[str, float]:
    """The true net return of the strategies, and the prescription's share of what perfect knowledge returns."""
    setting = worked.zone_cost * max(0, worked.ripped_zones - 1)
    prescribed = worked.total(worked.option) - setting
    return {
        "prescription": prescribed,
        "perfect": worked.perfect,
        "cell_by_cell": worked.total(worked.net.argmax(axis=2)),
        "known": worked.total(worked.known),
        "mapped": worked.total(worked.mapped),
        "zoned": worked.total(worked.option),
        "share": prescribed / worked.perfect,
        "best_uniform": max(worked.total(option) for option in range(worked.net.shape[2])),
        "mean_plus_50": worked.total(worked.plus_50),
        "ripped_share": float((worked.option > 0).mean()),
    }


def run(paddocks: int, cases: dict[str, tuple[Recipe, SeasonSettings]], first: int = FIRST_SEED) -> pd.DataFrame:
    """One row a paddock and case, paddocks made with the seeds from `first` on."""
    return pd.DataFrame(
        [
            {"case": name, "paddock": seed} | judge(work(invent(recipe, seed), recipe, season))
            for name, (recipe, season) in cases.items()
            for seed in range(first, first + paddocks)
        ]
    )


def summarise(rows: pd.DataFrame) -> pd.DataFrame:
    """The money of all paddocks together, and how often the prescription beats the others."""
    grouped = rows.groupby("case", sort=False)
    sums = grouped[["prescription", "perfect", "cell_by_cell", "known", "mapped", "zoned", *OTHERS]].sum()
    share = sums.div(sums["perfect"], axis=0)
    return pd.DataFrame(
        {
            "paddocks": grouped.size(),
            "share_of_perfect": share["prescription"],
            "error": grouped.apply(_share_error),
            "data_allow": share["known"],
            "map_allows": share["mapped"],
            "before_setting": share["zoned"],
            "of_cell_by_cell": sums["prescription"] / sums["cell_by_cell"],
            "worst_share": grouped["share"].min(),
            **{name: share[name] for name in OTHERS},
            "beats_uniform": grouped.apply(lambda g: (g["prescription"] >= g["best_uniform"] - 1e-6).mean()),
            "beats_plus_50": grouped.apply(lambda g: (g["prescription"] >= g["mean_plus_50"] - 1e-6).mean()),
        }
    ).reset_index()


def _share_error(rows: pd.DataFrame) -> float:
    """The standard error of the share of all paddocks together (a ratio of means)."""
    off = rows["prescription"] - rows["prescription"].sum() / rows["perfect"].sum() * rows["perfect"]
    return float(off.std() / np.sqrt(len(rows)) / rows["perfect"].mean())


CASES = {
    "100 sites": (Recipe(n_sites=100), SHIPPED),
    "25 sites": (Recipe(n_sites=25), SHIPPED),
    "100 sites, controlled traffic": (Recipe(n_sites=100), CONTROLLED),
    "25 sites, controlled traffic": (Recipe(n_sites=25), CONTROLLED),
    "100 sites, half stopped, controlled traffic": (Recipe(n_sites=100, stopped=0.5), CONTROLLED),
    "100 sites, quarter without a pan, controlled traffic": (Recipe(n_sites=100, absent=0.25), CONTROLLED),
}

if __name__ == "__main__":
    asked = [int(word) for word in sys.argv[1:]] or [16]
    print(summarise(run(asked[0], CASES, *asked[1:])).round(3).to_string(index=False))  # noqa: T201
