"""Linear mixed model of a field, fitted by restricted maximum likelihood (REML).

The model is y = X b + S + M + e: trend, spatial structures, micro-scale of a site, noise of an observation. Its
parameters are those of `hardpan.geostat.parameters`, its likelihood is that of `hardpan.geostat.model`. The search is
Newton's with the average information for the second derivative, damped so that the likelihood never falls.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.geostat.model import Likelihood, MixedModel, likelihood_at
from hardpan.geostat.observations import Factors
from hardpan.geostat.parameters import N_PARAMETERS, RANGE, SILL

LEAST_KNOWN = 0.67
"""Standard error of the range's logarithm above which it is not identified: 90 % interval over a factor of nine."""

_MOST_STEPS = 60
"""Six are usual; a search that needs more than sixty climbs a ridge to a bound."""

SETTLED = 1e-4
"""Twice the gain of log likelihood that a step promises at which the search ends: a hundredth of a standard error."""

_LONGEST_STEP = 1.5
"""Of one parameter at once: a factor of 4.5."""

_LEAST_INFORMATION = 1e-6
"""Of one parameter: keeps a direction of which the data say nothing from being walked at all."""

LogPrior = Callable[[Floats], tuple[Floats, Floats, Floats]]
"""Log prior density (k,), gradient (k, 8) and minus the second derivatives (k, 8) of parameters (k, 8)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemlFit:
    """Optimum of a mixed model's restricted likelihood."""

    model: MixedModel
    theta: Floats
    """(8,) parameters."""
    objective: float
    """Restricted log likelihood, plus log prior where one was given."""
    information: Floats
    """(8, 8) about the parameters there, rows of fixed ones 0: the average information, which holds the factors of
    intervals, or the observed one after `observe_information`."""
    posterior: Factors
    """Of the observations at the optimum, to start others from."""

    @property
    def aic(self) -> float:
        """Akaike's criterion over the fitted covariance parameters."""
        return 2.0 * float(np.sum(self.model.free)) - 2.0 * self.objective

    @property
    def is_spatial(self) -> bool:
        """Whether there are structures at all, fitted or given."""
        return bool(np.isfinite(self.theta[SILL]))

    @property
    def identified(self) -> bool:
        """Whether the likelihood determines the range: away from its bounds, and known within a factor of three."""
        low, high = self.model.bounds[RANGE]
        inside = low + 1e-3 < self.theta[RANGE] < high - 1e-3
        return bool(self.model.free[RANGE] and inside and self.standard_errors[RANGE] < LEAST_KNOWN)

    @property
    def parameter_covariance(self) -> Floats:
        """Covariance (8, 8) of the parameters by the information.

        0 for those that are fixed or at a bound; NaN for the others where the information is singular.
        """
        covariance = np.zeros((N_PARAMETERS, N_PARAMETERS))
        low, high = self.model.bounds.T
        free = np.ix_(*[self.model.free & (low < self.theta) & (self.theta < high)] * 2)
        information = self.information[free]
        if information.size:
            known = np.all(np.linalg.eigvalsh(information) > 1e-8)
            covariance[free] = np.linalg.inv(information) if known else np.nan
        return covariance

    @property
    def standard_errors(self) -> Floats:
        """Standard errors of the parameters, shape (8,).

        NaN where the information is singular, the parameter fixed or at a bound.
        """
        variance = np.diag(self.parameter_covariance)
        return np.sqrt(np.where(variance > 0, variance, np.nan))


Objective = Callable[[Floats, Factors | None], Likelihood]


def maximise_reml(
    model: MixedModel, starts: Floats, prior: LogPrior | None = None, *, settled: float = SETTLED
) -> RemlFit:
    """Optimum of the restricted likelihood, times a prior where one is given.

    Parameters
    ----------
    model : MixedModel
        What is fitted.
    starts : Floats
        (s, 8) parameters to try; the search runs from the best of them within the model's bounds.
    prior : LogPrior | None
        Log prior with its derivatives.
    settled : float
        Instead of `SETTLED`.

    Examples
    --------
    Without structure and micro-scale the noise is the variance about the mean, with one degree of freedom less:

    >>> from hardpan.geostat.observations import Observations
    >>> from hardpan.geostat.parameters import NOISE, isotropic, parameter_bounds
    >>> y = np.tile([0.0, 1.0], 40)
    >>> model = MixedModel(
    ...     xy_m=np.column_stack([np.arange(40.0), np.zeros(40)]), trend=np.ones((40, 1)), trend_precision=np.zeros(1),
    ...     observations=Observations(site=np.repeat(np.arange(40), 2), low=y, high=y, error=np.zeros(80)),
    ...     family="exponential", free=np.arange(N_PARAMETERS) == NOISE,
    ...     fixed=isotropic(np.array([0.0, -np.inf, -np.inf, 0.0])), bounds=parameter_bounds((1.0, 100.0)),
    ... )  # fmt: skip
    >>> fit = maximise_reml(model, model.fixed[None])
    >>> round(float(np.exp(fit.theta[NOISE])), 3), round(80 * 0.25 / 79, 3)
    (0.253, 0.253)
    """
    starts = np.where(model.free, np.clip(starts, model.bounds[:, 0], model.bounds[:, 1]), model.fixed)
    objective = _objective(model, prior)
    tried = [objective(start, None) for start in starts]
    best = int(np.argmax([found.value for found in tried]))
    theta, now = _newton(starts[best], tried[best], objective, model, settled)
    return RemlFit(model=model, theta=theta, objective=now.value, information=now.information, posterior=now.posterior)


def observe_information(fit: RemlFit, prior: LogPrior | None = None) -> RemlFit:
    """The fit with the observed information: minus the second derivative, by central differences of the gradient."""
    objective, step, information = _objective(fit.model, prior), 0.02, np.zeros((N_PARAMETERS, N_PARAMETERS))
    index = np.flatnonzero(fit.model.free)
    for j in index:
        ahead, behind = fit.theta.copy(), fit.theta.copy()
        ahead[j], behind[j] = fit.theta[j] + step, fit.theta[j] - step
        fall = objective(behind, fit.posterior).gradient - objective(ahead, fit.posterior).gradient
        information[j, index] = fall[index] / (2 * step)
    return replace(fit, information=0.5 * (information + information.T))


def _objective(model: MixedModel, prior: LogPrior | None) -> Objective:
    """Log likelihood, plus log prior, as a function of a row of parameters."""

    def evaluate(theta: Floats, start: Factors | None) -> Likelihood:
        found = likelihood_at(model, theta, start)
        if prior is None:
            return found
        value, gradient, information = prior(theta[None])
        return found._replace(
            value=found.value + float(value[0]),
            gradient=found.gradient + gradient[0] * model.free,
            information=found.information + np.diag(information[0] * model.free),
        )

    return evaluate


def _newton(
    theta: Floats, now: Likelihood, objective: Objective, model: MixedModel, settled: float
) -> tuple[Floats, Likelihood]:
    """Optimum reached from `theta` by damped Newton steps within the bounds.

    The average information is taken times the true curvature that the last step showed, over it: bounds and priors
    change it.
    """
    low, high = model.bounds.T
    damping, curvature_ratio = 0.0, 1.0
    for _ in range(_MOST_STEPS):
        outward = ((theta <= low) & (now.gradient < 0)) | ((theta >= high) & (now.gradient > 0))
        moving = np.flatnonzero(model.free & ~outward)
        if not len(moving):
            break
        metric = curvature_ratio * now.information[np.ix_(moving, moving)]
        metric[np.diag_indices_from(metric)] *= 1.0 + damping
        metric[np.diag_indices_from(metric)] += _LEAST_INFORMATION
        step = np.asarray(np.linalg.solve(metric, now.gradient[moving]), dtype=np.float64)
        if now.gradient[moving] @ step < settled:
            break
        trial = theta.copy()
        ahead = theta[moving] + _limit_step(step, metric, now.gradient[moving])
        trial[moving] = np.clip(ahead, low[moving], high[moving])
        step = trial[moving] - theta[moving]
        if not step.any():
            break
        there = objective(trial, now.posterior)
        shown = (now.gradient - there.gradient)[moving] @ step / (step @ metric @ step)
        # where the likelihood has kinks (spherical) two steps differ much: then half the news is taken
        curvature_ratio *= float(np.clip(shown, 0.25, 4.0)) ** (0.5 if damping else 1.0)
        if there.value > now.value:
            theta, now, damping = trial, there, 0.3 * damping if damping > 0.01 else 0.0
        else:
            damping = max(10.0 * damping, 0.1)
    return theta, now


def _limit_step(step: Floats, metric: Floats, gradient: Floats) -> Floats:
    """The step with no entry longer than is trusted, the others optimal given those that were cut."""
    cut = np.abs(step) > _LONGEST_STEP
    step = np.clip(step, -_LONGEST_STEP, _LONGEST_STEP)
    if cut.any() and not cut.all():
        rest = gradient[~cut] - metric[np.ix_(~cut, cut)] @ step[cut]
        step[~cut] = np.clip(np.linalg.solve(metric[np.ix_(~cut, ~cut)], rest), -_LONGEST_STEP, _LONGEST_STEP)
    return step
