"""What is known of a field at sites: values and intervals, the posterior they give, what an interval says."""

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from hardpan.core.arrays import Bools, Floats, Ints

_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Observations:
    """Values and intervals of one field, m of them at n sites; none missing."""

    site: Ints
    """(m,) site of each, 0 to n - 1."""
    low: Floats
    """(m,) lower end; -inf for none."""
    high: Floats
    """(m,) upper end, equal to `low` for a value; inf for none (right-censored)."""
    error: Floats
    """(m,) known error variance of each, on top of the noise of the covariance."""
    leak: Floats | None = None
    """(m,) chance that an interval is reported although the value lies outside it; None for never."""
    noisy: Floats | None = None
    """(m,) share of the noise of the covariance that each has on top of its error; None for all of it. A mean whose
    standard error is known has none of it."""

    @property
    def exact(self) -> Bools:
        """Observations that are values, shape (m,)."""
        exact: Bools = self.low == self.high
        return exact

    def at_sites(self, sites: Bools) -> tuple["Observations", Bools]:
        """Observations at some of the sites (n,), which are numbered anew, and which of the (m,) these are."""
        here: Bools = sites[self.site]
        number = np.cumsum(sites) - 1
        some = Observations(
            site=number[self.site[here]],
            low=self.low[here],
            high=self.high[here],
            error=self.error[here],
            leak=None if self.leak is None else self.leak[here],
            noisy=None if self.noisy is None else self.noisy[here],
        )
        return some, here

    def shares(self, chosen: Bools) -> Floats | float:
        """`noisy` of the observations chosen, 1 where there is none."""
        return 1.0 if self.noisy is None else self.noisy[chosen]

    def noise_of(self, noise: Floats | float) -> Floats | float:
        """Variance of the noise in each where that of the covariance is `noise`; the two broadcast."""
        return noise if self.noisy is None else noise * self.noisy

    def variance(self, noise: Floats | float) -> Floats:
        """Variance of each about the field, as `noise_of` and its own error make it."""
        return np.asarray(self.noise_of(noise) + self.error)

    def leaks(self, chosen: Bools) -> Floats | float:
        """`leak` of the observations chosen, 0 where there is none."""
        return 0.0 if self.leak is None else self.leak[chosen]

    def sum_by_site(self, per_observation: Floats, n: int) -> Floats:
        """Sums over the observations of each of n sites, shape (k, n), of values (k, m)."""
        count = len(per_observation)
        at = np.arange(count)[:, None] * n + self.site
        sums: Floats = np.bincount(at.ravel(), per_observation.ravel(), minlength=count * n).astype(float)
        return sums.reshape(count, n)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Factors:
    """Gaussian factors that stand for the observations, for each of k covariances."""

    tau: Floats
    """(k, m) precision of each observation's factor; for values 1/d."""
    nu: Floats
    """(k, m) its precision times mean."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GaussianPosterior(Factors):
    """The field at n sites given the observations, for each of k covariances; p trend columns."""

    log_evidence: Floats
    """(k,) log marginal likelihood: field and trend integrated out; the restricted one where the trend is flat."""
    mean: Floats
    """(k, n) of the field, trend included."""
    variance: Floats
    """(k, n)."""
    weights: Floats
    """(k, n) dual kriging weights a: the field at a place with covariances c and trend x has mean x'b + c'a."""
    beta: Floats
    """(k, p) trend coefficients b (generalised least squares)."""
    beta_cov: Floats
    """(k, p, p) their covariance G = (X'W X + P)^-1."""
    precision: Floats
    """(k, n, n) W = (K + T^-1)^-1, without trend."""
    noise_derivative: Floats
    """(k,) derivative of `log_evidence` by the noise variance."""
    sweeps: int
    converged: bool


def interval_moments(
    mean: Floats, variance: Floats, low: Floats, high: Floats, leak: Floats | float = 0.0
) -> tuple[Floats, Floats, Floats]:
    """Log probability of an interval under a normal law, and its first and minus its second derivative by the mean.

    For z ~ N(mean, variance): log P(low < z < high), then the two derivatives; all broadcast. With them the truncated
    normal has mean `mean + variance * first` and variance `variance * (1 - variance * second)`. Stable far out in
    either tail. An interval that is reported with probability `leak` although z lies outside has the probability
    leak + (1 - leak) P(low < z < high) instead.

    Examples
    --------
    >>> log_p, first, second = interval_moments(np.zeros(1), np.ones(1), np.zeros(1), np.array([np.inf]))
    >>> np.exp(log_p).round(3), first.round(4), (1 - second).round(4)  # half normal: mean 0.7979, variance 0.3634
    (array([0.5]), array([0.7979]), array([0.3634]))
    """
    sd = np.sqrt(variance)
    upper, lower = (mean - low) / sd, (mean - high) / sd
    flip = lower > 0
    a, b = np.where(flip, -lower, upper), np.where(flip, -upper, lower)
    log_a = log_ndtr(a)
    log_p = log_a + np.log1p(-np.exp(np.minimum(log_ndtr(b) - log_a, -1e-300)))
    density_a, density_b = _density_ratio(a, log_p), _density_ratio(b, log_p)
    slope = (density_a - density_b) / sd
    second = slope**2 + (_times(a, density_a) - _times(b, density_b)) / variance
    slope = np.where(flip, -slope, slope)
    return (log_p, slope, second) if np.all(np.equal(leak, 0.0)) else _leaking(log_p, slope, second, leak)


def _leaking(log_p: Floats, slope: Floats, second: Floats, leak: Floats | float) -> tuple[Floats, Floats, Floats]:
    with np.errstate(divide="ignore"):
        own = np.log1p(-leak) + log_p
        log_all = np.logaddexp(np.log(leak), own)
    share = np.exp(own - log_all)
    # (log(q + r p))'' = s (log p)'' + s (1 - s) (log p)'^2 with s the share of r p
    return log_all, share * slope, share * second - share * (1.0 - share) * slope**2


def _density_ratio(x: Floats, log_p: Floats) -> Floats:
    with np.errstate(over="ignore", invalid="ignore"):
        return np.where(np.isfinite(x), np.exp(-0.5 * x**2 - 0.5 * _LOG_2PI - log_p), 0.0)


def _times(x: Floats, density: Floats) -> Floats:
    return np.where(np.isfinite(x), x, 0.0) * density
