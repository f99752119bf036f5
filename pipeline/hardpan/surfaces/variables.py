"""What the surfaces are fitted to: one variable's readings, scaled."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat.censored import Readings
from hardpan.geostat.mixture import Mixture
from hardpan.geostat.reml import Fit
from hardpan.surfaces.domain import SOIL

MIN_SPATIAL_SITES = 10
"""Fewer sites than this cannot tell a spatial structure from chance (common practice asks for far more)."""

LEAST_WIDTH = 0.02
"""Sites whose spread across is under this share of that along lie on a line and cannot tell of the ground beside it."""

SOIL_SD = 1.0
"""Prior standard deviation of a soil type's departure from the paddock's mean, in standard deviations of the values:
they hold the differences between soil types, so that larger ones are rare; a type without a probe gets this answer."""

SLOPE_SD = 0.5
"""The same of the slope on a covariate or on strength: between standardised variables it is much like a correlation."""

Moments: TypeAlias = tuple[Floats, Floats]
"""Mean and variance (m,) in the variable's scaled units."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Variable:
    """Readings of one variable, scaled to mean 0 and variance 1."""

    name: str
    """`pan`, `top`, `bottom` or `peak`, or the mid depth of a slice."""
    unit: str
    readings: Readings
    rows: Ints
    """(m,) rows of the insertions they come from."""
    centre: float
    scale: float
    log: bool = False
    """Values are logarithms."""
    binary: bool = False
    """Readings are signs of the field plus noise of variance 1."""

    @property
    def n_sites(self) -> int:
        """Sites with a reading."""
        return len(np.unique(self.readings.site))

    def is_spread_out(self, site_xy_m: Floats) -> bool:
        """Tell whether the sites with a reading do not all lie on one line."""
        xy = site_xy_m[np.unique(self.readings.site)]
        along, across = np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)[:2]
        return bool(across > LEAST_WIDTH * along)

    def is_spatial(self, site_xy_m: Floats) -> bool:
        """Tell whether the sites can show a spatial structure: enough of them, and not all on one line."""
        return self.n_sites >= MIN_SPATIAL_SITES and self.is_spread_out(site_xy_m)

    @property
    def exact(self) -> Bools:
        """Readings that are values, not bounds."""
        return self.readings.exact

    def slack(self, trend_names: tuple[str, ...]) -> Floats:
        """Give the prior precision of the trend's coefficients: the mean is free, except that of a sign.

        A normal latent mean of variance 1 makes every share of ground with a pan equally likely before any reading.
        """
        sd = [SOIL_SD if name.startswith(SOIL) else SLOPE_SD for name in trend_names]
        slack = np.array(sd) ** -2.0
        slack[0] = 1.0 if self.binary else 0.0
        return slack


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """A variable and what is known of it everywhere."""

    variable: Variable
    fit: Fit
    """Restricted likelihood's optimum, for the table of models; with the prior for presence, which has no other."""
    mixture: Mixture
    on_strength: bool = False
    """The last trend column is the mapped strength of the pan."""
