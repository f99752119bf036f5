r"""Effects of treatments where errors are correlated in the plane and groups of data share an error of their own.

The mixed model is y = X b + Z u + S + e: effects b, an independent error u of each group (a strip, a pass of the
machine), a spatial field S, noise e. Its covariance V = w ZZ' + s R(range) + d I is fitted by restricted maximum
likelihood; what is said of the effects are generalised least squares with degrees of freedom by Satterthwaite's rule
[satterthwaite1946] [fai1996]: those of a chi-square whose spread is that of the estimated variance, the parameters'
covariance being the inverse of their expected information.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import fdtrc, stdtrit

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.core.threads import one_blas_thread
from hardpan.geostat.covariance import Covariance, Family
from hardpan.geostat.estimation import in_units, mixed_model, search_reml
from hardpan.geostat.model import MixedModel
from hardpan.geostat.parameters import NOISE, RANGE, SILL, correlation_derivatives, to_covariance
from hardpan.geostat.reml import RemlFit, maximise_reml
from hardpan.geostat.residuals import search_starts
from hardpan.geostat.sites import Data

_GROUP_SHARES = np.log([1e-3, 1e-2, 0.1, 1.0])
"""Logarithms of the groups' variance, over that of field and noise without groups, that are tried; refined between the
neighbours of the best."""

_ROUGH, _NEAR_TOP = 0.002, 0.05
"""While the groups' variance is searched: twice the gain at which an inner search ends, and how near the logarithm of
the variance has to come; both move a standard error by less than a hundredth of itself."""

_SETTLED = 1e-8
"""Twice the gain of log likelihood at which the last search ends: effects are compared with published ones."""

_NEAR_BOUND = 1e-3
"""Of a logarithm: nearer to its bound a parameter counts as held there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One combination of effects."""

    estimate: float
    se: float
    df: float
    """Satterthwaite's degrees of freedom of the standard error."""

    def interval(self, level: float) -> tuple[float, float]:
        """Ends of the two-sided interval of Student's t that holds the effect with probability `level`."""
        half = float(stdtrit(self.df, 0.5 + 0.5 * level)) * self.se
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effects:
    """Effects of a fitted mixed model, in the units of the observations."""

    beta: Floats
    """(p,) generalised least squares estimates, in the order of the trend columns."""
    beta_cov: Floats
    """(p, p) their covariance, the parameters known."""
    slopes: Floats
    """(q, p, p) derivatives of `beta_cov` by the covariance parameters that are free."""
    parameter_cov: Floats
    """(q, q) covariance of those parameters: inverse of the expected information."""
    covariance: Covariance
    """Spatial structure, and noise."""
    group_variance: float
    log_likelihood: float
    """Restricted."""
    contrasts: int
    """Data less trend columns."""

    def effect(self, weights: Floats) -> Effect:
        """Weighted sum of the effects.

        Parameters
        ----------
        weights : (p,)
        """
        weights = np.asarray(weights, dtype=float)
        variance = float(weights @ self.beta_cov @ weights)
        slope = np.einsum("i,qij,j->q", weights, self.slopes, weights)
        spread = float(slope @ self.parameter_cov @ slope)
        df = 2.0 * variance**2 / spread if spread > 0 else float(self.contrasts)
        return Effect(
            estimate=float(weights @ self.beta), se=float(np.sqrt(variance)), df=float(np.clip(df, 1.0, self.contrasts))
        )

    def f_test(self, rows: Floats, df: float) -> tuple[float, float]:
        """F statistic that all of several combinations are 0, and its probability.

        Parameters
        ----------
        rows : (r, p)
            Weights of each combination.
        df : float
            Of the denominator.
        """
        estimates = rows @ self.beta
        f = float(estimates @ np.linalg.solve(rows @ self.beta_cov @ rows.T, estimates)) / len(rows)
        return f, float(fdtrc(len(rows), df, f))


@one_blas_thread()
def fit_effects(data: Data, family: Family = "exponential", group: Ints | None = None) -> Effects:
    """Effects of the trend columns in the mixed model with spatial errors, and with errors of groups where given.

    Parameters
    ----------
    data : Data
        From `observe`, one observation a site.
    family : Family
        Covariance family of the spatial errors.
    group : (n,) ints or None
        Group of each observation, in the order they were given to `observe`; None: no such errors.

    Raises
    ------
    HardpanError
        Several observations at one site, or trend columns that are not independent.

    Examples
    --------
    Two groups of sites, ten metres apart, that differ by 2:

    >>> from hardpan import geostat
    >>> rng = np.random.default_rng(1)
    >>> x, y = np.repeat([0.0, 10.0], 30), np.tile(np.arange(30.0), 2)
    >>> z = np.where(x > 0, 2.0, 0.0) + 0.1 * rng.standard_normal(60)
    >>> effects = geostat.fit_effects(geostat.observe(x, y, z, trend=x > 0))
    >>> round(effects.effect(np.array([0.0, 1.0])).estimate, 1)
    2.0
    """
    if len(data.observations.site) != len(data.xy_m):
        raise HardpanError(what="several observations stand at one place", where="effects", right="one a place")
    if np.linalg.matrix_rank(data.trend) < data.trend.shape[1]:
        raise HardpanError(what="effects cannot be told apart", where="effects", right="independent trend columns")
    model = mixed_model(data, family)
    fit, variance = _search(model, data.extent_m), 0.0
    if group is not None:
        by_site = np.asarray(group)[np.argsort(data.observations.site)]
        members = (by_site[:, None] == np.unique(group)).astype(float)
        fit, variance = _with_groups(fit, members)
    else:
        members = np.empty((len(data.xy_m), 0))
    return _effects(maximise_reml(fit.model, fit.theta[None], settled=_SETTLED), members, variance, data)


def _search(model: MixedModel, extent_m: float) -> RemlFit:
    return search_reml(model, search_starts(extent_m, model))


def _with_groups(alone: RemlFit, members: Floats) -> tuple[RemlFit, float]:
    """Highest optimum over the groups' variance, and that variance; `alone` and 0 where none is higher."""
    found: dict[float, RemlFit] = {}
    usual = float(np.log(np.exp(alone.theta[SILL]) + np.exp(alone.theta[NOISE])))

    def fall(log_share: float) -> float:
        model = _grouped(alone.model, members, float(np.exp(usual + log_share)))
        start = max(found.values(), key=lambda fit: fit.objective, default=alone).theta
        found[log_share] = maximise_reml(model, start[None], settled=_ROUGH)
        return -found[log_share].objective

    coarse = [fall(float(log_share)) for log_share in _GROUP_SHARES]
    best = int(np.argmin(coarse))
    step = float(_GROUP_SHARES[1] - _GROUP_SHARES[0])
    ends = _GROUP_SHARES[best] - step, _GROUP_SHARES[best] + step
    minimize_scalar(fall, bounds=ends, method="bounded", options={"xatol": _NEAR_TOP})
    log_share, fit = max(found.items(), key=lambda one: one[1].objective)
    return (fit, float(np.exp(usual + log_share))) if fit.objective > alone.objective else (alone, 0.0)


def _grouped(model: MixedModel, members: Floats, variance: float) -> MixedModel:
    """Model with one more trend column a group, whose coefficient has that variance."""
    return replace(
        model,
        trend=np.hstack([model.trend, members]),
        trend_precision=np.append(model.trend_precision, np.full(members.shape[1], 1.0 / variance)),
    )


def _effects(fit: RemlFit, members: Floats, variance: float, data: Data) -> Effects:
    """Effects at the optimum, with the slopes and the information that degrees of freedom rest on."""
    theta, x = fit.theta, data.trend
    derivatives = correlation_derivatives(fit.model.family, fit.model.xy_m, theta, fit.model.free)
    sill, noise = np.exp(theta[SILL]), np.exp(theta[NOISE])
    identity, shared = np.eye(len(x)), members @ members.T
    v = sill * derivatives[SILL] + noise * identity + variance * shared
    w = np.linalg.inv(v)
    wx = w @ x
    beta_cov = np.linalg.inv(x.T @ wx)
    p = w - wx @ beta_cov @ wx.T
    # by the variances themselves: one estimated as 0 still is uncertain, which its logarithm does not show
    parts = [derivatives[SILL], identity, *([shared] if members.size else [])]
    low, high = fit.model.bounds[RANGE] + np.array([_NEAR_BOUND, -_NEAR_BOUND])
    if low < theta[RANGE] < high and theta[SILL] > fit.model.bounds[SILL][0] + _NEAR_BOUND:
        parts.append(sill * derivatives[RANGE])
    projected = [p @ part for part in parts]
    information = 0.5 * np.array([[np.vdot(one, other.T) for other in projected] for one in projected])
    to_units = data.scale / data.trend_scale
    scaled, in_own = np.outer(to_units, to_units), np.array([np.asarray(wx.T @ part @ wx) for part in parts])
    y = data.observations.low[np.argsort(data.observations.site)]
    contrasts = len(y) - x.shape[1]
    return Effects(
        beta=(beta_cov @ (wx.T @ y)) * to_units + data.centre * data.constant * (np.arange(len(to_units)) == 0),
        beta_cov=beta_cov * scaled,
        slopes=np.array([beta_cov @ part @ beta_cov * scaled for part in in_own]),
        parameter_cov=np.asarray(np.linalg.pinv(information, hermitian=True), dtype=np.float64),
        covariance=replace(in_units(to_covariance(fit.model.family, theta), data.scale**2), micro=0.0),
        group_variance=variance * data.scale**2,
        log_likelihood=fit.objective - contrasts * float(np.log(data.scale)) - float(np.log(data.trend_scale).sum()),
        contrasts=contrasts,
    )
