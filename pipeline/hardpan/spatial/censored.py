r"""Gaussian field seen through exact and bounded readings: expectation propagation, for many covariances at once.

A reading of the field F at site s is either a value, y ~ N(F_s, d), or an interval, low < F_s + e < high with
e ~ N(0, d); an infinite end makes it one-sided. The prior is F ~ N(X b, K) with b ~ N(0, diag(1/slack)), flat where
the slack is 0. Every interval is stood in for by a Gaussian factor exp(nu F - tau F^2 / 2) whose moments agree with
those of the interval given everything else; with values only this is the exact restricted likelihood, and with
one interval it is exact too. The factors are re-fitted until no mean moves by more than `TOLERANCE` of its spread.

Sources: minka2001 for the method; rasmussen2006 (sections 3.6, 5.5) for the stable form with B = I + T^1/2 K T^1/2.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from hardpan.core.arrays import Bools, Floats, Ints

TOLERANCE = 1e-5
"""Largest move of a site's mean, in its standard deviations, at which the factors stand; far under what a map shows."""

_MAX_SWEEPS = 60
"""Ten are usual; a covariance that needs more than sixty is at the edge of what the data can mean."""

_DAMPING = 0.9
"""Share of each parallel step that is taken; full steps can oscillate where many intervals share a site."""

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
        return self.low == self.high


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
    k: Floats, noise: Floats, readings: Readings, trend: Floats, slack: Floats, start: Posterior | None = None
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
    """
    variance = noise[:, None] + readings.error
    exact = readings.exact
    tau = np.where(exact, 1.0, 0.5) / variance
    guess = np.where(np.isfinite(readings.low), readings.low, readings.high)
    shift = np.isfinite(readings.low).astype(float) - np.isfinite(readings.high)
    nu = tau * (guess + shift * np.sqrt(variance))
    if start is not None:
        tau = np.where(exact, tau, start.tau)
        nu = np.where(exact, nu, start.nu)
    onto = np.zeros((len(readings.site), k.shape[-1]))
    onto[np.arange(len(readings.site)), readings.site] = 1.0
    free = ~exact
    state = _solve(k, tau @ onto, nu @ onto, trend, slack)
    sweeps, moved = 0, not free.any()
    while free.any() and sweeps < _MAX_SWEEPS:
        tau[:, free], nu[:, free] = _refit(state, tau, nu, variance, readings, free)
        new = _solve(k, tau @ onto, nu @ onto, trend, slack)
        sweeps += 1
        moved = bool(np.max(np.abs(new.mean - state.mean) / np.sqrt(new.variance)) < TOLERANCE)
        state = new
        if moved:
            break
    return _finish(k, state, tau, nu, variance, readings, trend, slack, sweeps, converged=moved)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solved:
    mean: Floats
    variance: Floats
    precision: Floats
    inner: Floats
    """(k, n, n) B."""
    drive: Floats
    """(k, n) d = N - W K N."""
    pull: Floats
    """(k, p, p) X'WX + slack."""
    beta: Floats
    beta_cov: Floats
    total: Floats
    """(k, n) N."""


def _solve(k: Floats, precision: Floats, total: Floats, trend: Floats, slack: Floats) -> _Solved:
    root = np.sqrt(precision)
    inner = root[:, :, None] * k * root[:, None, :]
    n = k.shape[-1]
    inner[:, np.arange(n), np.arange(n)] += 1.0
    w = np.linalg.inv(inner)
    w *= root[:, :, None]
    w *= root[:, None, :]
    kw = k @ w
    drive = total - np.einsum("kij,ki->kj", kw, total)
    wx = w @ trend
    pull = np.einsum("ip,kiq->kpq", trend, wx) + np.diag(slack)
    beta_cov = np.linalg.inv(pull)
    beta = np.einsum("kpq,kq->kp", beta_cov, drive @ trend)
    left = trend - k @ wx
    mean = np.einsum("kij,kj->ki", k, drive) + np.einsum("kip,kp->ki", left, beta)
    variance = np.diagonal(k, axis1=1, axis2=2) - np.einsum("kij,kij->ki", kw, k)
    variance = variance + np.einsum("kip,kpq,kiq->ki", left, beta_cov, left)
    return _Solved(
        mean=mean,
        variance=np.maximum(variance, 1e-12),
        precision=w,
        inner=inner,
        drive=drive,
        pull=pull,
        beta=beta,
        beta_cov=beta_cov,
        total=total,
    )


def _cavity(state: _Solved, tau: Floats, nu: Floats, readings: Readings, free: Bools) -> tuple[Floats, Floats]:
    """Give mean and variance of the field at each bounded reading's site without that reading."""
    site = readings.site[free]
    mean, variance = state.mean[:, site], state.variance[:, site]
    without = variance / np.maximum(1.0 - variance * tau[:, free], 1e-9)
    return without * (mean / variance - nu[:, free]), without


def _refit(
    state: _Solved, tau: Floats, nu: Floats, variance: Floats, readings: Readings, free: Bools
) -> tuple[Floats, Floats]:
    mean, without = _cavity(state, tau, nu, readings, free)
    _, slope, bend = interval_moments(mean, without + variance[:, free], readings.low[free], readings.high[free])
    room = np.maximum(1.0 - bend * without, 1e-9)
    new_tau, new_nu = np.maximum(bend, 0.0) / room, (slope + mean * bend) / room
    return (
        tau[:, free] + _DAMPING * (new_tau - tau[:, free]),
        nu[:, free] + _DAMPING * (new_nu - nu[:, free]),
    )


def _finish(
    k: Floats,
    state: _Solved,
    tau: Floats,
    nu: Floats,
    variance: Floats,
    readings: Readings,
    trend: Floats,
    slack: Floats,
    sweeps: int,
    *,
    converged: bool,
) -> Posterior:
    exact, free = readings.exact, ~readings.exact
    push = state.drive @ trend
    log_evidence = (
        -0.5 * np.linalg.slogdet(state.inner)[1]
        + 0.5 * np.einsum("ki,kij,kj->k", state.total, k, state.drive)
        + 0.5 * np.einsum("kp,kp->k", push, state.beta)
        - 0.5 * np.linalg.slogdet(state.pull)[1]
        + 0.5 * np.sum(np.log(slack[slack > 0]))
        + 0.5 * np.sum(slack == 0) * _LOG_2PI
    )
    d, y = variance[:, exact], readings.low[exact]
    log_evidence = log_evidence - 0.5 * np.sum(np.log(2 * np.pi * d) + y**2 / d, axis=1)
    site = readings.site[exact]
    miss = (y - state.mean[:, site]) ** 2 + state.variance[:, site]
    noise_slope = 0.5 * np.sum(miss / d**2 - 1.0 / d, axis=1)
    if free.any():
        mean, without = _cavity(state, tau, nu, readings, free)
        log_z, slope, bend = interval_moments(
            mean, without + variance[:, free], readings.low[free], readings.high[free]
        )
        t, v = tau[:, free], nu[:, free]
        spread = 1.0 + t * without
        scale = log_z + 0.5 * np.log(spread) - 0.5 * (2 * v * mean + v**2 * without - t * mean**2) / spread
        log_evidence = log_evidence + np.sum(scale, axis=1)
        # by the heat equation the derivative by the variance is half the second derivative by the mean over Z
        noise_slope = noise_slope + 0.5 * np.sum(slope**2 - bend, axis=1)
    return Posterior(
        log_evidence=log_evidence,
        mean=state.mean,
        variance=state.variance,
        weights=state.drive - np.einsum("kij,jp,kp->ki", state.precision, trend, state.beta),
        beta=state.beta,
        beta_cov=state.beta_cov,
        precision=state.precision,
        tau=tau,
        nu=nu,
        noise_slope=noise_slope,
        sweeps=sweeps,
        converged=converged,
    )


def _ratio(x: Floats, log_z: Floats) -> Floats:
    with np.errstate(over="ignore", invalid="ignore"):
        return np.where(np.isfinite(x), np.exp(-0.5 * x**2 - 0.5 * _LOG_2PI - log_z), 0.0)


def _times(x: Floats, dens: Floats) -> Floats:
    return np.where(np.isfinite(x), x, 0.0) * dens
