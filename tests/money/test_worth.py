"""Worth of a gain over the seasons."""

import numpy as np
import pytest

from builders import decision
from hardpan.money.draws import Draws
from hardpan.money.stage import price_machines
from hardpan.money.worth import season_factors
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
