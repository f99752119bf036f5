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
from hardpan.costs.lines import draw_lines, total_of
from hardpan.money.stage import price_machines
from hardpan.options.choice import change_cost
from hardpan.options.economy import Economy, economy_of, loss_of
from hardpan.options.ground import Ground, build_ground
from hardpan.options.loosening import cumulated_excess, depth_grid_mm
from hardpan.options.response import RootLoss
from hardpan.options.sections import weights_of
from hardpan.options.stage import weigh_options
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
    setting: float
    """Money for setting the zones and for changing the fittings."""
    loss: tuple[float, float]
    """Chance that the prescription loses money: as predicted, and over the same draws of money on the true pan."""
    cell_ha: float

    def total(self, option: np.ndarray | int) -> float:
        """The true net return of the paddock, money."""
        chosen = np.broadcast_to(option, self.net.shape[:2])[..., None]
        return float(np.take_along_axis(self.net, chosen, axis=2).sum() * self.cell_ha)

    @property
    def perfect(self) -> float:
        """What the best option of each block returns, money."""
        return best_of_blocks(self.net, BLOCK_CELLS) * self.cell_ha


def best_of_blocks(net: np.ndarray, side: int) -> float:
    """Sum over blocks of `side` cells a side of what the best option returns there.

    Parameters
    ----------
    net : (n_rows, n_cols, n_options)
        What each option returns in each cell.
    """
    rows, cols, options = net.shape
    whole = net[: rows - rows % side, : cols - cols % side]
    blocks = whole.reshape(rows // side, side, cols // side, side, options)
    return float(blocks.sum(axis=(1, 3)).max(axis=-1).sum())


def work(
    truth: Truth,
    recipe: Recipe,
    season: SeasonSettings,
    *,
    draws: int = 100,
    map_true: bool = False,
    bounded: bool = True,
) -> Worked:
    """Take a paddock through map, options, zones and plan with the shipped tables, or from the truth as its map on.

    What the readings allow is left out, for time, where it is not `bounded`.
    """
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
    known = draw_known(truth, recipe, draws=KNOWN_DRAWS if bounded else 2, seed=1)
    there = [one.reshape(1, -1) for one in (truth.top_mm, truth.bottom_mm, truth.present, truth.peak_kpa)]
    option = np.vectorize(lambda zone: of_zone.get(zone, 0))(labels)
    cost = total_of(draw_lines(plan, catalog, rates), "cost")
    true = true_returns(there, option, economy_with(pan, **stage), surfaces, cost)
    return Worked(
        net=net_of(there, pan, **stage),
        mapped=options.net.argmax(axis=1)[surfaces.node_of_cell],
        known=net_of(known, pan, **stage).argmax(axis=2),
        option=option,
        plus_50=np.vectorize(lambda zone: plus.get(zone, 0))(labels),
        setting=float((plan.setting * (plan.zones["depth_mm"] > 0)).sum() + change_cost(catalog, plan.fitting_h).sum()),
        loss=(float((plan.returns.sum(axis=0) < 0.0).mean()), float((true < 0.0).mean())),
        cell_ha=surfaces.frame.cell_area_ha,
    )


def true_map(surfaces: Surfaces, truth: Truth) -> Surfaces:
    """Surfaces whose maps are the truth, and whose draws at a node are what is there on its cells in turn."""
    node, top = surfaces.node_of_cell.ravel(), np.minimum(truth.top_mm, truth.bottom_mm - 20.0)
    count = np.bincount(node[node >= 0])
    cells = np.argsort(node, kind="stable")[np.count_nonzero(node < 0) :]
    turn = np.arange(surfaces.draws.sizes["draw"])[:, None] % count
    there = {"present": truth.present, "top_mm": top, "bottom_mm": truth.bottom_mm, "peak_kpa": truth.peak_kpa}
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
    """The mean net return of every option on every cell over draws of top, bottom, presence and peak, (k, n_cells).

    At the expected prices and gains, with the plan's number of tines; 0 outside.
    """
    economy = economy_with(pan, surfaces=surfaces, options=options, ground=ground, catalog=catalog, rates=rates)
    return priced(ground_draws, economy, surfaces)


def economy_with(
    pan: PanFeatures, *, surfaces: Surfaces, options: Options, ground: Ground, catalog: Catalog, rates: Rates
) -> Economy:
    """The economy that the plan was chosen by, on ground that is moist throughout."""
    return economy_of(
        options.table[["option", "setup", "depth_mm", "spacing_mm"]],
        ground,
        catalog,
        rates,
        loss=loss_of(ground, pan, catalog.response),
        draft=options.draft,
        moist_mm=np.full(len(surfaces.soil_types), np.inf),
        tines=options.tines,
    )


def priced(ground_draws: Sequence[np.ndarray], economy: Economy, surfaces: Surfaces) -> np.ndarray:
    """The mean net return per ha of every option on every cell over draws of top, bottom, presence and peak.

    0 outside; -inf where the machine does not pull the option.
    """
    worth, pulled = economy.worth.mean(axis=0), economy.pullable() | (economy.section["depth_mm"] == 0)
    cost = np.where(pulled, economy.cost().mean(axis=1), np.inf)
    soil, reach = ground_of(surfaces)
    grid = depth_grid_mm(float(economy.section["depth_mm"].max()))
    net = np.zeros((soil.size, len(economy.table)))
    for depth in np.unique(reach):
        cells = np.flatnonzero(reach == depth)
        weights = weights_of(economy.section, economy.drawn, grid, reach_mm=float(depth), moist_mm=np.inf).used.mean(
            axis=0
        )
        lost = np.zeros((cells.size, grid.size))
        for drawn in zip(*(one[:, cells] for one in ground_draws), strict=True):
            lost += lost_above(economy.loss, drawn, grid)
        net[cells] = worth[soil[cells], None] * (lost / len(ground_draws[0]) @ weights) - cost[soil[cells]]
    net[~surfaces.inside.ravel()] = 0.0
    return net.reshape(*surfaces.frame.shape, -1)


def ground_of(surfaces: Surfaces) -> tuple[np.ndarray, np.ndarray]:
    """Soil type and depth below which a tine gains nothing, mm, of each cell, (n_cells,)."""
    clay = surfaces.maps["clay_depth_mm"].to_numpy().ravel()
    reach = np.where(np.isnan(clay), np.inf, np.floor(clay / 10.0) * 10.0)
    return np.nan_to_num(surfaces.maps["soil"].to_numpy()).astype(int).ravel(), reach


def lost_above(loss: RootLoss, drawn: Sequence[np.ndarray], grid_mm: np.ndarray) -> np.ndarray:
    """Root growth lost above each depth of the grid on each cell, over what the reference pan takes, (n, n_grid).

    `drawn` are top and bottom (mm), presence and peak (kPa), (n,) each.
    """
    top, bottom, present, peak = drawn
    edges = np.minimum(top, bottom - 20.0).astype(np.float32), bottom.astype(np.float32)
    lost = present * loss.relative(*edges, peak.astype(np.float32))
    return lost[:, None] * cumulated_excess(*edges, loss.shape, grid_mm)


def true_returns(
    there: Sequence[np.ndarray], option: np.ndarray, economy: Economy, surfaces: Surfaces, cost: np.ndarray
) -> np.ndarray:
    """Net return of a plan on the true pan in each draw of gain, tool and money, (n_draws,), its own `cost` paid."""
    grid, (soil, reach) = depth_grid_mm(float(economy.section["depth_mm"].max())), ground_of(surfaces)
    lost = lost_above(economy.loss, [one[0] for one in there], grid) * surfaces.frame.cell_area_ha
    lost[~surfaces.inside.ravel()] = 0.0
    total = -cost
    group = np.arange(len(economy.worth)) % len(economy.drawn)
    for code, deep, chosen in {*zip(soil.tolist(), reach.tolist(), option.ravel().tolist(), strict=True)}:
        cells = (soil == code) & (reach == deep) & (option.ravel() == chosen)
        used = weights_of(economy.section, economy.drawn, grid, reach_mm=deep, moist_mm=np.inf).used
        total = total + economy.worth[:, code] * (used[group, :, chosen] @ lost[cells].sum(axis=0))
    return np.asarray(total)


def judge(worked: Worked) -> dict[str, float]:
    """The true net return of the strategies, and the prescription's share of what perfect knowledge returns."""
    prescribed = worked.total(worked.option) - worked.setting
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
        "loss_predicted": worked.loss[0],
        "loss_realised": worked.loss[1],
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

LOSS_CASE = "25 sites"
"""The case in which a loss is likeliest, and so in which its chance is told best."""


def losses(paddocks: int, first: int = FIRST_SEED) -> pd.DataFrame:
    """Chance of a loss, predicted and realised, one row a paddock in which something is ripped."""
    recipe, season = CASES[LOSS_CASE]
    worked = [work(invent(recipe, seed), recipe, season, bounded=False) for seed in range(first, first + paddocks)]
    return pd.DataFrame([one.loss for one in worked if one.option.any()], columns=["predicted", "realised"])


def calibration(rows: pd.DataFrame, groups: int = 3) -> pd.DataFrame:
    """Means of `losses` in groups of rising prediction and in all, and the standard error of their difference."""
    order = pd.qcut(rows["predicted"].rank(method="first"), groups, labels=False)
    parts = [*(rows[order == group] for group in range(groups)), rows]
    return pd.DataFrame(
        [
            {
                "paddocks": len(part),
                "predicted": part["predicted"].mean(),
                "realised": part["realised"].mean(),
                "error": (part["realised"] - part["predicted"]).std() / np.sqrt(len(part)),
            }
            for part in parts
        ]
    )


if __name__ == "__main__":
    asked = [int(word) for word in sys.argv[1:]] or [16]
    print(summarise(run(asked[0], CASES, *asked[1:])).round(3).to_string(index=False))  # noqa: T201
    print(calibration(losses(3 * asked[0], *asked[1:])).round(3).to_string(index=False))  # noqa: T201
