"""Field given its observations, averaged over covariances: one that is given, or many weighted by their posterior.

Integrated parameters: weights come from the likelihood times weakly informative priors, evaluated at quasi-random
points around the optimum, range by range on a grid. Covariances of one range share their correlation, so that every
prediction from them is one linear and one quadratic form (`hardpan.geostat.dual`).
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.geostat.censored import gaussian_posterior
from hardpan.geostat.covariance import Covariance, covariance_between
from hardpan.geostat.model import likelihood_at, posterior_at
from hardpan.geostat.observations import GaussianPosterior, Observations
from hardpan.geostat.parameters import ANISO_COS, MICRO, N_PARAMETERS, NOISE, RANGE, SILL, Priors, to_correlation
from hardpan.geostat.reml import RemlFit

_WIDER = 1.2
"""The points are spread a fifth wider than the information says: tails are then sampled, and weights stay even."""

_TAIL = 2.2
"""The same towards small variances, where the likelihood goes flat and the prior alone ends the tail."""

_POINTS = 36
"""Least number of parameter points: moments of the field are then within a few percent of those of a dense grid."""

_MOST_NUMBERS = 5e6
"""Numbers in a stack of covariances: hundreds of sites leave few points, and a posterior that needs few."""

_NARROW = 0.3
"""A standard error of the range's logarithm below this asks for a grid of its own, finer than the usual."""

_QUADRATURE_SE = np.array([-1.6, 0.0, 1.6])
"""Those ranges, in standard errors: a normal law on them keeps 92 % of its variance."""

_ROUGH = 1e-3
"""Move of a site's mean, in its standard deviations, that is left to the factors of one point among many."""

_NEGLIGIBLE = 6.0
"""Ranges whose best log posterior is this far under the top weigh under a quarter of a percent and are left out."""

_DEPENDENT = 1e-10
"""Share of a trend column that must be left once the columns before it are taken out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mixture:
    """Gaussian field given its observations under k weighted covariances, at n sites with p trend columns."""

    xy_m: Floats
    """(n, 2) sites."""
    trend: Floats
    """(n, p) trend columns at the sites."""
    trend_precision: Floats
    """(p,) prior precision of the trend coefficients."""
    observations: Observations
    correlations: tuple[Covariance, ...]
    """J correlation models: structures whose sills sum to 1, no micro-scale, no noise."""
    which: Ints
    """(k,) correlation of each covariance."""
    sill: Floats
    """(k,) variance of the structures together."""
    micro: Floats
    """(k,)."""
    noise: Floats
    """(k,)."""
    weight: Floats
    """(k,) sums to 1."""
    posterior: GaussianPosterior
    parameters: Floats
    """(k, q) fitted parameters on their search scale; q = 0 for a covariance that was given."""

    @property
    def is_spatial(self) -> bool:
        """Whether the field has a structure at all."""
        return bool(np.any(self.sill > 0))

    @property
    def mean_covariance(self) -> Covariance:
        """Covariance of mean variances and geometric mean length: the one that stands for all."""
        sill, micro, noise = (float(self.weight @ of) for of in (self.sill, self.micro, self.noise))
        first = self.correlations[0].structures if sill > 0 else ()
        if not first:
            return Covariance(structures=(), micro=micro, noise=noise)
        log_length = np.log([one.structures[0].length_m / first[0].length_m for one in self.correlations])
        longer = float(np.exp(self.weight @ log_length[self.which]))
        structures = tuple(replace(part, sill=sill * part.sill, length_m=longer * part.length_m) for part in first)
        return Covariance(structures=structures, micro=micro, noise=noise)

    @property
    def effective_number(self) -> float:
        """Effective number of covariances, 1 / sum of squared weights."""
        return float(1.0 / np.sum(self.weight**2))

    def site_covariances(self) -> Floats:
        """Covariance of the field between sites under each component, micro-scale included, shape (k, n, n)."""
        shapes = [covariance_between(shape, self.xy_m, self.xy_m) for shape in self.correlations]
        k = np.stack([sill * shapes[j] for sill, j in zip(self.sill, self.which, strict=True)])
        sites = np.arange(len(self.xy_m))
        k[:, sites, sites] += self.micro[:, None]
        return k

    def at_sites(self) -> tuple[Floats, Floats]:
        """Mean and variance (n,) of the field at the sites, micro-scale and trend included."""
        return self.pool(self.posterior.mean, self.posterior.variance)

    def dual_weights(self, values: Floats) -> tuple[Floats, Floats]:
        """Trend coefficients (p, r) and dual weights (n, r) of other values (n, r) under the first covariance.

        b = G X'W z and a = W (z - X b), as `posterior` holds them for the values that were observed.
        """
        w, g = self.posterior.precision[0], self.posterior.beta_cov[0]
        beta = g @ (self.trend.T @ (w @ values))
        return beta, w @ (values - self.trend @ beta)

    def pool(self, means: Floats, variances: Floats) -> tuple[Floats, Floats]:
        """Mean and variance (n,) of the mixture, from those (k, n) of its components."""
        mean = self.weight @ means
        return mean, self.weight @ (variances + means**2) - mean**2


def condition_on(
    covariance: Covariance, xy_m: Floats, observations: Observations, *, trend: Floats, trend_precision: Floats
) -> Mixture:
    """The field given its observations under one covariance that is known (plug-in kriging).

    Parameters
    ----------
    covariance : Covariance
        In the units of the observations. Its noise must be positive, or every observation's error.
    xy_m : Floats
        (n, 2) sites, no two coincident.
    observations : Observations
        m of them at the sites.
    trend, trend_precision : Floats
        (n, p) columns and (p,) prior precision of their coefficients, 0 for flat.

    Raises
    ------
    HardpanError
        The covariance of the data is not positive definite, or the trend columns are not independent at the data.

    Examples
    --------
    Two values of noise 1 at one site of a field of variance 2 and known mean 0: mean (3 + 5) / 2.5, variance 1 / 2.5.

    >>> z = np.array([3.0, 5.0])
    >>> seen = Observations(site=np.zeros(2, int), low=z, high=z, error=np.zeros(2))
    >>> field = Covariance(structures=(), micro=2.0, noise=1.0)
    >>> none = {"trend": np.empty((1, 0)), "trend_precision": np.empty(0)}
    >>> mean, variance = condition_on(field, np.zeros((1, 2)), seen, **none).at_sites()
    >>> mean.round(6), variance.round(6)
    (array([3.2]), array([0.4]))
    """
    _refuse_dependent(trend[observations.site][:, trend_precision == 0])
    sill = covariance.structured_sill
    unit = tuple(replace(structure, sill=structure.sill / sill) for structure in covariance.structures) if sill else ()
    k = covariance_between(covariance, xy_m, xy_m)
    k[np.diag_indices_from(k)] += covariance.micro
    noise = np.array([covariance.noise])
    return Mixture(
        xy_m=xy_m,
        trend=trend,
        trend_precision=trend_precision,
        observations=observations,
        correlations=(Covariance(structures=unit),),
        which=np.zeros(1, dtype=np.int64),
        sill=np.array([sill]),
        micro=np.array([covariance.micro]),
        noise=noise,
        weight=np.ones(1),
        posterior=gaussian_posterior(k[None], noise, observations, trend=trend, trend_precision=trend_precision),
        parameters=np.empty((1, 0)),
    )


def _refuse_dependent(trend: Floats) -> None:
    norm = np.linalg.norm(trend, axis=0)
    left = np.abs(np.diag(np.linalg.qr(trend / np.where(norm > 0, norm, 1.0), mode="r")))  # once those before are out
    if len(left) < trend.shape[1] or not np.all(left > _DEPENDENT):
        raise HardpanError(
            what="trend columns are not independent at the data",
            where="kriging",
            right="columns none of which is a sum of the others",
            do="leave out a soil type without data or one of two equal covariates",
        )


def points_at(n_sites: int, n_ranges: int, points_per_range: int = 8) -> int:
    """Number of parameter points at each range: fewer where their covariances between sites would fill the memory."""
    most = max(1, int(_MOST_NUMBERS / n_sites**2))
    return max(1, min(max(points_per_range, -(-_POINTS // n_ranges)), most // n_ranges))


def integrate_parameters(fit: RemlFit, priors: Priors, ranges_m: Floats, points_per_range: int = 8) -> Mixture:
    """The field with its covariance parameters integrated out, about the optimum of the likelihood times `priors`.

    Parameters
    ----------
    fit : RemlFit
        That optimum, its information observed.
    priors : Priors
        Those the optimum was found with.
    ranges_m : Floats
        (J,) effective ranges of the grid, evenly spaced in logarithm; ignored where the range is not fitted.
    points_per_range : int
        Parameter points at each range that matters.
    """
    model = fit.model
    others = model.free & (np.arange(N_PARAMETERS) < ANISO_COS)
    others[RANGE] = False
    grid = _range_grid(fit, ranges_m)
    middle, spread = _conditional(fit, others, grid)
    if len(grid) > 1:
        top = [likelihood_at(model, theta, fit.posterior).value for theta in middle] + priors(middle)[0]
        kept = top > top.max() - _NEGLIGIBLE
        grid, middle = grid[kept], middle[kept]
    each = points_at(len(model.xy_m), len(grid), points_per_range) if others.any() else 1
    step, z = _quasi_random(each * len(grid), others)
    which = np.repeat(np.arange(len(grid)), each)
    theta = middle[which]
    theta[:, others] += step @ spread.T
    inside = np.all((theta >= model.bounds[:, 0]) & (theta <= model.bounds[:, 1]) | ~others, axis=1)
    if inside.any():
        theta, z, which = theta[inside], z[inside], which[inside]
    else:  # an optimum in a corner of the bounds, of readings that say next to nothing, stands for itself
        theta, z, which = middle, np.zeros((len(grid), z.shape[1])), np.arange(len(grid))
    posterior = posterior_at(model, theta, fit.posterior, tolerance=_ROUGH)
    log_weight = posterior.log_evidence + priors(theta)[0] + 0.5 * np.sum(z**2, axis=1)
    weight = np.exp(log_weight - log_weight.max())
    at_ranges = np.repeat(theta[:1], len(grid), axis=0)
    at_ranges[:, RANGE] = grid
    sill, micro, noise = np.exp(theta[:, [SILL, MICRO, NOISE]]).T
    return Mixture(
        xy_m=model.xy_m,
        trend=model.trend,
        trend_precision=model.trend_precision,
        observations=model.observations,
        correlations=tuple(to_correlation(model.family, row) for row in at_ranges),
        which=which,
        sill=sill,
        micro=micro,
        noise=noise,
        weight=weight / weight.sum(),
        posterior=posterior,
        parameters=theta[:, model.free],
    )


def _range_grid(fit: RemlFit, ranges_m: Floats) -> Floats:
    """Logarithms of the ranges (J,): those of the grid, or three about the optimum where that is known better."""
    if not fit.model.free[RANGE]:
        return fit.theta[RANGE : RANGE + 1]
    error = fit.standard_errors[RANGE]
    if not error < _NARROW:
        return np.log(ranges_m)
    grid: Floats = fit.theta[RANGE] + error * _QUADRATURE_SE
    low, high = fit.model.bounds[RANGE]
    return np.asarray(grid[(grid >= low) & (grid <= high)])


def _conditional(fit: RemlFit, others: Bools, grid: Floats) -> tuple[Floats, Floats]:
    """Conditional mean of the other parameters at each range (J, 8), and the Cholesky factor of their covariance."""
    index = np.flatnonzero(others)
    values, vectors = np.linalg.eigh(fit.information[np.ix_(index, index)])
    # a flat direction is no wider than its prior: standard deviations within a factor e^2
    values = np.maximum(values, 0.25)
    shift = -(vectors / values) @ vectors.T @ fit.information[index, RANGE]
    middle = np.repeat(fit.theta[None], len(grid), axis=0)
    middle[:, RANGE] = grid
    low, high = fit.model.bounds[index].T
    if fit.model.free[RANGE]:
        middle[:, index] += np.clip((grid - fit.theta[RANGE])[:, None] * shift, -2.0, 2.0)
    middle[:, index] = np.clip(middle[:, index], low + 0.1, high - 0.1)
    return middle, np.linalg.cholesky((vectors / values) @ vectors.T)


def _quasi_random(count: int, others: Bools) -> tuple[Floats, Floats]:
    """Quasi-random steps (count, d), longer towards small variances, and their standard normals; always the same.

    Each coordinate has the law of two half normals of different widths.
    """
    index = np.flatnonzero(others)
    if not len(index):
        return np.zeros((count, 0)), np.zeros((count, 0))
    from scipy.stats import qmc

    u = qmc.Halton(d=len(index), scramble=True, rng=20).random(count)
    below = np.where(np.isin(index, [SILL, MICRO]), _TAIL, _WIDER)
    share = below / (below + _WIDER)
    left = u < share
    z = ndtri(np.where(left, 0.5 * u / share, 0.5 + 0.5 * (u - share) / (1.0 - share)))
    return z * np.where(left, below, _WIDER), z
