"""Prices and gains in, what an hour, a litre and a loosened hectare are worth out, in joint draws."""

import numpy as np

from hardpan.money.draws import Draws
from hardpan.money.machines import capital_per_hour, hourly_items
from hardpan.money.rates import join_scenarios, other_prices, running_items, unverified_prices
from hardpan.money.worth import (
    crop_issues,
    crop_shares,
    crop_values,
    first_year_gains,
    lasting,
    list_seasons,
    list_worth,
    season_factors,
    season_weights,
    unverified_gains,
)
from hardpan.records.catalog import Catalog
from hardpan.records.decision import SeasonSettings
from hardpan.records.ledger import Rates


def price_machines(
    catalog: Catalog, season: SeasonSettings, soil_types: tuple[str, ...], *, n_draws: int, seed: int
) -> Rates:
    """What an hour, a litre and a loosened hectare are worth, in joint draws.

    One draw of a price, of a repair level and of the lasting of the gain is shared by all soil types; the gain of each
    soil type has the share `common_gain` of its variance in common with the others.

    Parameters
    ----------
    soil_types : tuple of str
        Soil types of the paddock.
    n_draws : int
        As many as there are draws of the pan.

    Raises
    ------
    SettingsError
        A soil type has no response, or the tractor has no class.
    """
    drawn = Draws(n_draws=n_draws, seed=seed)
    items = {"h": hourly_items(catalog, drawn), **running_items(catalog.prices, drawn)}
    prices = {"capital_per_hour": capital_per_hour(catalog, drawn), **other_prices(catalog.prices, drawn)}
    gains = first_year_gains(catalog, soil_types, drawn)
    weights = {
        name: season_weights(drawn("persistence", kept, of=name), seasons.value, catalog.prices.discount_rate.value)
        for name in soil_types
        for kept, seasons in [lasting(catalog.soils[name], controlled_traffic=season.controlled_traffic)]
    }
    most = max(kept.shape[1] for kept in weights.values())
    factors = season_factors(catalog.response.season, most, drawn)
    next_crop, values = crop_values(catalog, most, drawn)
    kept = {name: weight * factors[:, : weight.shape[1]] for name, weight in weights.items()}
    shares = crop_shares(catalog, most)
    by_soil = {
        "worth_per_ha": [gains[name] * (each * values[:, : each.shape[1]]).sum(axis=1) for name, each in kept.items()],
        "first_year_t_per_ha": [gains[name] * next_crop for name in soil_types],
        "lasting": [each @ shares[: each.shape[1]] for each in kept.values()],
    }
    worth = np.stack(by_soil["worth_per_ha"], axis=1)
    return Rates(
        scenarios=join_scenarios(
            items, prices, {name: np.stack(each, axis=1) for name, each in by_soil.items()}, soil_types
        ),
        currency=catalog.prices.currency,
        drawn={key_of(name, catalog, season): values for name, values in drawn.made.items()},
        by_season=list_seasons(
            {name: gain[:, np.newaxis] * values for name, gain in gains.items()},
            weights,
            factors,
            catalog.prices.discount_rate.value,
        ),
        worth=list_worth(catalog, soil_types, worth, controlled_traffic=season.controlled_traffic),
        issues=unverified_prices(catalog.prices) + unverified_gains(catalog, soil_types) + crop_issues(catalog),
    )


def key_of(drawn: str, catalog: Catalog, season: SeasonSettings) -> str:
    """Table, entry and key of what is drawn by a name, as `Plan.defaults` has them."""
    kept = "persistence_controlled" if season.controlled_traffic else "persistence"
    tables = {
        "tractor ": (f"tractors.{catalog.tractor_name}.", ""),
        "ripper ": (f"rippers.{catalog.ripper_name}.", ""),
        "persistence ": ("soils.", f".{kept}"),
        "gain ": ("soils.", ".first_year_gain"),
        "gain_factor ": ("crops.", ".gain_factor"),
        "grain_per_t ": ("crops.", ".price_per_t"),
    }
    for start, (before, after) in tables.items():
        if drawn.startswith(start):
            return f"{before}{drawn.removeprefix(start)}{after}"
    alone = {"gain_factor": f"crops.{catalog.rotation[0]}.gain_factor", "dry gain": "response.season.dry_gain"}
    return alone.get(drawn, f"prices.{drawn}")
