"""The truth study of the sites: what further probes really bring, by how they are placed, and what was forecast.

Run `python -m truth.sites [paddocks [first seed]]`; prints the tables of tests/README.md, section Sites.
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from fields import CRS, Recipe, Truth, invent
from hardpan.money.stage import price_machines
from hardpan.options.ground import build_ground
from hardpan.options.stage import weigh_options
from hardpan.prescription.stage import settle_zones
from hardpan.records.access import Access
from hardpan.records.catalog import Catalog
from hardpan.records.columns import INSERTION
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
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
from truth.decision import Worked, net_of

FIRST_SEED = 400
RECIPE = Recipe(n_sites=25)
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
    catalog: Catalog
    rates: Rates
    asked: DecisionSettings
    net: float
    """True net return of the prescription, setting of zones paid, money."""
    share: float
    """Of what perfect knowledge returns."""


def plan_on(truth: Truth) -> Planned:
    """Take a paddock from map to plan with the shipped tables, and price the plan with the truth."""
    config = Config(paddock={"name": "invented", "boundary": Path()}, probes={"file": Path()})
    catalog, asked = read_catalog(config), DecisionSettings()
    survey, pan = with_sites(truth), truth.pan
    surfaces = map_pan(pan, survey, SurfaceSettings(cell_m=survey.frame.cell_m, draws=DRAWS), seed=1)
    rates = price_machines(catalog, asked.season, surfaces.soil_types, n_draws=DRAWS, seed=1)
    evidence = Evidence(survey=survey, pan=pan, surfaces=surfaces)
    options = weigh_options(evidence, catalog, rates, asked=asked)
    zones = draw_zones(evidence, options, catalog, ZoneSettings(), asked=asked.prescription, seed=1)
    zones, plan = settle_zones(zones, options, evidence, catalog, rates, asked=asked)
    key = {(row.setup, row.depth_mm): row.option for row in options.table.itertuples()}
    of_zone = {row.zone: key[row.setup, row.depth_mm] for row in plan.zones.itertuples()}
    option = np.vectorize(lambda zone: of_zone.get(zone, 0))(zones.labels)
    there = [one.reshape(1, -1) for one in (truth.top_mm, truth.bottom_mm, truth.present)]
    ground = build_ground(surfaces, survey, catalog, asked.prescription)
    net = net_of(there, pan, surfaces=surfaces, options=options, ground=ground, catalog=catalog, rates=rates)
    ripped = int((plan.zones["depth_mm"] > 0).sum())
    worked = Worked(
        net=net, option=option, mapped=option, known=option, plus_50=option, ripped_zones=ripped,
        zone_cost=catalog.prices.extra_zone.value, cell_ha=surfaces.frame.cell_area_ha,
    )  # fmt: skip
    money = worked.total(option) - worked.zone_cost * max(0, ripped - 1)
    return Planned(
        evidence=evidence, options=options, catalog=catalog, rates=rates, asked=asked, net=money,
        share=money / worked.perfect,
    )  # fmt: skip


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
    return replace(truth.survey, profiles=replace(truth.survey.profiles, readings=readings))


def further(way: str, before: Planned, seed: int) -> tuple[np.ndarray, float]:
    """Places (10, 2) of further sites, and the money that is forecast of them, NaN where none is."""
    settings = SiteSettings(count=MORE, insertions=RECIPE.replicates)
    if way == "worth":
        plan = plan_infill(
            before.evidence, before.options, before.catalog, before.rates, access=OPEN, settings=settings,
            asked=before.asked,
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
    values = Values(table=variance[:, None, None] * FALLS[None, :, None] * np.ones(FALLS.size))
    questions = questions_of(
        errors.covariances, np.bincount(errors.place_of_node), insertions=RECIPE.replicates, seen=np.ones(len(variance))
    )
    cost = Cost(xy_m=errors.xy_m, gate_xy=None, probing_h=0.0, km_h=4.0, per_hour=0.0)
    batch = choose_sites(
        values, questions, cost, may=np.ones(len(variance), dtype=bool), most=MORE, hours=None, paying=False
    )
    return errors.xy_m[batch.place], np.nan


def run(paddocks: int, first: int = FIRST_SEED) -> pd.DataFrame:
    """One row a paddock: what was returned before and after, by way; what was forecast; the share with placed sites."""
    rows = []
    for seed in range(first, first + paddocks):
        truth = invent(RECIPE, seed)
        before = plan_on(truth)
        row = {"seed": seed, "before": before.net, "jittered": before.share}
        placed = plan_coverage(
            truth.survey, OPEN, SiteSettings(count=RECIPE.n_sites), scatter=SCATTER, precision_mm=30.0, seed=seed
        )
        row["placed"] = plan_on(invent(RECIPE, seed, sites=placed.sites.geometry.get_coordinates().to_numpy())).share
        for way in WAYS:
            more, forecast = further(way, before, seed)
            row[way] = plan_on(invent(RECIPE, seed, more=more)).net - before.net
            row |= {} if np.isnan(forecast) else {"forecast": forecast}
        rows.append(row)
        print({name: round(value, 3) for name, value in row.items()}, flush=True)  # noqa: T201
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


if __name__ == "__main__":
    count, start = (*map(int, sys.argv[1:]), *(8, FIRST_SEED)[len(sys.argv) - 1 :])
    table = run(count, start)
    print(summarise(table).round(2).to_string(index=False))  # noqa: T201
    print(table[["jittered", "placed"]].agg(["mean", "sem"]).round(3).to_string())  # noqa: T201
