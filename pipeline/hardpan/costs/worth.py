"""How long a loosened pan goes on paying."""

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.records.catalog import Quantity, SoilType


def lasting(soil: SoilType, *, controlled_traffic: bool) -> tuple[Quantity, Quantity]:
    """Give the share of the gain kept from one season to the next, and the seasons it lasts."""
    if not controlled_traffic:
        return soil.persistence, soil.seasons
    return soil.persistence_controlled, soil.seasons_controlled or soil.seasons


def season_weights(persistence: Floats, seasons: float, discount_rate: float) -> Floats:
    """Give each season's gain as discounted share of the first season's, shape (n_draws, ceil(seasons)).

    Notes
    -----
    Season k counts p^(k - 1) / (1 + r)^k: money spent before the first season comes back with the harvest that ends
    each season. A broken last season counts by its part.
    """
    k = np.arange(1, int(np.ceil(seasons)) + 1)
    part = np.clip(seasons - (k - 1), 0.0, 1.0)
    weights: Floats = part * persistence[:, np.newaxis] ** (k - 1) / (1.0 + discount_rate) ** k
    return weights
