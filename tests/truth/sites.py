"""The truth study of the sites: what further probes really bring, by how they are placed, and what was forecast.

The same paddock is planned before and after ten more sites are probed, and both plans are priced on the same ground, in
expectation by one who has the readings of both surveys and knows how the ground was made (`truth/known.py`): what the
ground does where nobody probed is chance, which no placing of sites could change. Run `python -m truth.sites [paddocks
[first seed]]`; prints the tables of tests/README.md, section Sites.
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from fields import CRS, PEAK_KPA, SOILS, Recipe, Truth, invent, probe_further
from hardpan.money.stage import price_machines
from hardpan.options.economy import Economy, economy_of, loss_of
from hardpan.options.ground import build_ground
from hardpan.options.stage import weigh_options
from hardpan.prescription.stage import settle_zones
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.plan import Plan
from hardpan.records.probing import Access
from hardpan.records.survey import INSERTION
from hardpan.records.zones import Zones
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config
from hardpan.sites.effort import Scatter
from hardpan.sites.infill import Cost, choose_sites, questions_of
from hardpan.sites.information import FALLS, Values
from hardpan.sites.settings import SiteSettings
from hardpan.sites.stage import plan_coverage, plan_infill
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan
from hardpan.zones.settings import ZoneSettings
from hardpan.zones.stage import draw_zones
from truth.decision import best_of_blocks, priced
from truth.known import draw_known

FIRST_SEED = 600
"""Paddocks whose seeds lie below were looked at while the forecast was settled."""
RECIPE = Recipe(n_sites=25, cell_m=30.0)
"""Cells of 30 m: a plan takes a third of the time that it takes on 15 m."""
BLOCK_CELLS = 2
"""Perfect knowledge decides for blocks of 60 m, as in the study of the decision."""
MORE = 10
DRAWS = 100
SCATTER = Scatter(between=45.0**2, within=25.0**2)
WAYS = ("worth", "variance", "coverage", "random")
OPEN = Access(gate=None, tramlines=gpd.GeoSeries([], crs=CRS))


@dataclass(frozen=True, kw_only=True, eq=False)
class Planned:
    """A paddock taken from probes to plan."""

    evidence: Evidence
    options: Options
    zones: Zones
    plan: Plan
    catalog: Catalog
    rates: Rates
    asked: DecisionSettings

    @property
    def option(self) -> np.ndarray:
        """(n_rows, n_cols): the prescription."""
        key = {(row.setup, row.depth_mm): row.option for row in self.options.table.itertuples()}
        of_zone = {row.zone: key[row.setup, row.depth_mm] for row in self.plan.zones.itertuples()}
        return np.vectorize(lambda zone: of_zone.get(zone, 0))(self.zones.labels)

    @property
    def setting(self) -> float:
        """What setting the zones costs, money."""
        return float(self.plan.setting[(self.plan.zones["depth_mm"] > 0).to_numpy()].sum())


def plan_on(truth: Truth) -> Planned:
    """Take a paddock from map to plan with the shipped tables."""
    config = Config(paddock={"name": "invented", "boundary": Path()}, probes={"file": Path()})
    catalog, asked = read_catalog(config), DecisionSettings()
    survey, pan = with_sites(truth), truth.pan
    surfaces = map_pan(pan, survey, SurfaceSettings(cell_m=survey.frame.cell_m, draws=DRAWS, threads=1), seed=1)
    rates = price_machines(catalog, asked.season, surfaces.soil_types, n_draws=DRAWS, seed=1)
    evidence = Evidence(survey=survey, pan=pan, surfaces=surfaces)
    options = weigh_options(evidence, catalog, rates, asked=asked)
    zones = draw_zones(evidence, options, catalog, ZoneSettings(), asked=asked.prescription, seed=1)
    zones, plan = settle_zones(zones, options, evidence, catalog, rates, asked=asked)
    return Planned(
        evidence=evidence, options=options, zones=zones, plan=plan, catalog=catalog, rates=rates, asked=asked
    )


def with_sites(truth: Truth):
    """Survey whose profiles say where was probed."""
    table = truth.pan.insertions
    blank = {"x_m": table.geometry.x.to_numpy(), "y_m": table.geometry.y.to_numpy(), "site": table["site"].to_numpy()}
    coords = {name: ("insertion", blank.get(name, np.zeros(len(table)))) for name in INSERTION}
    readings = xr.Dataset(
        {
            name: (("insertion", "sample"), np.zeros((len(table), 0)))
            for name in truth.survey.profiles.readings.data_vars
        },
        coords=coords,
    )
    return replace(truth.survey, probed=replace(truth.survey.profiles, readings=readings))


def true_economy(planned: Planned) -> Economy:
    """Economy of all options with the strength that the ground was made with: one price for every plan of it."""
    evidence, catalog = planned.evidence, planned.catalog
    ground = build_ground(evidence.surfaces, evidence.survey, catalog, planned.asked.prescription)
    usual_kpa = np.array([PEAK_KPA[SOILS.index(name)] for name in ground.soil_names]) * np.exp(RECIPE.strength**2 / 2)
    ground = replace(
        ground,
        strength_kpa=np.tile(usual_kpa, (DRAWS, 1)),
        peak_kpa=np.broadcast_to(usual_kpa[ground.soil].astype(np.float32), ground.present.shape),
    )
    return economy_of(
        planned.options.table[["option", "setup", "depth_mm", "spacing_mm"]], ground, catalog, planned.rates,
        loss=loss_of(ground, evidence.pan, catalog.response), draft=planned.options.draft, tines=planned.options.tines,
        moist_mm=np.full(len(ground.soils), np.inf),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Judge:
    """The mean net return of every option on every cell, by one who knows how the ground was made."""

    net: np.ndarray
    """(n_rows, n_cols, n_options), money per ha."""
    cell_ha: float

    def returns(self, planned: Planned) -> float:
        """What a plan returns, setting of zones paid, money."""
        chosen = np.take_along_axis(self.net, planned.option[..., None], axis=2)
        return float(chosen.sum() * self.cell_ha) - planned.setting

    @property
    def perfect(self) -> float:
        """What the best option of each block returns, money."""
        return best_of_blocks(self.net, BLOCK_CELLS) * self.cell_ha


def judge(truth: Truth, economy: Economy, planned: Planned) -> Judge:
    """Judge with the readings of a survey."""
    surfaces = planned.evidence.surfaces
    net = priced(draw_known(truth, RECIPE, draws=DRAWS, seed=1), economy, surfaces)
    return Judge(net=net, cell_ha=surfaces.frame.cell_area_ha)


def further(way: str, before: Planned, seed: int) -> tuple[np.ndarray, float]:
    """Places (10, 2) of further sites, and the money that is forecast of them, NaN where none is."""
    settings = SiteSettings(count=MORE, insertions=RECIPE.replicates)
    if way == "worth":
        plan = plan_infill(
            before.evidence, before.options, before.zones, before.plan, catalog=before.catalog, rates=before.rates,
            access=OPEN, settings=settings, asked=before.asked,
        )  # fmt: skip
        return plan.sites.geometry.get_coordinates().to_numpy(), plan.gain.worth
    if way == "coverage":
        survey = before.evidence.survey
        plan = plan_coverage(survey, OPEN, settings, scatter=SCATTER, precision_mm=30.0, seed=seed)
        return plan.sites.geometry.get_coordinates().to_numpy(), np.nan
    errors = before.evidence.surfaces.errors
    if way == "random":
        west, south, east, north = before.evidence.survey.paddock.boundary.total_bounds
        rng = np.random.default_rng([seed, 7])
        return rng.uniform([west + 15, south + 15], [east - 15, north - 15], (MORE, 2)), np.nan
    variance = np.diag(errors.covariances["bottom"].covariance)
    each = np.eye(len(variance))
    batch = choose_sites(
        Values(table=variance[:, None, None] * FALLS[None, :, None] * np.ones(FALLS.size)),
        questions_of(errors, (each, each), insertions=RECIPE.replicates, seen=np.ones(len(variance))),
        Cost(xy_m=errors.xy_m, gate_xy=None, probing_h=0.0, km_h=4.0, per_hour=0.0),
        may=np.ones(len(variance), dtype=bool), most=MORE, hours=None, paying=False,
    )  # fmt: skip
    return errors.xy_m[batch.place], np.nan


def run(paddocks: int, first: int = FIRST_SEED) -> pd.DataFrame:
    """One row a paddock: what each way brought, what was forecast, and what placed and jittered sites return."""
    rows = []
    for seed in range(first, first + paddocks):
        truth = invent(RECIPE, seed)
        before = plan_on(truth)
        economy = true_economy(before)
        there = np.stack([truth.top_mm, truth.bottom_mm, truth.present, truth.peak_kpa]).reshape(4, 1, -1)
        surfaces = before.evidence.surfaces
        perfect = Judge(net=priced(there, economy, surfaces), cell_ha=surfaces.frame.cell_area_ha).perfect
        row = {"seed": seed, "perfect": perfect, "jittered": judge(truth, economy, before).returns(before)}
        placed = plan_coverage(
            truth.survey, OPEN, SiteSettings(count=RECIPE.n_sites), scatter=SCATTER, precision_mm=30.0, seed=seed
        )
        other = invent(RECIPE, seed, sites=placed.sites.geometry.get_coordinates().to_numpy())
        after = plan_on(other)
        row["placed"] = judge(other, economy, after).returns(after)
        for way in WAYS:
            xy, forecast = further(way, before, seed)
            more = probe_further(truth, RECIPE, xy, seed=seed)
            after, wiser = plan_on(more), judge(more, economy, before)
            row[way] = wiser.returns(after) - wiser.returns(before)
            row |= {} if np.isnan(forecast) else {"forecast": forecast}
        rows.append(row)
        print({name: round(value, 1) for name, value in row.items()}, flush=True)  # noqa: T201
    return pd.DataFrame(rows)


def summarise(rows: pd.DataFrame) -> pd.DataFrame:
    """Money by added probe: mean and standard error over the paddocks, and for each way less than worth brings."""
    found = []
    for way in (*WAYS, "forecast"):
        each = rows[way] / MORE
        less = (rows["worth"] - rows[way]) / MORE
        found.append(
            {"way": way, "mean": each.mean(), "se": each.sem(), "behind_worth": less.mean(), "behind_se": less.sem()}
        )
    return pd.DataFrame(found)


def shares(rows: pd.DataFrame) -> pd.DataFrame:
    """Share of perfect of first surveys, all paddocks together, and the difference, with standard errors."""
    perfect = rows["perfect"]
    found = {}
    for name, returns in (
        ("placed", rows["placed"]), ("jittered", rows["jittered"]), ("more", rows["placed"] - rows["jittered"])
    ):  # fmt: skip
        share = returns.sum() / perfect.sum()
        found[name] = {"share": share, "se": (returns - share * perfect).sem() / perfect.mean()}
    return pd.DataFrame(found).T


if __name__ == "__main__":
    count, start = (*map(int, sys.argv[1:]), *(8, FIRST_SEED)[len(sys.argv) - 1 :])
    table = run(count, start)
    print(summarise(table).round(2).to_string(index=False))  # noqa: T201
    print(shares(table).round(4).to_string())  # noqa: T201
