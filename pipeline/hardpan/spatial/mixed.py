"""Linear mixed model of a field: trend, one spatial structure, site micro-scale, noise of a reading; fitted by REML.

The four parameters are logarithms: effective range, sill, micro-scale variance, noise variance. The likelihood is that
of `hardpan.spatial.censored`, which is the restricted likelihood [patterson1971] when every reading is a value; its
gradient is analytic.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import get_args

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Bools, Floats
from hardpan.spatial.censored import Posterior, Readings, condition
from hardpan.spatial.covariance import Family, correlation

RANGE, SILL, MICRO, NOISE = range(4)
"""Order of the parameters."""

FAMILIES: tuple[Family, ...] = get_args(Family)

_LOG_VARIANCE = (np.log(1e-4), np.log(30.0))
"""Bounds of the variances, for values of about unit variance: from nothing visible to far beyond the data's spread."""

LEAST_KNOWN = 0.67
"""Standard error of the range's logarithm above which it is not identified: 90 % interval over a factor of nine."""

Penalty = Callable[[Floats], tuple[Floats, Floats]]
"""Log prior density (k,) and gradient (k, 4) of parameters (k, 4)."""


def _effective(family: Family) -> float:
    """Give the effective range over the model length: where correlation is 5 %, or the range of a spherical."""
    if family == "spherical":
        return 1.0
    return float(brentq(lambda r: float(correlation(family, np.array([r]))[0]) - 0.05, 0.1, 20.0))


EFFECTIVE: dict[Family, float] = {family: _effective(family) for family in FAMILIES}
"""Effective range in model lengths."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """What is fitted to what: n sites, m readings, p trend columns."""

    xy_m: Floats
    """(n, 2)."""
    trend: Floats
    """(n, p)."""
    slack: Floats
    """(p,) prior precision of the trend's coefficients, 0 for flat."""
    readings: Readings
    """Scaled to about unit variance."""
    family: Family
    free: Bools
    """(4,) parameters that are fitted."""
    fixed: Floats
    """(4,) values of those that are not; a sill of -inf leaves the structure out."""
    bounds: Floats
    """(4, 2)."""

    @property
    def distances_m(self) -> Floats:
        """(n, n)."""
        between: Floats = cdist(self.xy_m, self.xy_m)
        return between


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """The optimum of a model."""

    model: Model
    theta: Floats
    """(4,) parameters."""
    value: float
    """Log likelihood, plus log prior where one was given."""
    curvature: Floats
    """(4, 4) minus the second derivative there; rows of fixed parameters are 0."""
    posterior: Posterior

    @property
    def aic(self) -> float:
        """Akaike's criterion over the fitted covariance parameters."""
        return 2.0 * float(np.sum(self.model.free)) - 2.0 * self.value

    @property
    def identified(self) -> bool:
        """Whether the likelihood pins the range: away from its bounds, and known within a factor of three."""
        low, high = self.model.bounds[RANGE]
        inside = low + 1e-3 < self.theta[RANGE] < high - 1e-3
        return bool(self.model.free[RANGE] and inside and self.standard_errors[RANGE] < LEAST_KNOWN)

    @property
    def standard_errors(self) -> Floats:
        """(4,) of the logarithms, from the observed information; NaN where it is not positive definite or not free."""
        errors = np.full(4, np.nan)
        free = self.model.free
        information = self.curvature[np.ix_(free, free)]
        if free.any() and np.all(np.linalg.eigvalsh(information) > 1e-8):
            errors[free] = np.sqrt(np.diag(np.linalg.inv(information)))
        return errors


def variance_bounds(range_m: tuple[float, float]) -> Floats:
    """Give the bounds (4, 2) of the parameters for ranges between the two given."""
    return np.array([np.log(range_m), _LOG_VARIANCE, _LOG_VARIANCE, _LOG_VARIANCE])


def correlation_slope(family: Family, r: Floats) -> Floats:
    """Give the derivative of the correlation at scaled distance r by the logarithm of the length: -r rho'(r)."""
    if family == "exponential":
        return r * np.exp(-r)
    if family == "spherical":
        return np.where(r < 1.0, 1.5 * r * (1.0 - r * r), 0.0)
    if family == "matern32":
        y: Floats = np.sqrt(3.0) * r
        return np.asarray(y * y * np.exp(-y))
    y = np.sqrt(5.0) * r
    return np.asarray(y * y * (1.0 + y) / 3.0 * np.exp(-y))


def field_covariance(family: Family, distances_m: Floats, theta: Floats) -> Floats:
    """Give the covariance (k, n, n) of the field between sites for parameters (k, 4)."""
    lengths, which = np.unique(np.exp(theta[:, RANGE]) / EFFECTIVE[family], return_inverse=True)
    shapes = np.stack([correlation(family, distances_m / length) for length in lengths])
    k = np.exp(theta[:, SILL])[:, None, None] * shapes[which.ravel()]
    n = distances_m.shape[0]
    k[:, np.arange(n), np.arange(n)] += np.exp(theta[:, MICRO])[:, None]
    return k


def evidence(
    model: Model, distances_m: Floats, theta: Floats, start: Posterior | None = None
) -> tuple[Posterior, Floats]:
    """Give the field given the readings for parameters (k, 4), and the covariances (k, n, n) between sites."""
    k = field_covariance(model.family, distances_m, theta)
    return condition(k, np.exp(theta[:, NOISE]), model.readings, trend=model.trend, slack=model.slack, start=start), k


def evidence_slope(
    model: Model, distances_m: Floats, theta: Floats, start: Posterior | None = None
) -> tuple[Posterior, Floats]:
    """Give the field given the readings for parameters (k, 4), and the gradient (k, 4) of the log likelihood."""
    found, k = evidence(model, distances_m, theta, start)
    w, a = found.precision, found.weights
    wx = w @ model.trend
    # minus twice the derivative of the log likelihood by the covariance's elements
    push = w - wx @ found.beta_cov @ wx.swapaxes(1, 2) - a[:, :, None] * a[:, None, :]
    sill, micro = np.exp(theta[:, SILL]), np.exp(theta[:, MICRO])
    gradient = np.empty((len(theta), 4))
    for j, row in enumerate(theta):
        scaled = distances_m / (np.exp(row[RANGE]) / EFFECTIVE[model.family])
        gradient[j, RANGE] = -0.5 * sill[j] * np.vdot(push[j], correlation_slope(model.family, scaled))
    own = np.trace(push, axis1=1, axis2=2)
    gradient[:, SILL] = -0.5 * (np.einsum("kij,kij->k", push, k) - micro * own)
    gradient[:, MICRO] = -0.5 * micro * own
    gradient[:, NOISE] = np.exp(theta[:, NOISE]) * found.noise_slope
    return found, gradient * model.free


def fit_mixed(model: Model, starts: Floats, penalty: Penalty | None = None) -> Fit:
    """Give the optimum of the restricted likelihood, times a prior where `penalty` is given.

    Parameters
    ----------
    model : Model
        What is fitted.
    starts : Floats
        (s, 4) parameters to try; the search runs from the best of them within the model's bounds.
    penalty : Penalty | None
        Log prior and gradient.
    """
    distances_m = model.distances_m
    free = model.free
    starts = np.where(free, np.clip(starts, model.bounds[:, 0], model.bounds[:, 1]), model.fixed)
    # one at a time: a stack of covariances of a thousand sites would not fit
    tried = [evidence(model, distances_m, start[None])[0] for start in starts]
    reached = np.concatenate([found.log_evidence for found in tried])
    best = int(np.argmax(reached + (penalty(starts)[0] if penalty else 0.0)))
    last = [tried[best]]

    def full(part: Floats) -> Floats:
        theta = model.fixed.copy()
        theta[free] = part
        return theta

    def climb(part: Floats) -> tuple[float, Floats]:
        theta = full(part)[None]
        found, gradient = evidence_slope(model, distances_m, theta, last[0])
        last[0] = found
        value = found.log_evidence
        if penalty:
            prior, slope = penalty(theta)
            value, gradient = value + prior, gradient + slope
        return -float(value[0]), -gradient[0, free]

    theta = full(starts[best, free])
    if free.any():
        found = minimize(
            climb,
            starts[best, free],
            jac=True,
            method="L-BFGS-B",
            bounds=model.bounds[free],
            options={"maxiter": 60, "ftol": 1e-9},
        )
        theta = full(found.x)
    return Fit(
        model=model,
        theta=theta,
        value=-climb(theta[free])[0],
        curvature=_curvature(model, distances_m, theta, last[0], penalty),
        posterior=last[0],
    )


def _curvature(model: Model, distances_m: Floats, theta: Floats, start: Posterior, penalty: Penalty | None) -> Floats:
    """Give minus the second derivative by central differences of the analytic gradient."""
    step = 0.02
    index = np.flatnonzero(model.free)
    curvature = np.zeros((4, 4))
    if not len(index):
        return curvature
    moved = np.repeat(theta[None], 2 * len(index), axis=0)
    moved[np.arange(len(index)), index] += step
    moved[len(index) + np.arange(len(index)), index] -= step
    gradient = np.concatenate([evidence_slope(model, distances_m, theta[None], start)[1] for theta in moved])
    if penalty:
        gradient = gradient + penalty(moved)[1] * model.free
    half = (gradient[len(index) :] - gradient[: len(index)])[:, index] / (2 * step)
    curvature[np.ix_(index, index)] = 0.5 * (half + half.T)
    return curvature
