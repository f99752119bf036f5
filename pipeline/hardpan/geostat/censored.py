r"""Gaussian field given values and intervals: expectation propagation, for a stack of covariances at once.

An observation of the field F at site s is either a value, y ~ N(F_s, d), or an interval, low < F_s + e < high with e ~
N(0, d); an infinite end makes it one-sided. The prior is F ~ N(X b, K) with coefficients b ~ N(0, P^-1), P diagonal,
flat where P is 0. Every interval is approximated by a Gaussian site factor exp(nu F - tau F^2 / 2) whose moments agree
with those of the interval given everything else (expectation propagation). With values only this is the exact
restricted likelihood, with one interval it is exact too, and with many it is close: within 0.01 of a log likelihood
for each site that has nothing but several intervals. The factors are re-fitted until no mean moves by more than
`TOLERANCE` of its standard deviation.

Notation, shapes for k covariances, n sites, m observations, p trend columns: T = diag of the factors' precision by
site, N = precision times mean by site, B = I + T^1/2 K T^1/2, W = T^1/2 B^-1 T^1/2 = (K + T^-1)^-1.

Sources: minka2001 for the method; rasmussen2006 (sections 3.6, 5.5) for the stable form with B.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from hardpan.core.arrays import Floats
from hardpan.core.errors import HardpanError
from hardpan.geostat.observations import Factors, GaussianPosterior, Observations, interval_moments

TOLERANCE = 1e-4
"""Largest move of a site's mean, in its standard deviations, at which the factors stand; far under what a map shows."""

_MAX_SWEEPS = 60
"""Ten are usual; a covariance that needs more than sixty is at the edge of what the data can mean."""

_LEAST_PRECISION = 1e-8
"""Of an interval's factor, as a share of what the rest knows there: an interval that says nothing would have none, and
`_solve` and `_propagate` divide by it."""

_FULL_SWEEPS = 20
"""Sweeps with full parallel steps; those after it go half way, in case full ones oscillate."""

_LOG_2PI = float(np.log(2 * np.pi))


def gaussian_posterior(
    k: Floats,
    noise: Floats,
    observations: Observations,
    *,
    trend: Floats,
    trend_precision: Floats,
    start: Factors | None = None,
    tolerance: float | None = None,
) -> GaussianPosterior:
    """Posterior of the field at the sites given the observations, for a stack of covariances.

    Parameters
    ----------
    k : Floats
        (k, n, n) covariances of the field between sites.
    noise : Floats
        (k,) noise variance of one observation.
    observations : Observations
        m of them at the n sites.
    trend : Floats
        (n, p) trend columns X.
    trend_precision : Floats
        (p,) prior precision of the trend coefficients, 0 for flat.
    start : GaussianPosterior | None
        Factors to begin from (k or 1 of them).
    tolerance : float | None
        Instead of `TOLERANCE`.

    Examples
    --------
    One site of variance 1 with a known mean of 0 and a value of 3 whose noise is 0.5: mean 3 / 1.5, variance 0.5 / 1.5.

    >>> seen = Observations(site=np.zeros(1, int), low=np.array([3.0]), high=np.array([3.0]), error=np.zeros(1))
    >>> none = np.empty((1, 0)), np.empty(0)
    >>> found = gaussian_posterior(np.ones((1, 1, 1)), np.array([0.5]), seen, trend=none[0], trend_precision=none[1])
    >>> found.mean.round(4), found.variance.round(4)
    (array([[2.]]), array([[0.3333]]))
    """
    variance = observations.variance(noise[:, None])
    prior = _Prior(k=k, variance=variance, observations=observations, trend=trend, trend_precision=trend_precision)
    tau, nu = _first_factors(prior, start)
    solved = _solve(prior, tau, nu)
    sweeps, converged = 0, True
    if not observations.exact.all():
        tau, nu, sweeps = _propagate(prior, solved, tau, nu, tolerance or TOLERANCE)
        converged = sweeps <= _MAX_SWEEPS
        solved = _solve(prior, tau, nu)
    log_evidence, noise_derivative = _evidence(prior, solved, tau, nu)
    return GaussianPosterior(
        log_evidence=log_evidence,
        mean=solved.mean,
        variance=solved.variance,
        weights=solved.untrended - _apply(solved.precision @ trend, solved.beta),
        beta=solved.beta,
        beta_cov=solved.beta_cov,
        precision=solved.precision,
        tau=tau,
        nu=nu,
        noise_derivative=noise_derivative,
        sweeps=sweeps,
        converged=converged,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Prior:
    k: Floats
    variance: Floats
    """(k, m) d of each observation about the field."""
    observations: Observations
    trend: Floats
    trend_precision: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solved:
    mean: Floats
    variance: Floats
    precision: Floats
    """(k, n, n) W."""
    inverse: Floats
    """(k, n, n) B^-1."""
    root: Floats
    """(k, n) T^1/2."""
    open_trend: Floats
    """(k, n, p) X - K W X: what of the trend the observations leave open."""
    untrended: Floats
    """(k, n) W T^-1 N: the dual weights where the trend is 0."""
    beta: Floats
    beta_cov: Floats
    log_joint: Floats
    """(k,) log of the prior times all factors exp(N'F - F'T F / 2), integrated over field and trend."""


def _first_factors(prior: _Prior, start: Factors | None) -> tuple[Floats, Floats]:
    """Precision, and precision times mean, of each observation's factor: final for values, a guess for intervals."""
    observations, exact = prior.observations, prior.observations.exact
    tau = np.where(exact, 1.0, 0.5) / prior.variance
    guess = np.where(np.isfinite(observations.low), observations.low, observations.high)
    shift = np.isfinite(observations.low).astype(float) - np.isfinite(observations.high)
    nu = tau * (guess + shift * np.sqrt(prior.variance))
    if start is None:
        return tau, nu
    return np.where(exact, tau, start.tau), np.where(exact, nu, start.nu)


def _solve(prior: _Prior, tau: Floats, nu: Floats) -> _Solved:
    """Gaussian posterior of field and trend under the factors."""
    k, trend = prior.k, prior.trend
    precision, total = (prior.observations.sum_by_site(factors, k.shape[-1]) for factors in (tau, nu))
    root = np.sqrt(precision)
    roots = root[:, :, None] * root[:, None, :]
    b = roots * k
    diagonal = np.arange(k.shape[-1])
    b[:, diagonal, diagonal] += 1.0
    inverse, log_det = _invert(b)
    w = np.multiply(roots, inverse, out=roots)
    # as many digits where observations have next to no noise as elsewhere, unlike N - W K N
    untrended = _apply(w, total / np.where(precision > 0, precision, np.inf))
    wx = w @ trend
    information = trend.T @ wx + np.diag(prior.trend_precision)
    beta_cov = np.asarray(np.linalg.inv(information), dtype=np.float64)
    score = untrended @ trend
    beta = _apply(beta_cov, score)
    open_trend = trend - k @ wx
    field = _apply(k, untrended)
    # (K^-1 + T)^-1 = T^-1/2 (I - B^-1) T^-1/2 where there is an observation
    variance = (1.0 - inverse[:, diagonal, diagonal]) / np.maximum(root, 1e-150) ** 2
    bare = np.flatnonzero(root[0] == 0)
    rows = k[:, bare]
    variance[:, bare] = k[:, bare, bare] - np.einsum("kij,kij->ki", rows @ w, rows)
    variance += np.einsum("kip,kip->ki", open_trend @ beta_cov, open_trend)
    log_joint = 0.5 * (np.sum(total * field, axis=1) + np.sum(score * beta, axis=1))
    log_joint -= 0.5 * (log_det + np.linalg.slogdet(information)[1])
    flat = prior.trend_precision == 0
    log_joint += 0.5 * (np.sum(np.log(prior.trend_precision[~flat])) + np.sum(flat) * _LOG_2PI)
    return _Solved(
        mean=field + _apply(open_trend, beta),
        variance=np.maximum(variance, 1e-12),
        precision=w,
        inverse=inverse,
        root=root,
        open_trend=open_trend,
        untrended=untrended,
        beta=beta,
        beta_cov=beta_cov,
        log_joint=log_joint,
    )


def _invert(stack: Floats) -> tuple[Floats, Floats]:
    """Inverses (k, n, n) of positive definite matrices, and the logarithms (k,) of their determinants.

    `stack` is used up.
    """
    inverses, log_det = np.empty_like(stack), np.empty(len(stack))
    for j, matrix in enumerate(stack):
        factor, failed = lapack.dpotrf(matrix.T, lower=1, overwrite_a=1)  # in place: the order the library keeps
        if failed:
            raise HardpanError(
                what="the covariance of the data is not positive definite",
                where="kriging",
                right="positive sills and lengths, finite coordinates",
                do="check the coordinates and the covariance",
            )
        log_det[j] = 2.0 * np.sum(np.log(np.diagonal(factor)))
        half = lapack.dpotri(factor, lower=1, overwrite_c=1)[0]  # its upper triangle is the factor's, 0
        np.add(half, half.T, out=inverses[j])
        np.fill_diagonal(inverses[j], np.diagonal(half))
    return inverses, log_det


def _propagate(prior: _Prior, base: _Solved, tau: Floats, nu: Floats, tolerance: float) -> tuple[Floats, Floats, int]:
    """Factors tau, nu (k, m) with those of the intervals re-fitted, and the number of sweeps.

    Only the sites with intervals are carried along: with S, m the covariance and mean there under the factors of
    `base`, changes D of precision and E of precision times mean give (I + S D)^-1 S and (I + S D)^-1 (m + S E).
    """
    observations, free = prior.observations, ~prior.observations.exact
    sites, at = np.unique(observations.site[free], return_inverse=True)
    onto = np.eye(len(sites))[at]
    open_trend, root = base.open_trend[:, sites], base.root[:, sites]
    s = (np.eye(len(sites)) - base.inverse[:, sites[:, None], sites]) / (root[:, :, None] * root[:, None, :])
    s += open_trend @ base.beta_cov @ open_trend.swapaxes(1, 2)
    start, spread = base.mean[:, sites], base.variance[:, sites]
    mean, t, v = start.copy(), tau[:, free], nu[:, free]
    tau, nu = tau.copy(), nu.copy()
    first_t, first_v = t @ onto, v @ onto
    diagonal, going = np.arange(len(sites)), np.arange(len(s))
    sweeps = 0
    while len(going) and sweeps < _MAX_SWEEPS:
        sweeps += 1
        cavity, cavity_variance = _cavity(mean[:, at], spread[:, at], t, v)
        noise = prior.variance[going][:, free]
        _, slope, second = interval_moments(
            cavity, cavity_variance + noise, observations.low[free], observations.high[free], observations.leaks(free)
        )
        shrinkage = np.maximum(1.0 - second * cavity_variance, 1e-9)
        step = 1.0 if sweeps <= _FULL_SWEEPS else 0.5
        matched = np.maximum(second / shrinkage, _LEAST_PRECISION / cavity_variance)
        t = t + step * (matched - t)
        v = v + step * (slope + matched * (cavity + cavity_variance * slope) - v)
        tau[np.ix_(going, free)], nu[np.ix_(going, free)] = t, v
        change = s * (t @ onto - first_t)[:, None, :]
        change[:, diagonal, diagonal] += 1.0
        inverse = np.asarray(np.linalg.inv(change), dtype=np.float64)
        before, mean = mean, _apply(inverse, start + _apply(s, v @ onto - first_v))
        spread = np.maximum(np.einsum("kij,kji->ki", inverse, s), 1e-12)
        on = np.max(np.abs(mean - before) / np.sqrt(spread), axis=1) >= tolerance
        if not on.all():
            going, s, start, mean, spread, t, v, first_t, first_v = (
                part[on] for part in (going, s, start, mean, spread, t, v, first_t, first_v)
            )
    return tau, nu, sweeps if not len(going) else _MAX_SWEEPS + 1


def _cavity(mean: Floats, variance: Floats, tau: Floats, nu: Floats) -> tuple[Floats, Floats]:
    """Cavity mean and variance: the field at each observation's site without that observation."""
    without = variance / np.maximum(1.0 - variance * tau, 1e-9)
    return without * (mean / variance - nu), without


def _evidence(prior: _Prior, solved: _Solved, tau: Floats, nu: Floats) -> tuple[Floats, Floats]:
    """Log marginal likelihood (k,) and its derivative by the noise variance."""
    observations, exact, free = prior.observations, prior.observations.exact, ~prior.observations.exact
    d, y, site = prior.variance[:, exact], observations.low[exact], observations.site[exact]
    log_evidence = solved.log_joint - 0.5 * np.sum(np.log(2 * np.pi * d) + y**2 / d, axis=1)
    miss = (y - solved.mean[:, site]) ** 2 + solved.variance[:, site]
    noise_derivative = 0.5 * np.sum(observations.shares(exact) * (miss / d**2 - 1.0 / d), axis=1)
    if free.any():
        t, v, site = tau[:, free], nu[:, free], observations.site[free]
        mean, without = _cavity(solved.mean[:, site], solved.variance[:, site], t, v)
        log_p, slope, second = interval_moments(
            mean,
            without + prior.variance[:, free],
            observations.low[free],
            observations.high[free],
            observations.leaks(free),
        )
        # every factor is scaled so that the integral over what the other observations leave is that of its interval
        spread = 1.0 + t * without
        scale = log_p + 0.5 * np.log(spread) - 0.5 * (2 * v * mean + v**2 * without - t * mean**2) / spread
        log_evidence = log_evidence + np.sum(scale, axis=1)
        # by the heat equation the derivative by the variance is half the second derivative by the mean
        noise_derivative = noise_derivative + 0.5 * np.sum(observations.shares(free) * (slope**2 - second), axis=1)
    return log_evidence, noise_derivative


def _apply(matrices: Floats, vectors: Floats) -> Floats:
    """Products (k, i) of matrices (k, i, j) and vectors (k, j)."""
    return (matrices @ vectors[:, :, None])[:, :, 0]
