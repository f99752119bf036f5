"""Linear mixed model of a field: trend, spatial structures, site micro-scale, noise of a reading; fitted by REML.

The parameters are those of `hardpan.geostat.parameters`. The likelihood is that of `hardpan.geostat.censored`, which is
the restricted likelihood [patterson1971] when every reading is a value; its gradient is analytic. The search is
Newton's, with the average information [gilmour1995] for the second derivative, damped so that it never falls.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from hardpan.core.arrays import Bools, Floats
from hardpan.geostat.censored import Posterior, Readings, condition
from hardpan.geostat.covariance import Family
from hardpan.geostat.parameters import MICRO, NOISE, RANGE, SILL, N, correlation_slopes, field_covariance

LEAST_KNOWN = 0.67
"""Standard error of the range's logarithm above which it is not identified: 90 % interval over a factor of nine."""

_MOST_STEPS = 60
"""Six are usual; a search that needs more than sixty climbs a ridge to a bound."""

_SETTLED = 1e-4
"""Twice the gain of log likelihood that a step promises at which the search ends: a hundredth of a standard error."""

_LONGEST_STEP = 1.5
"""Of one parameter at once: a factor of 4.5."""

_LEAST_INFORMATION = 1e-6
"""Of one parameter: keeps a direction of which the data say nothing from being walked at all."""

Penalty = Callable[[Floats], tuple[Floats, Floats, Floats]]
"""Log prior density (k,), gradient (k, 8) and minus the second derivatives (k, 8) of parameters (k, 8)."""


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
    """(8,) parameters that are fitted."""
    fixed: Floats
    """(8,) values of those that are not; a sill of -inf leaves the structures out."""
    bounds: Floats
    """(8, 2)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """The optimum of a model."""

    model: Model
    theta: Floats
    """(8,) parameters."""
    value: float
    """Log likelihood, plus log prior where one was given."""
    curvature: Floats
    """(8, 8) information about the parameters there, rows of fixed ones 0: the average information, which holds the
    factors of bounds, or minus the second derivative after `observe`."""
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
        """(8,) from the information; NaN where that is not positive definite, or of parameters fixed or at a bound."""
        errors = np.full(N, np.nan)
        low, high = self.model.bounds.T
        free = self.model.free & (low < self.theta) & (self.theta < high)
        information = self.curvature[np.ix_(free, free)]
        if free.any() and np.all(np.linalg.eigvalsh(information) > 1e-8):
            errors[free] = np.sqrt(np.diag(np.linalg.inv(information)))
        return errors


def evidence(
    model: Model, theta: Floats, start: Posterior | None = None, *, tolerance: float | None = None
) -> tuple[Posterior, Floats]:
    """Give the field given the readings for parameters (k, 8), and its covariances (k, n, n) between sites."""
    k = field_covariance(model.family, model.xy_m, theta)
    return _condition(model, k, theta, start, tolerance=tolerance), k


def _condition(
    model: Model, k: Floats, theta: Floats, start: Posterior | None, *, tolerance: float | None = None
) -> Posterior:
    given = {"trend": model.trend, "slack": model.slack}
    return condition(k, np.exp(theta[:, NOISE]), model.readings, **given, start=start, tolerance=tolerance)


class Slope(NamedTuple):
    """The likelihood about one row of parameters."""

    found: Posterior
    value: float
    gradient: Floats
    """(8,), 0 for fixed parameters."""
    information: Floats
    """(8, 8) average information, the readings' factors held."""


Look = Callable[[Floats, Posterior | None], Slope]


def evidence_slope(model: Model, theta: Floats, start: Posterior | None = None) -> Slope:
    """Give the log likelihood with gradient and average information at a row (8,) of parameters."""
    sill, micro, noise = (float(np.exp(theta[which])) for which in (SILL, MICRO, NOISE))
    slopes = correlation_slopes(model.family, model.xy_m, theta, model.free)
    k = sill * slopes[SILL]
    k[np.diag_indices_from(k)] += micro
    found = _condition(model, k[None], theta[None], start)
    w, a = found.precision[0], found.weights[0]
    wx = w @ model.trend
    known = wx @ found.beta_cov[0]
    own = np.trace(w) - np.vdot(known, wx) - a @ a
    gradient, moves = np.zeros(N), np.zeros((len(a), N))
    for which, slope in slopes.items():
        moves[:, which] = sill * (slope @ a)
        gradient[which] = -0.5 * (sill * (np.vdot(w, slope) - np.vdot(known, slope @ wx)) - a @ moves[:, which])
    moves[:, MICRO] = micro * a
    gradient[MICRO] = -0.5 * micro * own
    gradient[NOISE] = noise * found.noise_slope[0]
    return Slope(
        found=found,
        value=float(found.log_evidence[0]),
        gradient=np.where(model.free, gradient, 0.0),
        information=_average_information(model, found, k, moves, noise) * np.outer(model.free, model.free),
    )


def _average_information(model: Model, found: Posterior, k: Floats, moves: Floats, noise: float) -> Floats:
    """Give y'P V_i P V_j P y / 2 with V_i the derivatives of the readings' covariance and P that of the likelihood.

    With the readings' factors as Gaussian data of precision tau, P y is what they want beyond the field's mean,
    nu - tau mean, and P takes what the field can follow off tau v.
    """
    tau, site, trend = found.tau[0], model.readings.site, model.trend
    at_readings = moves[site]
    at_readings[:, NOISE] = noise * (found.nu[0] - tau * found.mean[0, site])
    pull = model.readings.at_sites(tau * at_readings.T, len(k)).T
    w, beyond = found.precision[0], k @ pull
    left = trend.T @ (pull - w @ beyond)
    field = beyond - k @ (w @ beyond) + (trend - k @ (w @ trend)) @ (found.beta_cov[0] @ left)
    information: Floats = 0.5 * (at_readings.T @ (tau[:, None] * at_readings) - pull.T @ field)
    return information


def fit_mixed(model: Model, starts: Floats, penalty: Penalty | None = None) -> Fit:
    """Give the optimum of the restricted likelihood, times a prior where `penalty` is given.

    Parameters
    ----------
    model : Model
        What is fitted.
    starts : Floats
        (s, 8) parameters to try; the search runs from the best of them within the model's bounds.
    penalty : Penalty | None
        Log prior with its derivatives.
    """
    starts = np.where(model.free, np.clip(starts, model.bounds[:, 0], model.bounds[:, 1]), model.fixed)
    look = _looker(model, penalty)
    tried = [look(start, None) for start in starts]
    best = int(np.argmax([found.value for found in tried]))
    theta, now = _climb(starts[best], tried[best], look, model)
    return Fit(model=model, theta=theta, value=now.value, curvature=now.information, posterior=now.found)


def observe(fit: Fit, penalty: Penalty | None = None) -> Fit:
    """Give the fit with minus the second derivative for its curvature: central differences of the gradient."""
    look, step, curvature = _looker(fit.model, penalty), 0.02, np.zeros((N, N))
    index = np.flatnonzero(fit.model.free)
    for j in index:
        ahead, behind = fit.theta.copy(), fit.theta.copy()
        ahead[j], behind[j] = fit.theta[j] + step, fit.theta[j] - step
        fall = look(behind, fit.posterior).gradient - look(ahead, fit.posterior).gradient
        curvature[j, index] = fall[index] / (2 * step)
    return replace(fit, curvature=0.5 * (curvature + curvature.T))


def _looker(model: Model, penalty: Penalty | None) -> Look:
    """Give what looks at the likelihood, times the prior, about a row of parameters."""

    def look(theta: Floats, start: Posterior | None) -> Slope:
        found = evidence_slope(model, theta, start)
        if penalty is None:
            return found
        value, gradient, curvature = penalty(theta[None])
        return found._replace(
            value=found.value + float(value[0]),
            gradient=found.gradient + gradient[0] * model.free,
            information=found.information + np.diag(curvature[0] * model.free),
        )

    return look


def _climb(theta: Floats, now: Slope, look: Look, model: Model) -> tuple[Floats, Slope]:
    """Give the optimum from `theta` up: damped Newton steps within the bounds.

    The information is taken times what the last step showed of the true curvature: bounds and priors change it.
    """
    low, high = model.bounds.T
    damping, bent = 0.0, 1.0
    for _ in range(_MOST_STEPS):
        outward = ((theta <= low) & (now.gradient < 0)) | ((theta >= high) & (now.gradient > 0))
        moving = np.flatnonzero(model.free & ~outward)
        if not len(moving):
            break
        metric = bent * now.information[np.ix_(moving, moving)]
        metric[np.diag_indices_from(metric)] *= 1.0 + damping
        metric[np.diag_indices_from(metric)] += _LEAST_INFORMATION
        newton = np.asarray(np.linalg.solve(metric, now.gradient[moving]), dtype=np.float64)
        if now.gradient[moving] @ newton < _SETTLED:
            break
        trial = theta.copy()
        ahead = theta[moving] + _shorten(newton, metric, now.gradient[moving])
        trial[moving] = np.clip(ahead, low[moving], high[moving])
        step = trial[moving] - theta[moving]
        if not step.any():
            break
        there = look(trial, now.found)
        shown = (now.gradient - there.gradient)[moving] @ step / (step @ metric @ step)
        # where the likelihood has kinks (spherical) two steps differ much: then half the news is taken
        bent *= float(np.clip(shown, 0.25, 4.0)) ** (0.5 if damping else 1.0)
        if there.value > now.value:
            theta, now, damping = trial, there, 0.3 * damping if damping > 0.01 else 0.0
        else:
            damping = max(10.0 * damping, 0.1)
    return theta, now


def _shorten(step: Floats, metric: Floats, gradient: Floats) -> Floats:
    """Give the step with none longer than is trusted, the others as they are best given those that were cut."""
    cut = np.abs(step) > _LONGEST_STEP
    step = np.clip(step, -_LONGEST_STEP, _LONGEST_STEP)
    if cut.any() and not cut.all():
        rest = gradient[~cut] - metric[np.ix_(~cut, cut)] @ step[cut]
        step[~cut] = np.clip(np.linalg.solve(metric[np.ix_(~cut, ~cut)], rest), -_LONGEST_STEP, _LONGEST_STEP)
    return step
