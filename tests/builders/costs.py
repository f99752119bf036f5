"""A paddock of four zones and an exclusion, decided by hand, with the shipped tables, as the ledger sees it."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr
from shapely.geometry import box

from builders import records
from builders.decision import shipped_catalog
from hardpan.costs.stage import tally
from hardpan.money.stage import price_machines
from hardpan.records.decision import DecisionSettings, HistorySettings, PrescriptionSettings, SeasonSettings
from hardpan.records.plan import PLAN
from hardpan.records.surfaces import Surfaces

N_DRAWS = 200


SHIPPED = shipped_catalog()


def surfaces_with(soil_types, n_draws=N_DRAWS):
    """Surfaces of which only the soil types and the count of draws matter."""
    return Surfaces(
        frame=None,
        inside=None,
        maps=xr.Dataset(),
        soil_types=tuple(soil_types),
        slices=xr.DataArray(),
        draws=xr.Dataset({"present": (("draw", "node"), np.ones((n_draws, 1), dtype=bool))}),
        node_of_cell=None,
        errors=None,
        scores=pd.DataFrame(),
        models=pd.DataFrame(),
        verdict=None,
    )


def rates_of(catalog, soil_types=("deep sand", "sand over clay"), season=None, seed=1, n_draws=N_DRAWS):
    return price_machines(catalog, season or SeasonSettings(), tuple(soil_types), n_draws=n_draws, seed=seed)


def plan_of(zones, *, net_per_ha=60.0, n_draws=N_DRAWS, hours_per_ha=0.5, fuel_l_per_ha=20.0, **fields):
    """A plan from (soil_type, area_ha, depth_mm) rows; depth None is an exclusion."""
    spread = np.linspace(-1.0, 1.0, n_draws)
    rows, candidates, returns = [], [], []
    for zone, (soil, area_ha, depth_mm) in enumerate(zones, start=1):
        ripped = bool(depth_mm)
        values = dict.fromkeys(PLAN, "") | {
            "zone": zone,
            "kind": "exclusion" if depth_mm is None else "ground",
            "soil_type": soil,
            "area_ha": area_ha,
            "depth_mm": depth_mm or 0,
            "setup": "plain" if ripped else "",
            "passes": int(ripped),
            "geometry": box(zone, 0, zone + 1, 1),
        }
        rows.append(values)
        returns.append(area_ha * (net_per_ha + 100.0 * spread) if ripped else np.zeros(n_draws))
        if depth_mm is not None:
            known = {"zone": zone, "allowed": True, "limit": "", "breach_probability": 0.5}
            leave = {"depth_mm": 0, "net_per_ha": 0.0, "cost_per_ha": 0.0, "setup": ""}
            net = net_per_ha if ripped else -40.0
            rip = {"depth_mm": depth_mm or 300, "net_per_ha": net, "cost_per_ha": 90.0, "setup": "plain"}
            candidates += [known | leave, known | rip]
    table = gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs="EPSG:32751")
    ripped_ha = (table["area_ha"] * (table["depth_mm"] > 0)).to_numpy(float)[:, None] * np.ones(n_draws)
    work = {"hours": ripped_ha * hours_per_ha, "fuel_l": ripped_ha * fuel_l_per_ha}
    return records.plan(table, returns, **({"candidates": pd.DataFrame(candidates)} | work | fields))


def reordered(plan):
    """The same plan with its zones in the opposite order."""
    drawn = ("returns", "runner_up_returns", "hours", "fuel_l")
    return replace(plan, zones=plan.zones.iloc[::-1], **{name: getattr(plan, name)[::-1] for name in drawn})


def options_of(*, n_draws=N_DRAWS, depths=(0, 300, 400, 500), nets=(0.0, 50.0, 40.0, -20.0), **fields):
    """Options of one node of 100 ha with the given net return per ha."""
    nets = np.array(nets)
    n = len(depths)
    table = pd.DataFrame(
        {
            "option": range(n),
            "setup": ["", *["plain"] * (n - 1)],
            "depth_mm": depths,
            "fuel_l_per_ha": [0.0, *np.linspace(10.0, 30.0, n - 1)],
            "hours_per_ha": [0.0, *np.linspace(0.4, 0.8, n - 1)],
            "feasible": True,
        }
    )
    cost = np.where(np.array(depths) > 0, 0.2 * np.array(depths), 0.0)
    spread = np.where(np.array(depths) > 0, 80.0, 0.0)[:, np.newaxis] * np.linspace(-1.0, 1.0, n_draws)
    every = np.ones(n_draws)
    uniform = {
        "returns": 100.0 * (nets[:, np.newaxis] + spread),
        "costs": 100.0 * np.outer(cost, every),
        "hours": 100.0 * np.outer(table["hours_per_ha"], every),
        "fuel_l": 100.0 * np.outer(table["fuel_l_per_ha"], every),
    }
    net = np.asarray(fields.pop("net", nets[np.newaxis]), dtype=float)
    made = {"table": table, "cost": np.tile(cost, (len(net), 1)), "node_ha": np.array([100.0]), "uniform": uniform}
    uniform["ripped_ha"] = ((made | fields)["node_ha"] @ np.isfinite(net)) * (np.array(depths) > 0)
    return records.options(net, n_draws=n_draws, **(made | fields))


def ledger_of(
    plan, *, catalog=None, options=None, season=None, history=None, soil_types=None, rates=None, zone_cost=0.0, **asked
):
    """The ledger of a plan where a further zone costs `zone_cost`; `asked` are settings of the prescription."""
    catalog, plan = catalog or SHIPPED, with_settings(plan, zone_cost)
    season = season or SeasonSettings()
    soils = soil_types or tuple(dict.fromkeys(plan.zones.loc[plan.zones["kind"] == "ground", "soil_type"]))
    rates = rates or rates_of(catalog, soils, season, n_draws=plan.returns.shape[1])
    settings = DecisionSettings(
        prescription=PrescriptionSettings(**asked), season=season, history=history or HistorySettings()
    )
    return tally(plan, options or options_of(), catalog, rates, asked=settings)


def with_zone_cost(catalog, zone_cost):
    """The catalogue where a further zone costs so much."""
    price = catalog.prices.extra_zone.model_copy(update={"value": zone_cost, "low": None, "high": None})
    return catalog.model_copy(update={"prices": catalog.prices.model_copy(update={"extra_zone": price})})


def with_settings(plan, zone_cost):
    """The plan where setting each ripped zone but that of the lowest number costs so much."""
    ripped, zone = (plan.zones["depth_mm"] > 0).to_numpy(), plan.zones["zone"].to_numpy(float)
    setting = np.where(ripped & (zone > zone[ripped].min(initial=np.inf)), float(zone_cost), 0.0)
    return replace(plan, setting=setting, returns=plan.returns - setting[:, None])


PADDOCK = (
    ("deep sand", 40.0, 500),
    ("deep sand", 30.0, 400),
    ("sand over clay", 26.0, 300),
    ("sand over clay", 21.0, 0),
    ("rock", 3.5, None),
)
