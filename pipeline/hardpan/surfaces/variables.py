"""What the surfaces are fitted to: one variable's readings, scaled."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.spatial.censored import Readings
from hardpan.spatial.mixed import Fit
from hardpan.spatial.posterior import Mixture

MIN_SPATIAL_SITES = 10
"""Fewer sites than this cannot tell a spatial structure from chance (common practice asks for far more)."""

LEAST_WIDTH = 0.02
"""Sites whose spread across is under this share of that along lie on a line and cannot tell of the ground beside it."""

TREND_SD = 2.0
"""Prior standard deviation of a soil type's departure and of a covariate's slope, in standard deviations of the
values: wide enough to leave data alone, finite so that a soil type without a probe gets an honest answer."""


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
        slack = np.full(len(trend_names), TREND_SD**-2)
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
