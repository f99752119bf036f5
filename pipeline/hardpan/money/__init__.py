"""Prices in, rates out: what an hour, a litre and a loosened hectare are worth, in joint draws.

`stage` is the recipe. What other rooms may use is named here: the seasons a gain lasts, what is
spread, and how numbers are drawn.
"""

from hardpan.money.draws import Draws, log_normal_factors
from hardpan.money.rates import (
    after_per_ha,
    at_cash_cost,
    by_contractor,
    expected_rates,
    hired_for,
    owning_per_hour,
    spread_rates,
    with_tractor_of,
)
from hardpan.money.worth import crop_shares, crop_values, first_year_gains, lasting, season_factors, season_weights

__all__ = [
    "Draws", "after_per_ha", "at_cash_cost", "by_contractor", "crop_shares", "crop_values", "expected_rates",
    "first_year_gains", "hired_for", "lasting", "log_normal_factors", "owning_per_hour", "season_factors",
    "season_weights", "spread_rates", "with_tractor_of",
]  # fmt: skip
