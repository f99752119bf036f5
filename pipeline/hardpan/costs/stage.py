"""Prices before the decision, money after it."""

import numpy as np
import pandas as pd
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.costs.again import too_soon, when_again
from hardpan.costs.amendments import amendments_t_per_ha
from hardpan.costs.draws import Draws
from hardpan.costs.headline import headline
from hardpan.costs.investment import invest
from hardpan.costs.lines import ledger_lines
from hardpan.costs.machines import hourly_items
from hardpan.costs.strategies import compare_strategies
from hardpan.costs.worth import lasting, season_weights
from hardpan.records.catalog import Catalog, PriceTable, Quantity, SoilType
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.ledger import Ledger, Rates
from hardpan.records.plan import Options, Plan
from hardpan.records.season import HistorySettings, SeasonSettings
from hardpan.records.surfaces import Surfaces
from hardpan.records.zones import Zones


def price_machines(catalog: Catalog, season: SeasonSettings, surfaces: Surfaces, *, seed: int) -> Rates:
    """Give what an hour, a litre and a loosened hectare are worth, in joint draws.

    One draw of a price, of a repair level and of the lasting of the gain is shared by all soil types; the gain of each
    soil type has the share `common_gain` of its variance in common with the others.

    Raises
    ------
    SettingsError
        A mapped soil type has no response, or the tractor has no class.
    """
    drawn = Draws(n_draws=surfaces.draws.sizes["draw"], seed=seed)
    prices = catalog.prices
    hourly = hourly_items(catalog, drawn)
    fuel = drawn("fuel_per_l", prices.fuel_per_l)
    litre = {"fuel": fuel, "lubricant": fuel * drawn("lubricant_share", prices.lubricant_share)}
    hectare = {"points and wear": drawn("wear_per_ha", prices.wear_per_ha)}
    other = {
        name: drawn(name, quantity)
        for name in ("grain_per_t", "contractor_per_ha", "lime_per_t", "gypsum_per_t", "spreading_per_ha", "extra_zone")
        if (quantity := getattr(prices, name)) is not None
    }
    worth, table = _worth(catalog, season, surfaces.soil_types, drawn, other["grain_per_t"])
    per = {"h": hourly, "L": litre, "ha": hectare}
    single = {
        "per_hour": np.sum(list(hourly.values()), axis=0),
        "per_litre": np.sum(list(litre.values()), axis=0),
        "wear_per_ha": hectare["points and wear"],
    }
    scenarios = xr.Dataset(
        {name: ("draw", rate) for name, rate in (single | hourly | litre | hectare | other).items()},
        coords={"soil_type": list(surfaces.soil_types)},
    ).assign(worth_per_ha=(("draw", "soil_type"), worth))
    return Rates(
        scenarios=scenarios,
        items=_items(per, prices),
        currency=prices.currency,
        worth=table,
        issues=_unverified(prices),
    )


def _worth(
    catalog: Catalog, season: SeasonSettings, soil_types: tuple[str, ...], drawn: Draws, grain: Floats
) -> tuple[Floats, pd.DataFrame]:
    """Give the present value of breaking the whole pan, (n_draws, n_soil_types), and one row a soil type."""
    crop, prices = catalog.crop, catalog.prices
    share = 0.0 if prices.common_gain is None else prices.common_gain.value
    factor = drawn("gain_factor", crop.gain_factor)
    columns, rows = [], []
    for name in soil_types:
        if name not in catalog.soils:
            raise SettingsError(
                what=f"soil type {name!r} has no response",
                where="[soil]",
                right=f"one of {', '.join(catalog.soils)}",
                do=f'give [soil.types."{name}"] or map the label with [soil.mapping]',
            )
        soil = catalog.soils[name]
        kept, seasons = lasting(soil, controlled_traffic=season.controlled_traffic)
        gain = factor * drawn.partly_common(f"gain {name}", soil.first_year_gain, common="gain", share=share)
        weights = season_weights(drawn("persistence", kept), seasons.value, prices.discount_rate.value)
        columns.append(gain * grain * weights.sum(axis=1))
        low, high = soil.first_year_gain.span
        rows.append(
            {
                "soil_type": name,
                "first_year_t_per_ha": soil.first_year_gain.value * crop.gain_factor.value,
                "low": low * crop.gain_factor.value,
                "high": high * crop.gain_factor.value,
                "seasons": seasons.value,
                "present_value_per_ha": float(columns[-1].mean()),
            }
        )
    return np.stack(columns, axis=1), pd.DataFrame(rows)


_PRICE_OF = {
    "labour": "labour_per_h",
    "fuel": "fuel_per_l",
    "lubricant": "lubricant_share",
    "points and wear": "wear_per_ha",
}
"""Entry of the price table behind an item; the others come from the machine's list price by EP496."""


def _items(per: dict[str, dict[str, Floats]], prices: PriceTable) -> pd.DataFrame:
    """Give one row a rate with its 5 and 95 % points."""
    rows = []
    for unit, rates in per.items():
        for item, rate in rates.items():
            mid, (low, high) = float(rate.mean()), map(float, np.quantile(rate, [0.05, 0.95]))
            source = getattr(prices, _PRICE_OF[item]).source if item in _PRICE_OF else "ep496"
            rows.append((item, unit, mid, min(low, mid), max(high, mid), source))
    return pd.DataFrame(rows, columns=["item", "per", "mid", "low", "high", "source"])


def _unverified(prices: PriceTable) -> Issues:
    """Say which prices are shipped guesses."""
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


def tally(  # noqa: PLR0917
    plan: Plan,
    zones: Zones,
    options: Options,
    surfaces: Surfaces,
    catalog: Catalog,
    rates: Rates,
    season: SeasonSettings,
    history: HistorySettings,
) -> Ledger:
    """Give areas, quantities and money of a plan, per zone and in all."""
    del zones, surfaces  # the plan has what the ledger needs of them

    def seasons_of(soil: SoilType) -> Quantity:
        return lasting(soil, controlled_traffic=season.controlled_traffic)[1]

    spread = {name: amendments_t_per_ha(soil, catalog.prices.gypsum_per_meq) for name, soil in catalog.soils.items()}
    lines = ledger_lines(plan, catalog, rates, spread, zone_cost=options.zone_cost)
    strategies = compare_strategies(plan, options, lines, usual_depth_mm=catalog.ripper.usual_depth.value)
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    weights = {name: _expected_weights(catalog, catalog.soils[name], season) for name in set(ripped["soil_type"])}
    counted = [seasons_of(catalog.soils[name]).value for name in weights] or [0.0]
    traffic = "with wheels on tramlines" if season.controlled_traffic else "driven on anywhere"
    hours = float(strategies["hours"].iloc[0])
    days = hours / season.hours_per_day
    return Ledger(
        lines=lines,
        strategies=strategies,
        investment=invest(
            plan,
            lines,
            weights,
            grain_per_t=float(rates.scenarios["grain_per_t"].mean()),
            lime_kg_per_t=float("nan") if catalog.crop.lime_removed is None else catalog.crop.lime_removed.value,
        ),
        when_again=when_again(plan, catalog, seasons_of, history, traffic=traffic),
        hours=hours,
        days=days,
        headline=headline(
            plan,
            strategies,
            (min(counted), max(counted)),
            days=days,
            currency=rates.currency,
            amendments=float(lines.loc[(lines["zone"] == "total") & (lines["item"] == "amendments"), "amount"].sum()),
        ),
        issues=too_soon(plan, catalog, seasons_of, history),
    )


def _expected_weights(catalog: Catalog, soil: SoilType, season: SeasonSettings) -> Floats:
    """Give the discounted share of the first season's gain by season, expected, shape (n_seasons,)."""
    kept, seasons = lasting(soil, controlled_traffic=season.controlled_traffic)
    weights: Floats = season_weights(np.array([kept.value]), seasons.value, catalog.prices.discount_rate.value)[0]
    return weights
