"""Records with every field, of which a test names those it is about."""

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.records.options import Draft, Options, Uniform
from hardpan.records.plan import Makeup, Plan


def options(net, *, uniform=None, n_draws=1, **fields):
    """Options of expected net return per ha `net` (n_nodes, n_options); all allowed, all fitted, nodes of 1 ha."""
    net = np.asarray(net, dtype=float)
    n_nodes, n_options = net.shape
    none = np.zeros((n_options, n_draws))
    made = {
        "table": pd.DataFrame({"option": range(n_options)}),
        "net": net,
        "cost": np.zeros(net.shape),
        "gain": np.zeros(net.shape),
        "loosened": np.zeros(net.shape),
        "breach": np.zeros(net.shape),
        "covered": np.zeros(net.shape),
        "fitted": np.ones(n_options, dtype=bool),
        "node_ha": np.ones(n_nodes),
        "uniform": Uniform(
            **{"returns": none, "costs": none, "hours": none, "fuel_l": none, "ripped_ha": np.zeros(n_options)}
            | (uniform or {})
        ),
        "tines": 7,
        "draft": draft(n_draws),
    }
    return Options(**(made | fields))


def draft(n_draws, **fields):
    """Draft of the equation, without doubt."""
    made = {"factor": np.ones(n_draws), "calibration": 1.0, "anchor_mm": 400.0, "anchor_kpa": np.nan}
    return Draft(**(made | fields))


def makeup(zones, *, soil_types=(), n_options=1, **parts):
    """Makeup of a plan in which a zone may only be left; `parts` are by zone and option."""
    shape = (len(zones), n_options)
    made = {name: np.zeros(shape) for name in ("fuel", "capital", "other", "hours", "fuel_l")}
    made |= {"gain": np.zeros((*shape, len(soil_types))), "eligible": np.zeros(shape, dtype=bool)}
    return Makeup(
        zone=zones["zone"].to_numpy(),
        soil_types=soil_types,
        must_pay=True,
        rounds=4,
        setups_fitted=1,
        change=0.0,
        **(made | parts),
    )


def plan(zones: gpd.GeoDataFrame, returns, **fields):
    """A plan of `zones` with `returns` (n_zones, n_draws), whose runner-up returns as much and takes no time."""
    returns = np.asarray(returns, dtype=float)
    made = {name: pd.DataFrame() for name in ("machine", "moisture", "candidates", "defaults")}
    made |= dict.fromkeys(("reasons", "conditions", "setting_up"), ())
    made["makeup"] = makeup(zones)
    made |= {"runner_up_returns": returns, "hours": 0.0 * returns, "fuel_l": 0.0 * returns}
    made |= {"setting": np.zeros(len(returns)), "fitting_h": np.zeros(len(returns))}
    return Plan(zones=zones, returns=returns, **(made | fields))
