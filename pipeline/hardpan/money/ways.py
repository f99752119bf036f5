"""Rates of the other ways to have the work done: at cash cost, by a contractor, with a tractor of another size."""

from collections.abc import Sequence
from dataclasses import replace

import xarray as xr

from hardpan.records.ledger import Rates

OWNING = ("tractor ownership", "ripper ownership")
"""Items that are paid whether the machine works or not."""


def owning_per_hour(rates: Rates) -> xr.DataArray:
    """What owning tractor and ripper costs an hour of work, (n_draws,)."""
    return sum((rates.scenarios[item] for item in OWNING), xr.zeros_like(rates.scenarios["per_hour"]))


def at_cash_cost(rates: Rates) -> Rates:
    """Rates without what owning costs."""
    drawn = rates.scenarios
    idle = {name: xr.zeros_like(drawn["per_hour"]) for name in (*OWNING, "capital_per_hour")}
    return replace(rates, scenarios=drawn.assign(idle | {"per_hour": drawn["per_hour"] - owning_per_hour(rates)}))


def by_contractor(rates: Rates, fuel_share: float) -> Rates:
    """Rates of a contractor, who leaves `fuel_share` of fuel and lubricant to the grower.

    `contractor_per_ha` of the scenarios is what he asks for a hectare, to any depth that he goes to.
    """
    drawn = rates.scenarios
    nothing = xr.zeros_like(drawn["per_hour"])
    idle = dict.fromkeys(("per_hour", "wear_per_ha", "capital_per_hour", *OWNING), nothing)
    hired = {"per_litre": fuel_share * drawn["per_litre"], "hire_per_ha": drawn["contractor_per_ha"]}
    return replace(rates, scenarios=drawn.assign(idle | hired))


def hired_for(rates: Rates, parts: Sequence[str], per_hour: float) -> Rates:
    """Rates where `parts`, "tractor" or "ripper", are hired for money an hour in place of owning and repairs."""
    drawn = rates.scenarios
    items = [f"{part} {item}" for part in parts for item in ("ownership", "repairs")]
    saved = sum((drawn[item] for item in items), xr.zeros_like(drawn["per_hour"]))
    idle = {item: xr.zeros_like(drawn["per_hour"]) for item in items}
    return replace(rates, scenarios=drawn.assign(idle | {"per_hour": drawn["per_hour"] - saved + per_hour}))


def with_tractor_of(rates: Rates, size: float) -> Rates:
    """Rates with a tractor that costs `size` times as much to buy and to repair."""
    drawn = rates.scenarios
    more = {item: size * drawn[item] for item in ("tractor ownership", "tractor repairs")}
    per_hour = drawn["per_hour"] + sum(money - drawn[item] for item, money in more.items())
    return replace(rates, scenarios=drawn.assign(more | {"per_hour": per_hour}))
