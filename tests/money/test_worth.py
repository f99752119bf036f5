"""Worth of a gain over the seasons."""

import numpy as np
import pytest

from builders import decision
from hardpan.money.draws import Draws
from hardpan.money.stage import price_machines
from hardpan.money.worth import crop_shares, season_factors
from hardpan.records.decision import SeasonSettings


def test_seasons_differ_about_the_mean_season_and_dry_ones_cost():
    seasons = decision.shipped_catalog().response.season
    factors = season_factors(seasons, 3, Draws(n_draws=1000, seed=1))
    assert factors.mean(axis=0) == pytest.approx(np.ones(3), abs=0.02)
    dry = factors < 0.5
    assert dry.mean(axis=0) == pytest.approx(np.full(3, seasons.dry_chance.value), abs=1e-9)
    assert factors[dry].mean() == pytest.approx(seasons.dry_gain.value, abs=0.03)
    assert abs(np.corrcoef(dry[:, 0], dry[:, 1])[0, 1]) < 0.1


def test_seasons_discounted_add_up_to_the_worth():
    catalog = decision.shipped_catalog()
    rates = price_machines(catalog, SeasonSettings(), ("deep sand", "sand over clay"), n_draws=400, seed=1)
    rate = catalog.prices.discount_rate.value
    told = rates.by_season.assign(now=lambda one: one["money_per_ha"] / (1.0 + rate) ** one["season"])
    assert told.groupby("soil_type")["now"].sum().to_numpy() == pytest.approx(
        rates.scenarios["worth_per_ha"].mean("draw").to_numpy(), rel=1e-9
    )


def exact(value, unit):
    return {"value": value, "low": value, "high": value, "unit": unit, "source": "user"}


def by_season(**tables):
    """Money that each of three seasons brings where wheat gains 1 t/ha, and all of it is kept."""
    soil = {"types": {"deep sand": {"first_year_gain": exact(1.0, "t/ha"), "persistence": exact(1.0, "share/season")}}}
    numbers = {
        "crops": {"canola": {"gain_factor": exact(0.5, "ratio"), "price_per_t": exact(700.0, "AUD/t")},
                  "lupin": {"gain_factor": exact(0.6, "ratio"), "price_per_t": exact(400.0, "AUD/t")},
                  "wheat": {"price_per_t": exact(300.0, "AUD/t")}},
        "response": {"season": {"dry_gain": exact(1.0, "share of the usual gain")}},
    }  # fmt: skip
    catalog = decision.shipped_catalog(soil=soil, numbers=numbers, **tables)
    season = SeasonSettings(**tables.get("season", {}))
    return price_machines(catalog, season, ("deep sand",), n_draws=20, seed=1)


def test_each_season_is_priced_as_its_own_crop():
    """Every later season was priced as the next crop."""
    rates = by_season(season={"rotation": ["canola", "wheat", "lupin"]})
    assert rates.by_season["money_per_ha"].to_numpy() == pytest.approx([0.5 * 700, 1.0 * 300, 0.6 * 400])
    discounted = sum(money / 1.05**season for season, money in enumerate((350.0, 300.0, 240.0), start=1))
    assert rates.scenarios["worth_per_ha"].to_numpy() == pytest.approx(discounted)
    assert rates.scenarios["first_year_t_per_ha"].to_numpy() == pytest.approx(0.5)


def test_crops_come_round_in_turn():
    rates = by_season(season={"rotation": ["canola", "wheat"]})
    assert rates.by_season["money_per_ha"].to_numpy() == pytest.approx([350.0, 300.0, 350.0])


def test_a_price_given_is_that_of_the_next_crop_alone():
    rates = by_season(season={"rotation": ["wheat", "canola"]}, prices={"grain_per_t": exact(200.0, "AUD/t")})
    assert rates.by_season["money_per_ha"].to_numpy() == pytest.approx([200.0, 350.0, 200.0])


def test_a_price_far_from_that_of_the_crop_is_not_taken_without_a_word():
    """Canola was priced as whatever crop the price was meant for."""
    found = {one.code: one for one in by_season(season={"crop": "canola"}, prices={"grain_per_t": 330.0}).issues}
    assert "330 AUD/t is taken as the price of canola" in found["price-of-another-crop"].what
    known = {one.code for one in by_season(season={"crop": "wheat"}, prices={"grain_per_t": 300.0}).issues}
    assert "price-of-another-crop" not in known


def test_which_crop_every_season_is_priced_as_is_told():
    found = {one.code: one for one in by_season(season={"rotation": ["wheat", "canola"]}).issues}
    assert "wheat at 300 AUD/t, canola at 700 AUD/t, in turn" in found["crops-priced"].what
    found = {one.code: one for one in by_season(season={"crop": "canola"}).issues}
    assert "canola at 700 AUD/t, every season" in found["crops-priced"].what


def test_break_even_and_payback_count_the_crops_too():
    catalog = decision.shipped_catalog(season={"rotation": ["canola", "wheat", "lupin"]})
    crops = catalog.crops
    prices = [catalog.prices.grain_per_t, crops["wheat"].price_per_t, crops["lupin"].price_per_t]
    worth = [crop.gain_factor.value * price.value for crop, price in zip(crops.values(), prices, strict=True)]
    assert crop_shares(catalog, 3) == pytest.approx([one / worth[0] for one in worth])
