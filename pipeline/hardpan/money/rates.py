"""Prices in joint draws and as expected, those of other ways to have the work done, and of what goes with the pass."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.money.draws import Draws
from hardpan.money.machines import hourly_items
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues
from hardpan.records.ledger import Rates
from hardpan.records.prices import PriceTable
from hardpan.records.quantity import Quantity
from hardpan.records.rules import After
from hardpan.records.soils import Reclaim, SoilType

OTHERS = (
    "grain_per_t", "contractor_per_ha", "lime_per_t", "gypsum_per_t", "spreading_per_ha",
    *(work.price for work in After),
)  # fmt: skip
"""Prices that are no part of the work."""

Items = Mapping[str, Mapping[str, Floats]]
"""Unit to item to rate, money a unit, shape (n_draws,)."""

OWNING = ("tractor ownership", "ripper ownership")
"""Items that are paid whether the machine works or not."""


def running_items(prices: PriceTable, drawn: Draws) -> Items:
    """What a litre and a hectare of plain tines cost."""
    fuel = drawn("fuel_per_l", prices.fuel_per_l)
    lubricant = fuel * drawn("lubricant_share", prices.lubricant_share)
    return {
        "L": {"fuel": fuel, "lubricant": lubricant},
        "ha": {"points and wear": drawn("wear_per_ha", prices.wear_per_ha)},
    }


def other_prices(prices: PriceTable, drawn: Draws) -> dict[str, Floats]:
    """Draws of `OTHERS`, those the price table has."""
    return {name: drawn(name, price) for name in OTHERS if (price := getattr(prices, name)) is not None}


def join_scenarios(
    items: Items, prices: Mapping[str, Floats], by_soil: Mapping[str, Floats], soil_types: tuple[str, ...]
) -> xr.Dataset:
    """`Rates.scenarios` from items, prices and what is drawn by soil type, shape (n_draws, n_soil_types)."""
    sums = {"per_hour": sum(items["h"].values()), "per_litre": sum(items["L"].values())}
    single = {**sums, "wear_per_ha": items["ha"]["points and wear"], **prices}
    single |= {item: rate for rates in items.values() for item, rate in rates.items()}
    return xr.Dataset(
        {name: ("draw", rate) for name, rate in single.items()}
        | {name: (("draw", "soil_type"), drawn) for name, drawn in by_soil.items()},
        coords={"soil_type": list(soil_types)},
    )


def unverified_prices(prices: PriceTable) -> Issues:
    """Remark on the prices that are shipped guesses; none where every one has a source."""
    guesses = [name for name, price in prices if getattr(price, "source", "") == "unverified"]
    if not guesses:
        return ()
    what = f"{', '.join(guesses)} are not yours and rest on no source"
    done = "shipped values with their ranges were used; give your own in [prices]"
    return (Issue("costs", "unverified-price", what, done, file="prices.toml"),)


def expected_rates(catalog: Catalog) -> Mapping[str, float]:
    """Money per hour, per litre and, of points, per ha (`per_hour`, `per_litre`, `wear_per_ha`), and prices by key."""
    once = Draws(n_draws=1, seed=0)
    running = running_items(catalog.prices, once)
    return {
        **{name: float(price[0]) for name, price in other_prices(catalog.prices, once).items()},
        "per_hour": sum(float(each[0]) for each in hourly_items(catalog, once).values()),
        "per_litre": sum(float(each[0]) for each in running["L"].values()),
        "wear_per_ha": float(running["ha"]["points and wear"][0]),
    }


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


def gypsum_to_reclaim(test: Reclaim, per_meq: Quantity) -> Quantity:
    """Gypsum that brings a sodic layer to the target share of sodium, t/ha, with its range (`irrigation-ex87`).

    Notes
    -----
    (ESP - target) / 100 x exchange capacity x t/ha per meq in 300 mm x depth / 300 mm x field factor. Chemistry of
    reclamation, not a recommendation: the rate of a season is the agronomist's.
    """
    rising = [q.ends for q in (test.esp, test.exchange_capacity, test.depth, test.field_factor, per_meq)]
    low, value, high = (
        max(esp - target, 0.0) / 100.0 * capacity * each * depth / 300.0 * factor
        for esp, capacity, depth, factor, each, target in zip(*rising, test.target_esp.ends[::-1], strict=True)
    )
    return Quantity(value=value, low=low, high=high, unit="t/ha", source=per_meq.source)


def spread_rates(soil: SoilType, gypsum_per_meq: Quantity | None) -> dict[str, Quantity]:
    """Lime and gypsum to spread where the soil is ripped, item -> t/ha; items without an amount are absent.

    A soil test comes before a rate of gypsum.

    Raises
    ------
    SettingsError
        There is a soil test, but no price table entry of what replaces its sodium.
    """
    gypsum = soil.gypsum
    if soil.reclaim is not None:
        if gypsum_per_meq is None:
            raise SettingsError(what="gypsum_per_meq is missing", where="[prices]", do="give it in [numbers.prices]")
        gypsum = gypsum_to_reclaim(soil.reclaim, gypsum_per_meq)
    given = {"lime": soil.lime, "gypsum": gypsum}
    return {item: rate for item, rate in given.items() if rate is not None and rate.value > 0.0}


def after_per_ha(asked: Iterable[After], rates: Rates) -> Floats:
    """Money per ha for work after the pass, (n_draws,); work without a price counts as none."""
    drawn = rates.scenarios
    money = [drawn[work.price].to_numpy() for work in asked if work.price in drawn]
    return np.asarray(sum(money, np.zeros(drawn.sizes["draw"])))
