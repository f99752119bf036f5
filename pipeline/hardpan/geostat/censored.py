r"""Gaussian field seen through exact and bounded readings: expectation propagation, for many covariances at once.

A reading of the field F at site s is either a value, y ~ N(F_s, d), or an interval, low < F_s + e < high with
e ~ N(0, d); an infinite end makes it one-sided. The prior is F ~ N(X b, K) with b ~ N(0, diag(1/slack)), flat where
the slack is 0. Every interval is stood in for by a Gaussian factor exp(nu F - tau F^2 / 2) whose moments agree with
those of the interval given everything else; with values only this is the exact restricted likelihood, with one interval
it is exact too, and with many it is close (within 0.01 of a log likelihood for each site that has nothing but several
intervals). The factors are re-fitted until no mean moves by more than `TOLERANCE` of its spread.

Sources: minka2001 for the method; rasmussen2006 (sections 3.6, 5.5) for the stable form with B = I + T^1/2 K T^1/2.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack
from scipy.special import log_ndtr

from hardpan.core.arrays import Bools, Floats, Ints

TOLERANCE = 1e-4
"""Largest move of a site's mean, in its standard deviations, at which the factors stand; far under what a map shows."""

_MAX_SWEEPS = 60
"""Ten are usual; a covariance that needs more than sixty is at the edge of what the data can mean."""

_FAINT = 1e-8
"""Least precision of an interval's factor, as a share of what the rest knows there: an interval that says nothing would
have none, and `_solve` and `_propagate` divide by it."""

_FULL_SWEEPS = 20
"""Sweeps with full parallel steps; those after it go half way, in case full ones oscillate."""

_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """What is known of one variable."""

    site: Ints
    """(m,) site of each reading."""
    low: Floats
    """(m,) lower end; -inf for none."""
    high: Floats
    """(m,) upper end, equal to `low` for a value; inf for none."""
    error: Floats
    """(m,) known error variance of each reading, on top of the noise that is fitted."""

    @property
    def exact(self) -> Bools:
        """Readings that are values."""
        exact: Bools = self.low == self.high
        return exact

    def at_sites(self, per_reading: Floats, n: int) -> Floats:
        """Give sums (k, n) over the readings of each of n sites, of (k, m) values."""
        count = len(per_reading)
        at = np.arange(count)[:, None] * n + self.site
        sums: Floats = np.bincount(at.ravel(), per_reading.ravel(), minlength=count * n).astype(float)
        return sums.reshape(count, n)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posterior:
    """The field at n sites given the readings, for each of k covariances; p trend columns."""

    log_evidence: Floats
    """(k,) logarithm of the likelihood with field and trend integrated out."""
    mean: Floats
    """(k, n) of the field, trend included."""
    variance: Floats
    """(k, n)."""
    weights: Floats
    """(k, n) a, such that the field elsewhere has mean x'b + c'a."""
    beta: Floats
    """(k, p) trend."""
    beta_cov: Floats
    """(k, p, p) G."""
    precision: Floats
    """(k, n, n) W = (K + T^-1)^-1, without trend."""
    tau: Floats
    """(k, m) precision of each reading's factor; for values 1/d."""
    nu: Floats
    """(k, m) its precision times mean."""
    noise_slope: Floats
    """(k,) derivative of `log_evidence` by the noise variance."""
    sweeps: int
    converged: bool


def interval_moments(mean: Floats, variance: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats, Floats]:
    """Give log P(low < z < high) for z ~ N(mean, variance), and its first and minus its second derivative by the mean.

    All broadcast; stable far out in either tail.
    """
    sd = np.sqrt(variance)
    upper, lower = (mean - low) / sd, (mean - high) / sd
    flip = lower > 0
    a, b = np.where(flip, -lower, upper), np.where(flip, -upper, lower)
    log_a = log_ndtr(a)
    log_z = log_a + np.log1p(-np.exp(np.minimum(log_ndtr(b) - log_a, -1e-300)))
    dens_a, dens_b = _ratio(a, log_z), _ratio(b, log_z)
    slope = (dens_a - dens_b) / sd
    bend = slope**2 + (_times(a, dens_a) - _times(b, dens_b)) / variance
    return log_z, np.where(flip, -slope, slope), bend


def condition(
    k: Floats,
    noise: Floats,
    readings: Readings,
    *,
    trend: Floats,
    slack: Floats,
    start: Posterior | None = None,
    tolerance: float | None = None,
) -> Posterior:
    """Give the field given the readings, for a stack of covariances.

    Parameters
    ----------
    k : Floats
        (k, n, n) covariances of the field between sites.
    noise : Floats
        (k,) noise variance of one reading.
    readings : Readings
        m readings at the n sites.
    trend : Floats
        (n, p).
    slack : Floats
        (p,) prior precision of the trend's coefficients, 0 for flat.
    start : Posterior | None
        Factors to begin from (k or 1 of them).
    tolerance : float | None
        Instead of `TOLERANCE`.
    """
    prior = _Prior(k=k, variance=noise[:, None] + readings.error, readings=readings, trend=trend, slack=slack)
    tau, nu = _first_factors(prior, start)
    solved = _solve(prior, tau, nu)
    sweeps, converged = 0, True
    if not readings.exact.all():
        tau, nu, sweeps = _propagate(prior, solved, tau, nu, tolerance or TOLERANCE)
        converged = sweeps <= _MAX_SWEEPS
        solved = _solve(prior, tau, nu)
    log_evidence, noise_slope = _evidence(prior, solved, tau, nu)
    return Posterior(
        log_evidence=log_evidence,
        mean=solved.mean,
        variance=solved.variance,
        weights=solved.drive - _apply(solved.precision @ trend, solved.beta),
        beta=solved.beta,
        beta_cov=solved.beta_cov,
        precision=solved.precision,
        tau=tau,
        nu=nu,
        noise_slope=noise_slope,
        sweeps=sweeps,
        converged=converged,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Prior:
    k: Floats
    variance: Floats
    """(k, m) of each reading about the field."""
    readings: Readings
    trend: Floats
    slack: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solved:
    mean: Floats
    variance: Floats
    precision: Floats
    """(k, n, n) W."""
    inverse: Floats
    """(k, n, n) of B = I + T^1/2 K T^1/2."""
    root: Floats
    """(k, n) T^1/2."""
    left: Floats
    """(k, n, p) X - K W X: what of the trend the readings leave open."""
    drive: Floats
    """(k, n) d = N - W K N."""
    beta: Floats
    beta_cov: Floats
    log_joint: Floats
    """(k,) log of the prior times all factors exp(N'F - F'T F / 2), integrated over field and trend."""


def _first_factors(prior: _Prior, start: Posterior | None) -> tuple[Floats, Floats]:
    """Give precision and total of each reading's factor: final ones for values, a guess for intervals."""
    readings, exact = prior.readings, prior.readings.exact
    tau = np.where(exact, 1.0, 0.5) / prior.variance
    guess = np.where(np.isfinite(readings.low), readings.low, readings.high)
    shift = np.isfinite(readings.low).astype(float) - np.isfinite(readings.high)
    nu = tau * (guess + shift * np.sqrt(prior.variance))
    if start is None:
        return tau, nu
    return np.where(exact, tau, start.tau), np.where(exact, nu, start.nu)


def _solve(prior: _Prior, tau: Floats, nu: Floats) -> _Solved:
    k, trend = prior.k, prior.trend
    precision, total = (prior.readings.at_sites(factors, k.shape[-1]) for factors in (tau, nu))
    root = np.sqrt(precision)
    roots = root[:, :, None] * root[:, None, :]
    inner = roots * k
    diagonal = np.arange(k.shape[-1])
    inner[:, diagonal, diagonal] += 1.0
    inverse, log_det = _invert(inner)
    w = np.multiply(roots, inverse, out=roots)
    drive = total - _apply(w, _apply(k, total))
    wx = w @ trend
    pull = trend.T @ wx + np.diag(prior.slack)
    beta_cov = np.asarray(np.linalg.inv(pull), dtype=np.float64)
    push = drive @ trend
    beta = _apply(beta_cov, push)
    left = trend - k @ wx
    field = _apply(k, drive)
    # (K^-1 + T)^-1 = T^-1/2 (I - B^-1) T^-1/2 where there is a reading
    variance = (1.0 - inverse[:, diagonal, diagonal]) / np.maximum(root, 1e-150) ** 2
    bare = np.flatnonzero(root[0] == 0)
    rows = k[:, bare]
    variance[:, bare] = k[:, bare, bare] - np.einsum("kij,kij->ki", rows @ w, rows)
    variance += np.einsum("kip,kip->ki", left @ beta_cov, left)
    log_joint = 0.5 * (np.sum(total * field, axis=1) + np.sum(push * beta, axis=1))
    log_joint -= 0.5 * (log_det + np.linalg.slogdet(pull)[1])
    flat = prior.slack == 0
    log_joint += 0.5 * (np.sum(np.log(prior.slack[~flat])) + np.sum(flat) * _LOG_2PI)
    return _Solved(
        mean=field + _apply(left, beta),
        variance=np.maximum(variance, 1e-12),
        precision=w,
        inverse=inverse,
        root=root,
        left=left,
        drive=drive,
        beta=beta,
        beta_cov=beta_cov,
        log_joint=log_joint,
    )


def _invert(inner: Floats) -> tuple[Floats, Floats]:
    """Give the inverses of a stack of positive definite matrices, and the logarithms of their determinants.

    `inner` is used up.
    """
    inverses, log_det = np.empty_like(inner), np.empty(len(inner))
    for j, matrix in enumerate(inner):
        factor, _ = lapack.dpotrf(matrix.T, lower=1, overwrite_a=1)  # in place: the order the library keeps
        log_det[j] = 2.0 * np.sum(np.log(np.diagonal(factor)))
        half = lapack.dpotri(factor, lower=1, overwrite_c=1)[0]  # its upper triangle is the factor's, 0
        np.add(half, half.T, out=inverses[j])
        np.fill_diagonal(inverses[j], np.diagonal(half))
    return inverses, log_det


def _propagate(prior: _Prior, base: _Solved, tau: Floats, nu: Floats, tolerance: float) -> tuple[Floats, Floats, int]:
    """Give the factors with those of the intervals re-fitted, and the number of sweeps.

    Only the sites with intervals are carried along: with S, m the covariance and mean there under the factors of
    `base`, changes D of precision and E of total give (I + S D)^-1 S and (I + S D)^-1 (m + S E).
    """
    readings, free = prior.readings, ~prior.readings.exact
    sites, at = np.unique(readings.site[free], return_inverse=True)
    onto = np.eye(len(sites))[at]
    left, root = base.left[:, sites], base.root[:, sites]
    s = (np.eye(len(sites)) - base.inverse[:, sites[:, None], sites]) / (root[:, :, None] * root[:, None, :])
    s += left @ base.beta_cov @ left.swapaxes(1, 2)
    start, spread = base.mean[:, sites], base.variance[:, sites]
    mean, t, v = start.copy(), tau[:, free], nu[:, free]
    tau, nu = tau.copy(), nu.copy()
    first_t, first_v = t @ onto, v @ onto
    diagonal, going = np.arange(len(sites)), np.arange(len(s))
    sweeps = 0
    while len(going) and sweeps < _MAX_SWEEPS:
        sweeps += 1
        cavity, without = _take_out(mean[:, at], spread[:, at], t, v)
        noise = prior.variance[going][:, free]
        _, slope, bend = interval_moments(cavity, without + noise, readings.low[free], readings.high[free])
        room = np.maximum(1.0 - bend * without, 1e-9)
        step = 1.0 if sweeps <= _FULL_SWEEPS else 0.5
        t = t + step * (np.maximum(bend / room, _FAINT / without) - t)
        v = v + step * ((slope + cavity * bend) / room - v)
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


def _take_out(mean: Floats, variance: Floats, tau: Floats, nu: Floats) -> tuple[Floats, Floats]:
    """Give mean and variance of the field at each reading's site without that reading."""
    without = variance / np.maximum(1.0 - variance * tau, 1e-9)
    return without * (mean / variance - nu), without


def _evidence(prior: _Prior, solved: _Solved, tau: Floats, nu: Floats) -> tuple[Floats, Floats]:
    """Give the log likelihood and its derivative by the noise variance."""
    readings, exact, free = prior.readings, prior.readings.exact, ~prior.readings.exact
    d, y, site = prior.variance[:, exact], readings.low[exact], readings.site[exact]
    log_evidence = solved.log_joint - 0.5 * np.sum(np.log(2 * np.pi * d) + y**2 / d, axis=1)
    miss = (y - solved.mean[:, site]) ** 2 + solved.variance[:, site]
    noise_slope = 0.5 * np.sum(miss / d**2 - 1.0 / d, axis=1)
    if free.any():
        t, v, site = tau[:, free], nu[:, free], readings.site[free]
        mean, without = _take_out(solved.mean[:, site], solved.variance[:, site], t, v)
        log_z, slope, bend = interval_moments(
            mean, without + prior.variance[:, free], readings.low[free], readings.high[free]
        )
        # every factor is scaled so that the integral over what the other readings leave is that of its interval
        spread = 1.0 + t * without
        scale = log_z + 0.5 * np.log(spread) - 0.5 * (2 * v * mean + v**2 * without - t * mean**2) / spread
        log_evidence = log_evidence + np.sum(scale, axis=1)
        # by the heat equation the derivative by the variance is half the second derivative by the mean
        noise_slope = noise_slope + 0.5 * np.sum(slope**2 - bend, axis=1)
    return log_evidence, noise_slope


def _apply(matrices: Floats, vectors: Floats) -> Floats:
    """Give the products of matrices (k, i, j) and vectors (k, j)."""
    return (matrices @ vectors[:, :, None])[:, :, 0]


def _ratio(x: Floats, log_z: Floats) -> Floats:
    with np.errstate(over="ignore", invalid="ignore"):
        return np.where(np.isfinite(x), np.exp(-0.5 * x**2 - 0.5 * _LOG_2PI - log_z), 0.0)


def _times(x: Floats, dens: Floats) -> Floats:
    return np.where(np.isfinite(x), x, 0.0) * dens
