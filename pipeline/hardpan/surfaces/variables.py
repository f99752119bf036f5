"""Pan features to variables: scaled observations of presence, top, bottom and peak, and the fields fitted to them."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple, TypeAlias

import geopandas as gpd
import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat import (
    MICRO,
    NOISE,
    PRIOR_HIGH,
    RANGE,
    SILL,
    Mixture,
    Observations,
    Priors,
    RemlFit,
    morton_order,
)
from hardpan.records.pan import Bottom, Peak, Seen, State
from hardpan.surfaces.domain import SOIL
from hardpan.surfaces.settings import PriorSettings

MIN_SPATIAL_SITES = 10
"""Fewer sites than this cannot tell a spatial structure from chance (common practice asks for far more)."""

MOST_TOGETHER = 300
"""Sites up to which the likelihood is that of all together; of more it is the sum over groups, whose cost
grows with their number only: what is lost is what distances longer than a group tell."""

GROUP = 200
"""Sites of a group, at most."""

LEAST_WIDTH = 0.02
"""Sites whose spread across is under this share of that along lie on a line and cannot tell of the ground beside it."""

SOIL_SD = 0.7
"""Prior standard deviation of a soil type's departure from the paddock's mean, in standard deviations of the values:
soil types hold any share of their variance, on average half. A type without a probe, or with bounds alone, leans on it.
"""

SLOPE_SD = 0.5
"""The same of the slope on a covariate or on strength: between standardised variables it is much like a correlation."""

STRENGTH = "strength"
"""Name of the trend column that holds the mapped strength of the pan."""

_SLOPE_SDS = {STRENGTH: 0.7}
"""On strength it is wider, any share of the variance, half on average: of the strong ground, where insertions stop, the
slope alone tells, learnt from the weak. With 1, slopes beyond any correlation took that ground for too deep."""

LEAST_SCALE_MM = 5.0
"""Depths that differ less than this are the same to a probe read every 25 mm."""

LEAST_SCALE_LOG = 0.02
"""The same for the logarithm of the peak: 2 %."""

_MUCH_UNREAD = 0.05
"""Above this share of ground the map of the bottom goes beyond all readings."""

_DIP = 0.1
"""Chance that readings under the threshold at the end of a rod, too few to close the pan, are a dip in it: a choice."""

_STREAMS = ("peak", "pan", "top", "bottom")
"""Variables in the order of their random streams."""

Moments: TypeAlias = tuple[Floats, Floats]
"""Mean and variance (m,) in the variable's scaled units."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Variable:
    """Observations of one variable, scaled to mean 0 and variance 1."""

    name: str
    """`pan`, `top`, `bottom` or `peak`, or the mid depth of a slice."""
    unit: str
    observations: Observations
    rows: Ints
    """(m,) rows of the insertions they come from."""
    centre: float
    scale: float
    log: bool = False
    """Values are logarithms."""
    binary: bool = False
    """Observations are signs of the field plus noise of variance 1."""
    by_strength: bool = False
    """Strength stopped some of the insertions that give bounds, so that these are not of just any ground."""
    mean_sd: float = np.inf
    """Prior standard deviation of the mean about 0."""
    usual_noise: float = np.nan
    """Usual standard deviation between insertions of a site, NaN where nothing is known of it."""
    usual: PriorSettings = field(default_factory=PriorSettings)
    """What is usual of range and variances."""
    given: Mapping[int, float] = field(default_factory=dict)
    """Parameters of the covariance that are given instead of fitted, on their search scale, scaled."""

    @property
    def n_sites(self) -> int:
        """Sites with a reading."""
        return len(np.unique(self.observations.site))

    @property
    def can_be_fitted(self) -> bool:
        """Whether the likelihood alone may tell a covariance: not of signs, nor of fewer than ten values and bounds."""
        seen = len(np.unique(self.observations.site[self.exact]))
        return not self.binary and bool(self.exact.all() or seen >= MIN_SPATIAL_SITES)

    def is_spread_out(self, site_xy_m: Floats) -> bool:
        """Whether the sites with a reading do not all lie on one line."""
        xy = site_xy_m[np.unique(self.observations.site)]
        along, across = np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)[:2]
        return bool(across > LEAST_WIDTH * along)

    def is_spatial(self, site_xy_m: Floats) -> bool:
        """Whether there is a spatial structure: given, or shown by enough sites that do not all lie on one line."""
        given = RANGE in self.given and SILL in self.given
        return given or (self.n_sites >= MIN_SPATIAL_SITES and self.is_spread_out(site_xy_m))

    def groups(self, site_xy_m: Floats) -> Ints | None:
        """Compact groups (n_sites,) of equally many sites, that the likelihood is summed over; None: all together.

        All together up to `MOST_TOGETHER` sites, and where a group would have too few values to know its mean.
        """
        n = len(site_xy_m)
        if n <= MOST_TOGETHER:
            return None
        group = np.empty(n, dtype=np.int64)
        group[morton_order(site_xy_m)] = np.arange(n) * -(-n // GROUP) // n
        values = np.bincount(group[np.unique(self.observations.site[self.exact])], minlength=int(group.max()) + 1)
        known = self.binary or np.isfinite(self.mean_sd) or values.min() >= MIN_SPATIAL_SITES
        return group if known else None

    @property
    def exact(self) -> Bools:
        """Observations that are values, not bounds."""
        return self.observations.exact

    def trend_precision(self, trend_names: tuple[str, ...]) -> Floats:
        """Prior precision of the trend's coefficients: the mean is free, except that of a sign.

        A normal latent mean of variance 1 makes every share of ground with a pan equally likely before any reading;
        soil types depart from it as widely.
        """
        soil_sd = 1.0 if self.binary else SOIL_SD
        sd = [soil_sd if name.startswith(SOIL) else _SLOPE_SDS.get(name, SLOPE_SD) for name in trend_names]
        trend_precision = np.array(sd) ** -2.0
        trend_precision[0] = 1.0 if self.binary else self.mean_sd**-2.0
        return trend_precision

    def priors(self, diagonal_m: float) -> Priors:
        """Priors of the covariance parameters over ground `diagonal_m` across."""
        known, usual = np.isfinite(self.usual_noise), self.usual
        noise = (2.0 * float(np.log(self.usual_noise)), 2.0 * float(np.log(usual.noise_factor)))
        return Priors(
            log_range=float(np.log(usual.range_m or diagonal_m / 4.0)),
            range_factor=usual.range_factor,
            high={**PRIOR_HIGH, SILL: usual.structure_high, MICRO: usual.micro_high},
            normal={NOISE: noise} if known else {},
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedField:
    """A variable and what is known of it everywhere."""

    variable: Variable
    fit: RemlFit
    """Restricted likelihood's optimum, for the table of models; with the prior for presence, which has no other."""
    mixture: Mixture
    on_strength: bool = False
    """The last trend column is the mapped strength of the pan."""

    @property
    def knows_range(self) -> bool:
        """Whether the range is given, or determined by the likelihood."""
        return self.fit.is_spatial and (self.fit.identified or RANGE in self.variable.given)


class Unread(NamedTuple):
    """Ground mapped deeper than any insertion read in a pan."""

    share: float = 0.0
    deepest_mm: float = np.nan
    """Deepest reading in a pan; NaN where every insertion saw its bottom."""

    @property
    def is_much(self) -> bool:
        """Whether it is worth telling."""
        return self.share > _MUCH_UNREAD


def unread_ground(bottom: Variable, bottom_mm: Floats) -> Unread:
    """Share of the cells whose mapped bottom (n_cells,) lies below the deepest value and bound."""
    if bottom.exact.all():
        return Unread()
    deepest_mm = bottom.centre + bottom.scale * float(bottom.observations.low.max())
    return Unread(share=float(np.mean(bottom_mm > deepest_mm)), deepest_mm=deepest_mm)


def stream_of(name: str, seed: int) -> np.random.Generator:
    """Random stream of a variable's draws, the same whichever other variables there are."""
    return np.random.default_rng([seed, _STREAMS.index(name)])


def read_presence(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Presence as bounds on a latent field: above zero where a pan is, below where none is.

    Ground that is soft down to where the insertion ends may have a pan below with the chance `missed`, and a site's
    mean may lie on the other side of the threshold than its ground with the chance `doubt`.
    """
    rows = np.flatnonzero(insertions["state"] != State.UNUSABLE)
    present = insertions["state"].to_numpy()[rows] == State.PRESENT
    missed, doubt = (insertions[name].to_numpy(float)[rows] for name in ("missed", "doubt"))
    readings = Observations(
        site=site[rows],
        low=np.where(present, 0.0, -np.inf),
        high=np.where(present, np.inf, 0.0),
        error=np.zeros(len(rows)),
        leak=missed + doubt - missed * doubt,
    )
    return Variable(name="pan", unit="", observations=readings, rows=rows, centre=0.0, scale=1.0, binary=True)


def read_top(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Tops of the insertions with a pan."""
    rows = np.flatnonzero(insertions["state"] == State.PRESENT)
    top = insertions["top_mm"].to_numpy(float)[rows]
    known = np.isfinite(top)
    rows, top = rows[known], top[known]
    error = np.nan_to_num(insertions["top_sd_mm"].to_numpy(float)[rows]) ** 2
    readings = Observations(site=site[rows], low=top, high=top, error=error, noisy=_noisy(insertions, rows))
    return _scaled(readings, "top", "mm", rows)


def read_bottom(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Bottoms: values where seen, at least the stop depth where the insertion stopped in the pan.

    Where the rod ended among readings that were soft already, the bottom likely lies among these. Were it held to lie
    anywhere below the last hard reading, which is as deep as the pan itself, short rods would make every pan deep.
    """
    kind = insertions["bottom_kind"].to_numpy()
    rows = np.flatnonzero((insertions["state"] == State.PRESENT) & np.isin(kind, [Bottom.OBSERVED, Bottom.CENSORED]))
    seen = kind[rows] == Bottom.OBSERVED
    column = {name: insertions[name].to_numpy(float)[rows] for name in ("bottom_mm", "bottom_low_mm", "bottom_high_mm")}
    low = np.where(seen, column["bottom_mm"], column["bottom_low_mm"])
    high = np.where(seen, column["bottom_mm"], column["bottom_high_mm"])
    error = np.where(seen, np.nan_to_num(insertions["bottom_sd_mm"].to_numpy(float)[rows]) ** 2, 0.0)
    leak = np.where(~seen & np.isfinite(high), _DIP, 0.0)
    noisy = _noisy(insertions, rows)
    readings = Observations(site=site[rows], low=low, high=high, error=error, leak=leak, noisy=noisy)
    bottom = _scaled(readings, "bottom", "mm", rows)
    refused = insertions["seen"].to_numpy()[rows][~seen]
    return replace(bottom, by_strength=bool(np.isin(refused, [Seen.REFUSAL, Seen.LIMIT]).any()))


def read_peak(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Logarithms of the peaks: values, but lower bounds where the probe was refused or at its limit."""
    peak = insertions["peak_kpa"].to_numpy(float)
    rows = np.flatnonzero((insertions["state"] == State.PRESENT) & np.isfinite(peak) & (peak > 0))
    low = np.log(peak[rows])
    stopped = insertions["peak_kind"].to_numpy()[rows] == Peak.CENSORED
    high = np.where(stopped, np.inf, low)
    error = (np.nan_to_num(insertions["peak_sd_kpa"].to_numpy(float)[rows]) / peak[rows]) ** 2
    readings = Observations(site=site[rows], low=low, high=high, error=error, noisy=_noisy(insertions, rows))
    return _scaled(readings, "peak", "kPa", rows)


def _noisy(insertions: gpd.GeoDataFrame, rows: Ints) -> Floats | None:
    """Share of the noise between insertions in each reading: none in a site's mean, whose standard error holds it."""
    stated = np.isfinite(insertions["peak_sd_kpa"].to_numpy(float)[rows])
    return np.where(stated, 0.0, 1.0) if stated.any() else None


def read_slice(kpa: Floats, site: Ints, name: str) -> Variable:
    """Mean cone index of one depth slice."""
    rows = np.flatnonzero(np.isfinite(kpa) & (kpa > 0))
    low = np.log(kpa[rows])
    return _scaled(Observations(site=site[rows], low=low, high=low, error=np.zeros(len(rows))), name, "kPa", rows)


def _scaled(observations: Observations, name: str, unit: str, rows: Ints) -> Variable:
    """Readings with mean 0 and variance 1 over the values (over the bounds where there is no value)."""
    base = observations.low[observations.exact] if observations.exact.any() else observations.low
    log = unit == "kPa"
    centre = float(base.mean()) if len(base) else 0.0
    scale = max(float(base.std(ddof=1)) if len(base) > 1 else 0.0, LEAST_SCALE_LOG if log else LEAST_SCALE_MM)
    scaled = replace(
        observations,
        low=(observations.low - centre) / scale,
        high=(observations.high - centre) / scale,
        error=observations.error / scale**2,
    )
    return Variable(name=name, unit=unit, observations=scaled, rows=rows, centre=centre, scale=scale, log=log)
