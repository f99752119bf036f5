"""Prices in joint draws, and the table of them."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.money.draws import Draws
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.prices import PriceTable
from hardpan.records.rules import After

PRICE_OF = {
    "labour": "labour_per_h",
    "fuel": "fuel_per_l",
    "lubricant": "lubricant_share",
    "points and wear": "wear_per_ha",
}
"""Entry of the price table behind an item; the others come from the machine's list price (`ep496`)."""

OTHERS = (
    "grain_per_t", "contractor_per_ha", "lime_per_t", "gypsum_per_t", "spreading_per_ha",
    *(work.price for work in After),
)  # fmt: skip
"""Prices that are no part of the work."""

Items = Mapping[str, Mapping[str, Floats]]
"""Unit to item to rate, money a unit, shape (n_draws,)."""


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


def list_items(items: Items, prices: PriceTable) -> pd.DataFrame:
    """One row a rate with its mean and its 5 and 95 % points, columns of `Rates.items`."""
    rows = []
    for unit, rates in items.items():
        for item, rate in rates.items():
            mid, (low, high) = float(rate.mean()), map(float, np.quantile(rate, [0.05, 0.95]))
            source = getattr(prices, PRICE_OF[item]).source if item in PRICE_OF else "ep496"
            rows.append((item, unit, mid, min(low, mid), max(high, mid), source))
    return pd.DataFrame(rows, columns=["item", "per", "mid", "low", "high", "source"])


def unverified_prices(prices: PriceTable) -> Issues:
    """Remark on the prices that are shipped guesses; none where every one has a source."""
    guesses = [name for name, price in prices if getattr(price, "source", "") == "unverified"]
    if not guesses:
        return ()
    return (
        Issue(
            outcome=Outcome.WARN,
            stage="costs",
            code="unverified-price",
            what=f"{', '.join(guesses)} are not yours and rest on no source",
            done="shipped values with their ranges were used; give your own in [prices]",
            file="prices.toml",
        ),
    )
