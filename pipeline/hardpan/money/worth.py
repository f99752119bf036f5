"""What a broken pan is worth: the gain of the first season, and how long it goes on paying."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.core.said import Amount, Said, joined, per_t
from hardpan.money.draws import Draws
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.quantity import Quantity
from hardpan.records.soils import Seasons, SoilType


def first_year_gains(catalog: Catalog, soil_types: tuple[str, ...], drawn: Draws) -> dict[str, Floats]:
    """Yield gain of the reference crop in the first season of the reference rip, soil type -> t/ha, shape (n_draws,).

    Raises
    ------
    SettingsError
        A soil type is not in the catalog.
    """
    share = 0.0 if catalog.prices.common_gain is None else catalog.prices.common_gain.value
    for name in soil_types:
        if name not in catalog.soils:
            raise SettingsError(
                what=f"soil type {name!r} has no response",
                where="[soil]",
                right=f"one of {', '.join(catalog.soils)}",
                do=f'give [soil.types."{name}"] or map the label with [soil.mapping]',
            )
    return {
        name: drawn.partly_common(f"gain {name}", catalog.soils[name].first_year_gain, common="gain", share=share)
        for name in soil_types
    }


def crop_values(catalog: Catalog, n_seasons: int, drawn: Draws) -> tuple[Floats, Floats]:
    """Gain of the next crop over that of the reference crop, and worth of a tonne of the latter in each season's crop.

    Each crop of the rotation has its own gain and price; the seasons of one crop share their draws.

    Returns
    -------
    (n_draws,) ratio; (n_draws, n_seasons) money per t.
    """
    factors, values = {}, {}
    for name, (factor, price) in _crops(catalog).items():
        later = "" if name == catalog.rotation[0] else f" {name}"
        factors[name] = drawn(f"gain_factor{later}", factor)
        values[name] = factors[name] * drawn(f"grain_per_t{later}", price)
    return factors[catalog.rotation[0]], np.stack([values[name] for name in _in_turn(catalog, n_seasons)], axis=1)


def crop_shares(catalog: Catalog, n_seasons: int) -> Floats:
    """Expected worth of a gain in the crop of each season over that in the next crop's, (n_seasons,)."""
    worth = {name: factor.value * price.value for name, (factor, price) in _crops(catalog).items()}
    first = worth[catalog.rotation[0]]
    return np.array([worth[name] / first if first > 0.0 else 1.0 for name in _in_turn(catalog, n_seasons)])


def _crops(catalog: Catalog) -> dict[str, tuple[Quantity, Quantity]]:
    """Gain over that of the reference crop and price of each crop of the rotation."""
    return {
        name: (crop.gain_factor, crop.price_per_t or catalog.prices.grain_per_t) for name, crop in catalog.crops.items()
    }


def _in_turn(catalog: Catalog, n_seasons: int) -> list[str]:
    return [catalog.rotation[season % len(catalog.rotation)] for season in range(n_seasons)]


def lasting(soil: SoilType, *, controlled_traffic: bool) -> tuple[Quantity, Quantity]:
    """Share of the gain kept from one season to the next, and the seasons it lasts."""
    if not controlled_traffic:
        return soil.persistence, soil.seasons
    return soil.persistence_controlled, soil.seasons_controlled or soil.seasons


def season_weights(persistence: Floats, seasons: float, discount_rate: float) -> Floats:
    """Each season's gain as discounted share of the first season's, shape (n_draws, ceil(seasons)).

    Notes
    -----
    Season k counts p^(k - 1) / (1 + r)^k: money spent before the first season comes back with the harvest that ends
    each season. A broken last season counts by its part.

    >>> season_weights(np.array([0.5]), 2.5, 0.0).tolist()
    [[1.0, 0.5, 0.125]]
    """
    k = np.arange(1, int(np.ceil(seasons)) + 1)
    part = np.clip(seasons - (k - 1), 0.0, 1.0)
    weights: Floats = part * persistence[:, np.newaxis] ** (k - 1) / (1.0 + discount_rate) ** k
    return weights


def season_factors(seasons: Seasons, n_seasons: int, drawn: Draws) -> Floats:
    """Gain of each season over that of the mean season, shape (n_draws, n_seasons), mean 1.

    A season has a dry finish or not, alike on all soils; what dry seasons lose, the others have more.
    """
    chance = seasons.dry_chance.value
    dry = np.stack([drawn.levels(f"season {number}") < chance for number in range(n_seasons)], axis=1)
    gain = drawn("dry gain", seasons.dry_gain)[:, np.newaxis]
    factors: Floats = np.where(dry, gain, (1.0 - chance * gain) / (1.0 - chance))
    return factors


def list_seasons(
    gains: Mapping[str, Floats], weights: Mapping[str, Floats], factors: Floats, discount_rate: float
) -> pd.DataFrame:
    """Expected gain of each season, not discounted, columns of `Rates.by_season`.

    Parameters
    ----------
    gains : Mapping
        Soil type to draws of what the first season's gain is worth in each season's crop, money per ha, shape (n_draws,
        n_seasons).
    weights : Mapping
        Soil type to `season_weights`.
    factors : (n_draws, n_seasons)
        `season_factors`.
    """
    rows = []
    for soil_type, gain in gains.items():
        n_seasons = weights[soil_type].shape[1]
        expected = (gain[:, :n_seasons] * weights[soil_type] * factors[:, :n_seasons]).mean(axis=0)
        rows += [
            (soil_type, season, float(money) * (1.0 + discount_rate) ** season)
            for season, money in enumerate(expected, start=1)
        ]
    return pd.DataFrame(rows, columns=["soil_type", "season", "money_per_ha"])


def list_worth(
    catalog: Catalog, soil_types: tuple[str, ...], worth: Floats, *, controlled_traffic: bool
) -> pd.DataFrame:
    """One row a soil type, columns of `Rates.worth`."""
    soils, factor = [catalog.soils[name] for name in soil_types], catalog.crop.gain_factor.value
    return pd.DataFrame(
        {
            "soil_type": soil_types,
            "first_year_t_per_ha": [soil.first_year_gain.value * factor for soil in soils],
            "low": [soil.first_year_gain.span[0] * factor for soil in soils],
            "high": [soil.first_year_gain.span[1] * factor for soil in soils],
            "seasons": [lasting(soil, controlled_traffic=controlled_traffic)[1].value for soil in soils],
            "present_value_per_ha": worth.mean(axis=0),
        }
    )


def crop_issues(catalog: Catalog) -> Issues:
    """Remarks on which crop each season is priced as, and on a price given that is far from the crop's."""
    named = {name: catalog.crops[name].says for name in catalog.rotation}
    priced = joined(
        (
            Said("{crop} at {price}", crop=named[name], price=_price(price))
            for name, (_, price) in _crops(catalog).items()
        ),
        ", ",
    )
    turn = "in turn" if len(named) > 1 else "every season"
    own = "" if len(named) > 1 else "; give season.rotation where other crops follow"
    issues = [
        Issue(
            outcome=Outcome.ACCEPT,
            stage="costs",
            code="crops-priced",
            what=Said("the seasons after ripping are priced as {priced}, {turn}", priced=priced, turn=turn),
            done=f"a price given as prices.grain_per_t is that of the next crop alone{own}",
            place="[season]",
        )
    ]
    given = [one for one in catalog.replaced if one.key == "prices.grain_per_t"]
    for own_price, usual in ((one.own, one.shipped) for one in given):
        if not isinstance(own_price, Quantity) or not isinstance(usual, Quantity) or own_price.unit != usual.unit:
            continue
        low, high = usual.span
        if not low <= own_price.value <= high:
            what = Said(
                "prices.grain_per_t = {own} is taken as the price of {crop}, which is usually {low} to {high}",
                own=_price(own_price),
                crop=catalog.crop.says,
                low=per_t(low, "", bare=True),
                high=_price(usual, high),
            )
            done = "used as given; is it that of another crop?"
            issues.append(Issue("costs", "price-of-another-crop", what, done, place="[prices]"))
    return tuple(issues)


def _price(price: Quantity, value: float | None = None) -> Amount:
    """A price by mass, or another value in its currency."""
    return per_t(price.value if value is None else value, price.unit.partition("/")[0])


def unverified_gains(catalog: Catalog, soil_types: tuple[str, ...]) -> Issues:
    """Remark on the soil types whose yield gain is a shipped guess; none where every one has a source."""
    guesses = [name for name in soil_types if catalog.soils[name].first_year_gain.source == "unverified"]
    if not guesses:
        return ()
    what = f"the yield gain on {', '.join(guesses)} rests on no source"
    done = "the shipped range was used; give your own in [soil.types], best from unripped check strips"
    return (Issue("costs", "unverified-response", what, done, file="soils.toml"),)
