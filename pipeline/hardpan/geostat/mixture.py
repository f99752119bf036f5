"""Field with its covariance parameters integrated out: a weighted set of parameters instead of one best guess.

The weights come from the likelihood times weakly informative priors, evaluated at quasi-random points around the
optimum, range by range on a grid. For one range every prediction is a linear or quadratic form in the
correlations between target and sites, so that all parameters with that range collapse into one vector and one matrix:
the whole mixture costs one kriging variance for each range.

Priors (for values scaled to about unit variance; a choice of this tool): logarithm of the effective range normal about
a quarter of the paddock's diagonal with standard deviation 1; standard deviations of structure, micro-scale and noise
exponential, as simpson2017 argues for, with 5 % above 1.5, 1 and 2.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat.censored import Posterior
from hardpan.geostat.covariance import Covariance
from hardpan.geostat.parameters import ALONG, MICRO, NOISE, RANGE, SILL, N, correlation_of
from hardpan.geostat.reml import Fit, Model, evidence

PRIOR_LOG_RANGE_SD = 1.0
"""One standard deviation is a factor of 2.7 either way."""

PRIOR_RATE = {SILL: -np.log(0.05) / 1.5, MICRO: -np.log(0.05) / 1.0, NOISE: -np.log(0.05) / 2.0}
"""Rates of the exponential priors of the standard deviations."""

_STRETCH = 1.2
"""The points are spread a fifth wider than the curvature says: tails are then sampled, and weights stay even."""

_TAIL = 2.2
"""The same towards small variances, where the likelihood goes flat and the prior alone ends the tail."""

_POINTS = 36
"""Least number of parameter points: moments of the field are then within a few percent of those of a dense grid."""

_MOST_NUMBERS = 5e6
"""Numbers in a stack of covariances: hundreds of sites leave few points, and a posterior that needs few."""

_NARROW = 0.3
"""A standard error of the range's logarithm below this asks for a grid of its own, finer than the usual."""

_ABOUT = np.array([-1.6, 0.0, 1.6])
"""Those ranges, in standard errors: a normal law on them keeps 92 % of its variance."""

_ROUGH = 1e-3
"""Move of a site's mean, in its standard deviations, that is left to the factors of one point among many."""

_NEGLIGIBLE = 6.0
"""Ranges whose best log posterior is this far under the top weigh under a quarter of a percent and are left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """Log prior of range and variances, flat in the form; constants left out."""

    log_range: float
    """Middle of the logarithm of the effective range (m)."""

    def __call__(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Give log density (k,), gradient and minus the second derivatives (k, 8); parameters at -inf add nothing."""
        off = (theta[:, RANGE] - self.log_range) / PRIOR_LOG_RANGE_SD
        value, slope, bend = -0.5 * off**2, np.zeros(theta.shape), np.zeros(theta.shape)
        slope[:, RANGE], bend[:, RANGE] = -off / PRIOR_LOG_RANGE_SD, PRIOR_LOG_RANGE_SD**-2
        for which, rate in PRIOR_RATE.items():
            sd = np.exp(0.5 * theta[:, which])
            here = np.isfinite(theta[:, which])
            value = value + np.where(here, 0.5 * np.where(here, theta[:, which], 0.0) - rate * sd, 0.0)
            slope[:, which] = np.where(here, 0.5 - 0.5 * rate * sd, 0.0)
            bend[:, which] = 0.25 * rate * sd
        return value, slope, bend


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mixture:
    """Weighted parameters, each with its field."""

    model: Model
    theta: Floats
    """(k, 8), all of one form."""
    weight: Floats
    """(k,) sums to 1."""
    posterior: Posterior
    group: Ints
    """(k,) position in `ranges_m`."""
    ranges_m: Floats
    """(J,) effective ranges."""

    def shape(self, range_m: float) -> Covariance:
        """Give the structures at an effective range, of unit sill."""
        theta = self.theta[0].copy()
        theta[RANGE] = np.log(range_m)
        return correlation_of(self.model.family, theta)

    @property
    def middle(self) -> Floats:
        """(8,) weighted means of the logarithm of the range and of the variances."""
        theta: Floats = self.theta[0].copy()
        theta[RANGE] = self.weight @ self.theta[:, RANGE]
        variances = [SILL, MICRO, NOISE]
        with np.errstate(divide="ignore"):  # a variance that is left out is 0
            theta[variances] = np.log(self.weight @ np.exp(self.theta[:, variances]))
        return theta

    @property
    def effective_number(self) -> float:
        """Effective number of parameter points: 1 / sum of squared weights."""
        return float(1.0 / np.sum(self.weight**2))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RangePart:
    """The mixture's share at one range; u = (correlations with the n sites, p trend values) of a target."""

    range_m: float
    weight: float
    sill: float
    """Weighted mean of the sill, times `weight`."""
    micro: float
    linear: Floats
    """(n + p,): weighted mean of the field is u . linear."""
    quadratic: Floats
    """(n + p, n + p): weighted second moment is sill + micro + u' quadratic u."""


def points_at(n_sites: int, n_ranges: int, points_per_range: int = 8) -> int:
    """Number of parameter points at each range: fewer where their covariances between sites would fill the memory."""
    most = max(1, int(_MOST_NUMBERS / n_sites**2))
    return max(1, min(max(points_per_range, -(-_POINTS // n_ranges)), most // n_ranges))


def integrate(fit: Fit, priors: Priors, ranges_m: Floats, points_per_range: int = 8) -> Mixture:
    """Give the mixture about the optimum `fit` of the likelihood times `priors`, its curvature observed.

    Parameters
    ----------
    ranges_m : Floats
        (J,) effective ranges of the grid, evenly spaced in logarithm; ignored where the range is not fitted.
    points_per_range : int
        Parameter points at each range that matters.
    """
    model = fit.model
    others = model.free & (np.arange(N) < ALONG)
    others[RANGE] = False
    grid = _range_grid(fit, ranges_m)
    middle, spread = _conditional(fit, others, grid)
    if len(grid) > 1:
        reached = [evidence(model, theta[None], fit.posterior)[0].log_evidence for theta in middle]
        top = np.concatenate(reached) + priors(middle)[0]
        kept = top > top.max() - _NEGLIGIBLE
        grid, middle = grid[kept], middle[kept]
    each = points_at(len(model.xy_m), len(grid), points_per_range)
    step, z = _spread_points(each * len(grid), others)
    group = np.repeat(np.arange(len(grid)), each)
    theta = middle[group]
    theta[:, others] += step @ spread.T
    inside = np.all((theta >= model.bounds[:, 0]) & (theta <= model.bounds[:, 1]) | ~others, axis=1)
    theta, z, group = theta[inside], z[inside], group[inside]
    found, _ = evidence(model, theta, fit.posterior, tolerance=_ROUGH)
    log_weight = found.log_evidence + priors(theta)[0] + 0.5 * np.sum(z**2, axis=1)
    weight = np.exp(log_weight - log_weight.max())
    return Mixture(
        model=model,
        theta=theta,
        weight=weight / weight.sum(),
        posterior=found,
        group=group,
        ranges_m=np.exp(grid),
    )


def _range_grid(fit: Fit, ranges_m: Floats) -> Floats:
    """Give logarithms of the ranges: those of the grid, or three about the optimum where that is known better."""
    if not fit.model.free[RANGE]:
        return fit.theta[RANGE : RANGE + 1]
    error = fit.standard_errors[RANGE]
    if not error < _NARROW:
        return np.log(ranges_m)
    grid: Floats = fit.theta[RANGE] + error * _ABOUT
    low, high = fit.model.bounds[RANGE]
    return np.asarray(grid[(grid >= low) & (grid <= high)])


def _conditional(fit: Fit, others: Bools, grid: Floats) -> tuple[Floats, Floats]:
    """Give where the other parameters lie at each range (J, 8), and the triangular root of their spread."""
    index = np.flatnonzero(others)
    values, vectors = np.linalg.eigh(fit.curvature[np.ix_(index, index)])
    # a flat direction is no wider than its prior: standard deviations within a factor e^2
    values = np.maximum(values, 0.25)
    shift = -(vectors / values) @ vectors.T @ fit.curvature[index, RANGE]
    middle = np.repeat(fit.theta[None], len(grid), axis=0)
    middle[:, RANGE] = grid
    low, high = fit.model.bounds[index].T
    if fit.model.free[RANGE]:
        middle[:, index] += np.clip((grid - fit.theta[RANGE])[:, None] * shift, -2.0, 2.0)
    middle[:, index] = np.clip(middle[:, index], low + 0.1, high - 0.1)
    return middle, np.linalg.cholesky((vectors / values) @ vectors.T)


def _spread_points(count: int, others: Bools) -> tuple[Floats, Floats]:
    """Give evenly spread steps (count, d), longer towards small variances, and their standard normals; always the same.

    Each coordinate has the law of two half normals of different widths.
    """
    index = np.flatnonzero(others)
    if not len(index):
        return np.zeros((count, 0)), np.zeros((count, 0))
    u = qmc.Halton(d=len(index), scramble=True, rng=20).random(count)
    below = np.where(np.isin(index, [SILL, MICRO]), _TAIL, _STRETCH)
    share = below / (below + _STRETCH)
    left = u < share
    z = ndtri(np.where(left, 0.5 * u / share, 0.5 + 0.5 * (u - share) / (1.0 - share)))
    return z * np.where(left, below, _STRETCH), z


def range_parts(mixture: Mixture) -> list[RangePart]:
    """Give the mixture collapsed range by range."""
    found, trend = mixture.posterior, mixture.model.trend
    sill, micro = np.exp(mixture.theta[:, SILL]), np.exp(mixture.theta[:, MICRO])
    wx = found.precision @ trend
    cross = -np.einsum("knp,kpq->knq", wx, found.beta_cov) * sill[:, None, None]
    field = (-found.precision + wx @ found.beta_cov @ wx.swapaxes(1, 2)) * (sill**2)[:, None, None]
    linear = np.concatenate([found.weights * sill[:, None], found.beta], axis=1)
    quadratic = np.concatenate(
        [np.concatenate([field, cross], axis=2), np.concatenate([cross.swapaxes(1, 2), found.beta_cov], axis=2)],
        axis=1,
    )
    quadratic += linear[:, :, None] * linear[:, None, :]
    parts = []
    for j, range_m in enumerate(mixture.ranges_m):
        w = np.where(mixture.group == j, mixture.weight, 0.0)
        parts.append(
            RangePart(
                range_m=float(range_m),
                weight=float(w.sum()),
                sill=float(w @ sill),
                micro=float(w @ micro),
                linear=w @ linear,
                quadratic=np.tensordot(w, quadratic, axes=1),
            )
        )
    return parts
