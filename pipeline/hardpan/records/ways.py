"""The same ground at cash cost, by a contractor and by a stronger tractor, each at the depths that are best for it."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.records.reasons import Alternative, Way


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """What a way returns at its own best depths and area, from the draws of the plan; sequences follow its zones."""

    way: Way
    best: tuple[Alternative | None, ...]
    """Depth and set-up with expected cost and gain per ha; None where leaving is best."""
    ripped_ha: Floats
    """(n_zones,)."""
    cost: Floats
    """(n_zones, n_draws): money per zone."""
    net: Floats
    """(n_zones, n_draws): net return, money per zone."""
    hours: Floats
    """(n_zones, n_draws): NaN of a contractor, whose hours are not known."""
    fuel_l: Floats
    """(n_zones, n_draws): the same."""
    power_kw: float = np.nan
    """Rated power of the stronger tractor; NaN of the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaySum:
    """What a way costs and returns in all; money for the paddock, 5-95 % range."""

    way: Way
    ripped_ha: float
    depths_mm: tuple[int, ...]
    """Working depths, shallowest first; none where nothing is ripped."""
    cost: float
    net: float
    net_low: float
    net_high: float
    loss_probability: float
    hours: float
    """NaN where not known, as of a contractor."""
    fuel_l: float
    power_kw: float = np.nan
    """Rated power of the stronger tractor; NaN of the others."""
