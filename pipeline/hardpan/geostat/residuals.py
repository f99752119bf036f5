"""The empirical variogram of a model's residuals: where REML starts from, and what its curve is checked by."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import HardpanError
from hardpan.geostat.covariance import Covariance, covariance_at
from hardpan.geostat.model import MixedModel
from hardpan.geostat.parameters import EFFECTIVE_RANGE, N_PARAMETERS, isotropic, to_covariance
from hardpan.geostat.variogram import Variogram, VariogramFit, empirical_variogram, fit_variogram

_LEAST_SITES = 10
"""Fewer have under 45 pairs, of which no class can be made that says anything."""

_PAIRS = 30
"""Pairs a class should have (common practice)."""

_LEAST_VARIANCE = 1e-3
"""Of a start, for values of about unit variance: a part the variogram does not show may still be there."""

_UNIT = (np.log(0.5), np.log(0.15), np.log(0.3))
"""Sill, micro-scale and noise a search starts from, for values of unit variance."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Residuals:
    """Variogram of the sites' means about the trend, over the sites where a value was seen."""

    points: Variogram
    fitted: VariogramFit
    repeat: float
    """Variance of one reading about its site's mean; NaN where no site has two values."""
    noise_share: float
    """Share of one reading's noise that is left in a site's mean, on average."""

    def curve(self) -> Floats:
        """Fitted semivariance, shape (classes,), at the distances of the points."""
        structures = Covariance(structures=self.fitted.structures)
        away = np.column_stack([self.points.distance_m, np.zeros_like(self.points.distance_m)])
        return np.asarray(self.fitted.nugget + structures.structured_sill - covariance_at(structures, away))


def residual_variogram(model: MixedModel) -> Residuals | None:
    """Empirical variogram of the residuals with its weighted least-squares fit; None where too few values were seen.

    Examples
    --------
    >>> from hardpan import geostat
    >>> from hardpan.geostat.estimation import mixed_model
    >>> x, y, z = np.random.default_rng(1).uniform(0, 100, (3, 60))
    >>> found = residual_variogram(mixed_model(geostat.observe(x, y, z), "exponential"))
    >>> len(found.curve()) == len(found.points.semivariance), bool(np.isnan(found.repeat))  # no site has two values
    (True, True)
    """
    seen = model.observations.exact
    site, value = model.observations.site[seen], model.observations.low[seen]
    sites, of, count = np.unique(site, return_inverse=True, return_counts=True)
    if len(sites) < _LEAST_SITES:
        return None
    mean = np.bincount(of, value) / count
    repeats = len(value) - len(sites)
    within = float(np.sum((value - mean[of]) ** 2)) / repeats if repeats else np.nan
    # slopes held by their priors, so that a soil type of one site does not swallow it
    trend = model.trend[sites]
    beta = np.linalg.lstsq(
        np.vstack([trend, np.diag(np.sqrt(model.trend_precision))]),
        np.append(mean, np.zeros(trend.shape[1])),
        rcond=None,
    )[0]
    classes = int(np.clip(len(sites) * (len(sites) - 1) / 2 / _PAIRS, 5, 15))
    points = empirical_variogram(model.xy_m[sites], mean - trend @ beta, classes=classes)
    try:
        fitted = fit_variogram(points, (model.family,))
    except HardpanError:  # all pairs in one or two classes
        return None
    return Residuals(points=points, fitted=fitted, repeat=within, noise_share=float(np.mean(1.0 / count)))


def start_from(residuals: Residuals, model: MixedModel) -> Floats:
    """Parameters (8,) of the fitted variogram, for a search to start from."""
    structure, nugget = residuals.fitted.structures[0], residuals.fitted.nugget
    noise = 0.5 * nugget if np.isnan(residuals.repeat) else residuals.repeat
    micro = nugget - noise * residuals.noise_share
    variances = np.maximum([structure.sill, micro, noise], _LEAST_VARIANCE)
    return isotropic(np.log([structure.length_m * EFFECTIVE_RANGE[model.family], *variances]))


def search_starts(extent_m: float, model: MixedModel | None = None) -> Floats:
    """Parameters (s, 8) for a search to start from, for values of unit variance over ground `extent_m` across.

    Those of the model's residual variogram; where it shows no range, or no model is given, two usual ranges as well.
    """
    residuals = None if model is None else residual_variogram(model)
    shown = np.empty((0, N_PARAMETERS)) if model is None or residuals is None else start_from(residuals, model)[None]
    if residuals is not None and residuals.fitted.identified:
        return shown
    ranges = np.log(extent_m * np.array([0.1, 0.33]))
    return np.vstack([shown, isotropic(np.column_stack([ranges, np.tile(_UNIT, (2, 1))]))])


def reml_curve(residuals: Residuals, model: MixedModel, theta: Floats) -> Floats:
    """Semivariance (classes,) that parameters (8,) expect of the sites' means at the distances of the points.

    Averaged over directions where the structures are anisotropic.
    """
    covariance = to_covariance(model.family, theta)
    turn = np.linspace(0.0, np.pi, 12, endpoint=False)
    offsets = residuals.points.distance_m[:, None, None] * np.column_stack([np.sin(turn), np.cos(turn)])
    left = covariance_at(covariance, offsets).mean(axis=1)
    return np.asarray(covariance.structured_sill - left + covariance.micro + covariance.noise * residuals.noise_share)
