"""Prices in, rates out: what an hour, a litre and a loosened hectare are worth, in joint draws.

Other rooms may use what is named here; `stage` is the recipe.
"""

from hardpan.money.worth import lasting, season_weights

__all__ = ["lasting", "season_weights"]
