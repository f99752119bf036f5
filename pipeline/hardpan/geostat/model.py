"""The linear mixed model of a field whose covariance is to be fitted, and its restricted likelihood [patterson1971].

The likelihood is that of `hardpan.geostat.censored`, which is the restricted one where every observation is a value;
its gradient is analytic, its second derivative the average information [gilmour1995].
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat.censored import gaussian_posterior
from hardpan.geostat.covariance import Family
from hardpan.geostat.observations import Factors, GaussianPosterior, Observations
from hardpan.geostat.parameters import MICRO, N_PARAMETERS, NOISE, SILL, correlation_derivatives, site_covariances


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedModel:
    """Linear mixed model of m observations at n sites with p trend columns."""

    xy_m: Floats
    """(n, 2) sites."""
    trend: Floats
    """(n, p) trend columns X at the sites."""
    trend_precision: Floats
    """(p,) prior precision of the trend coefficients, 0 for flat."""
    observations: Observations
    """Scaled to about unit variance: the bounds of the search are for such."""
    family: Family
    free: Bools
    """(8,) parameters that are fitted."""
    fixed: Floats
    """(8,) values of those that are not; a sill of -inf leaves the structures out."""
    bounds: Floats
    """(8, 2)."""
    groups: Ints | None = None
    """(n,) group of each site, where the likelihood is to be the sum over groups, each with a trend of its own:
    its cost grows with the number of sites then, not with its third power. None: that of all sites together."""

    def split(self) -> list[tuple["MixedModel", Bools]]:
        """Models of the groups with their observations (m,); groups without any are left out.

        Examples
        --------
        >>> from hardpan.geostat.parameters import N_PARAMETERS
        >>> seen = Observations(site=np.arange(4), low=np.ones(4), high=np.ones(4), error=np.zeros(4))
        >>> nothing, ends = np.zeros(N_PARAMETERS), np.zeros((N_PARAMETERS, 2))
        >>> model = MixedModel(
        ...     xy_m=np.zeros((4, 2)), trend=np.ones((4, 1)), trend_precision=np.zeros(1), observations=seen,
        ...     family="exponential", free=nothing > 0, fixed=nothing, bounds=ends, groups=np.array([0, 1, 1, 0]),
        ... )  # fmt: skip
        >>> [here.tolist() for _, here in model.split()]
        [[True, False, False, True], [False, True, True, False]]
        """
        parts, groups = [], np.zeros(len(self.xy_m), dtype=np.int64) if self.groups is None else self.groups
        for group in np.unique(groups):
            sites: Bools = groups == group
            observations, here = self.observations.at_sites(sites)
            model = replace(
                self, xy_m=self.xy_m[sites], trend=self.trend[sites], observations=observations, groups=None
            )
            parts.append((model, here))
        return [(model, here) for model, here in parts if here.any()]


def posterior_at(
    model: MixedModel, theta: Floats, start: Factors | None = None, *, tolerance: float | None = None
) -> GaussianPosterior:
    """Posterior of the field given the observations, for a stack of parameters (k, 8)."""
    return _condition(model, site_covariances(model.family, model.xy_m, theta), theta, start, tolerance=tolerance)


def _condition(
    model: MixedModel, k: Floats, theta: Floats, start: Factors | None, *, tolerance: float | None = None
) -> GaussianPosterior:
    given = {"trend": model.trend, "trend_precision": model.trend_precision}
    return gaussian_posterior(k, np.exp(theta[:, NOISE]), model.observations, **given, start=start, tolerance=tolerance)


class Likelihood(NamedTuple):
    """Restricted likelihood and its local shape at one row of parameters."""

    posterior: Factors
    value: float
    """Logarithm, plus that of the prior where one was given."""
    gradient: Floats
    """(8,), 0 for fixed parameters."""
    information: Floats
    """(8, 8) average information, the observations' factors held."""


def likelihood_at(model: MixedModel, theta: Floats, start: Factors | None = None) -> Likelihood:
    """Restricted log likelihood with gradient and average information at a row (8,) of parameters.

    With a the dual weights, W the precision and G the covariance of the trend (see `GaussianPosterior`), the derivative
    by a parameter whose dK is V is -(tr(W V) - tr(G X'W V W X) - a'V a) / 2.
    """
    if model.groups is not None:
        return _sum_groups(model, theta, start)
    sill, micro, noise = (float(np.exp(theta[which])) for which in (SILL, MICRO, NOISE))
    derivatives = correlation_derivatives(model.family, model.xy_m, theta, model.free)
    k = sill * derivatives[SILL]
    k[np.diag_indices_from(k)] += micro
    posterior = _condition(model, k[None], theta[None], start)
    w, a = posterior.precision[0], posterior.weights[0]
    wx = w @ model.trend
    wxg = wx @ posterior.beta_cov[0]
    of_identity = np.trace(w) - np.vdot(wxg, wx) - a @ a
    gradient, va = np.zeros(N_PARAMETERS), np.zeros((len(a), N_PARAMETERS))
    for which, v in derivatives.items():
        va[:, which] = sill * (v @ a)
        gradient[which] = -0.5 * (sill * (np.vdot(w, v) - np.vdot(wxg, v @ wx)) - a @ va[:, which])
    va[:, MICRO] = micro * a
    gradient[MICRO] = -0.5 * micro * of_identity
    gradient[NOISE] = noise * posterior.noise_derivative[0]
    return Likelihood(
        posterior=posterior,
        value=float(posterior.log_evidence[0]),
        gradient=np.where(model.free, gradient, 0.0),
        information=_average_information(model, posterior, k, va, noise) * np.outer(model.free, model.free),
    )


def _sum_groups(model: MixedModel, theta: Floats, start: Factors | None) -> Likelihood:
    """Likelihood of the groups as if they were independent."""
    factors = Factors(tau=np.empty((1, len(model.observations.site))), nu=np.empty((1, len(model.observations.site))))
    found = []
    for part, here in model.split():
        own = None if start is None else Factors(tau=start.tau[:, here], nu=start.nu[:, here])
        found.append(likelihood_at(part, theta, own))
        factors.tau[:, here], factors.nu[:, here] = found[-1].posterior.tau, found[-1].posterior.nu
    return Likelihood(
        posterior=factors,
        value=sum(one.value for one in found),
        gradient=np.sum([one.gradient for one in found], axis=0),
        information=np.sum([one.information for one in found], axis=0),
    )


def _average_information(
    model: MixedModel, posterior: GaussianPosterior, k: Floats, va: Floats, noise: float
) -> Floats:
    """Average information y'P V_i P V_j P y / 2, shape (8, 8).

    V_i are the derivatives of the observations' covariance and P the projection of the restricted likelihood. With the
    factors as Gaussian data of precision tau, P y = nu - tau mean, and P takes off tau v what the field can follow.
    """
    tau, site, trend = posterior.tau[0], model.observations.site, model.trend
    at_observations = va[site]
    at_observations[:, NOISE] = model.observations.noise_of(noise) * (posterior.nu[0] - tau * posterior.mean[0, site])
    total = model.observations.sum_by_site(tau * at_observations.T, len(k)).T
    w, kt = posterior.precision[0], k @ total
    score = trend.T @ (total - w @ kt)
    field = kt - k @ (w @ kt) + (trend - k @ (w @ trend)) @ (posterior.beta_cov[0] @ score)
    information: Floats = 0.5 * (at_observations.T @ (tau[:, None] * at_observations) - total.T @ field)
    return information
