"""Worth of a gain over the seasons."""

import numpy as np
import pytest

from builders import decision
from hardpan.money.draws import Draws
from hardpan.money.worth import season_factors


def test_seasons_differ_about_the_mean_season_and_dry_ones_cost():
    seasons = decision.shipped_catalog().response.season
    factors = season_factors(seasons, 3, Draws(n_draws=1000, seed=1))
    assert factors.mean(axis=0) == pytest.approx(np.ones(3), abs=0.02)
    dry = factors < 0.5
    assert dry.mean(axis=0) == pytest.approx(np.full(3, seasons.dry_chance.value), abs=1e-9)
    assert factors[dry].mean() == pytest.approx(seasons.dry_gain.value, abs=0.03)
    assert abs(np.corrcoef(dry[:, 0], dry[:, 1])[0, 1]) < 0.1
