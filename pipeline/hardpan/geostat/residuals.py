"""The empirical variogram of a model's residuals: where REML starts from, and what its curve is checked by."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import HardpanError
from hardpan.geostat.covariance import Covariance, evaluate, structured_sill
from hardpan.geostat.parameters import EFFECTIVE, covariance_of, plain
from hardpan.geostat.reml import Model
from hardpan.geostat.variogram import Variogram, VariogramFit, empirical_variogram, fit_variogram

_LEAST_SITES = 10
"""Fewer have under 45 pairs, of which no class can be made that says anything."""

_PAIRS = 30
"""Pairs a class should have (common practice)."""

_LEAST_VARIANCE = 1e-3
"""Of a start, for values of about unit variance: a part the variogram does not show may still be there."""


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
        """Give the fitted semivariance (classes,) at the distances of the points."""
        structures = Covariance(structures=self.fitted.structures)
        away = np.column_stack([self.points.distance_m, np.zeros_like(self.points.distance_m)])
        return np.asarray(self.fitted.nugget + structured_sill(structures) - evaluate(structures, away))


def residual_variogram(model: Model) -> Residuals | None:
    """Give the variogram with its weighted least-squares fit, None where too few values were seen for one."""
    seen = model.readings.exact
    site, value = model.readings.site[seen], model.readings.low[seen]
    sites, of, count = np.unique(site, return_inverse=True, return_counts=True)
    if len(sites) < _LEAST_SITES:
        return None
    mean = np.bincount(of, value) / count
    repeats = len(value) - len(sites)
    within = float(np.sum((value - mean[of]) ** 2)) / repeats if repeats else np.nan
    # slopes held by their priors, so that a soil type of one site does not swallow it
    trend = model.trend[sites]
    beta = np.linalg.lstsq(
        np.vstack([trend, np.diag(np.sqrt(model.slack))]), np.append(mean, np.zeros(trend.shape[1])), rcond=None
    )[0]
    classes = int(np.clip(len(sites) * (len(sites) - 1) / 2 / _PAIRS, 5, 15))
    points = empirical_variogram(model.xy_m[sites], mean - trend @ beta, classes=classes)
    try:
        fitted = fit_variogram(points, (model.family,))
    except HardpanError:  # all pairs in one or two classes
        return None
    return Residuals(points=points, fitted=fitted, repeat=within, noise_share=float(np.mean(1.0 / count)))


def start_of(residuals: Residuals, model: Model) -> Floats:
    """Give the parameters (8,) a search starts from: those of the fitted variogram."""
    structure, nugget = residuals.fitted.structures[0], residuals.fitted.nugget
    noise = 0.5 * nugget if np.isnan(residuals.repeat) else residuals.repeat
    micro = nugget - noise * residuals.noise_share
    variances = np.maximum([structure.sill, micro, noise], _LEAST_VARIANCE)
    return plain(np.log([structure.length_m * EFFECTIVE[model.family], *variances]))


def reml_curve(residuals: Residuals, model: Model, theta: Floats) -> Floats:
    """Give the semivariance (classes,) that parameters (8,) expect at the distances of the points.

    Averaged over directions where the structures are stretched.
    """
    covariance = covariance_of(model.family, theta)
    turn = np.linspace(0.0, np.pi, 12, endpoint=False)
    offsets = residuals.points.distance_m[:, None, None] * np.column_stack([np.sin(turn), np.cos(turn)])
    left = evaluate(covariance, offsets).mean(axis=1)
    return np.asarray(structured_sill(covariance) - left + covariance.micro + covariance.noise * residuals.noise_share)
