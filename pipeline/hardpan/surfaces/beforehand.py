"""What is known of the pan before its bottoms are read, or given: scale, mean and scatter that few readings lean on.

Where most insertions end inside the pan, the few bottoms seen are the shallow ones and their spread is no measure of
the paddock's. Mean and spread are then those most likely given values, bounds and what is usual: the bottom lies a
usual thickness below the tops, which are seen, and spreads as the tops and thicknesses together do.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.optimize import minimize

from hardpan.core.arrays import Floats
from hardpan.geostat import MICRO, NOISE, RANGE, SILL, Observations, interval_moments
from hardpan.surfaces.settings import PriorSettings, StructureSettings
from hardpan.surfaces.variables import LEAST_SCALE_LOG, LEAST_SCALE_MM, Variable

_LOG_SCALE_SD = 0.4
"""Standard deviation of the logarithm of a spread about its usual one: 90 % within a factor of two either way."""

_INDEPENDENT = 10.0
"""Readings that tell of a spread as if independent: near ones are alike, and the patches as wide as the usual range, a
quarter of the diagonal D, that a paddock holds are (D^2 / 2) / (pi (D / 8)^2), about ten. With each reading counted for
itself a normal law fitted to the shallow tail, which bounds leave of the bottoms, would be sure of its spread."""


def inform(variables: Mapping[str, Variable], usual: PriorSettings) -> dict[str, Variable]:
    """The variables with the scatter between insertions that is usual, and bounded ones scaled by all that is known."""
    out = {name: replace(variable, usual=usual) for name, variable in variables.items()}
    if not len(variables["bottom"].observations.site):
        return out
    top = in_units(variables["top"])
    spread = float(np.hypot(np.std(top.low), usual.thickness_sd_mm))
    # where bounds alone lie deeper than a usual pan ends, all that is known is that this one is no usual one
    mean = max(float(np.mean(top.low)) + usual.thickness_mm, float(np.mean(in_units(variables["bottom"]).low)))
    out["bottom"] = _rescaled(out["bottom"], spread, LEAST_SCALE_MM, mean=(mean, usual.mean_sd_mm))
    out["peak"] = _rescaled(out["peak"], usual.peak_spread, LEAST_SCALE_LOG, mean=_usual_peak(variables, usual))
    for name, noise in (("top", usual.noise_mm), ("bottom", usual.noise_mm), ("peak", usual.peak_noise)):
        out[name] = replace(out[name], usual_noise=noise / out[name].scale)
    return out


def hold(variable: Variable, given: StructureSettings) -> Variable:
    """The variable with the parameters of its covariance that are given."""
    order = {"range_m": RANGE, "sill": SILL, "micro": MICRO, "noise": NOISE}
    scale = {"range_m": 1.0} | dict.fromkeys(("sill", "micro", "noise"), variable.scale**2)
    known = {name: value for name, value in given if value is not None}
    return replace(variable, given={order[name]: float(np.log(value / scale[name])) for name, value in known.items()})


def _usual_peak(variables: Mapping[str, Variable], usual: PriorSettings) -> tuple[float, float] | None:
    """Mean of the log peak and its standard deviation where no insertion passed the peak; None where one did."""
    peak = variables["peak"]
    if peak.exact.any():
        return None
    return float(np.mean(in_units(peak).low)) + usual.peak_spread, usual.peak_mean_sd


def in_units(variable: Variable) -> Observations:
    """Observations in the variable's units (logarithms for the peak)."""
    return _affine(variable.observations, variable.centre, variable.scale)


def _rescaled(variable: Variable, spread: float, least: float, *, mean: tuple[float, float] | None = None) -> Variable:
    """The variable in standard deviations about its most likely mean; as it is where every observation is a value.

    `mean` is what is known of the mean beforehand, with its standard deviation.
    """
    if variable.exact.all():
        return variable
    seen = in_units(variable)
    centre, scale = _likely_moments(seen, spread, mean or (float(np.mean(seen.low)), np.inf))
    scale = max(scale, least)
    if mean is not None:
        centre = mean[0]
    return replace(
        variable,
        observations=_affine(seen, -centre / scale, 1.0 / scale),
        centre=centre,
        scale=scale,
        mean_sd=np.inf if mean is None else mean[1] / scale,
    )


def _likely_moments(seen: Observations, spread: float, mean: tuple[float, float]) -> tuple[float, float]:
    """Mean and standard deviation most likely given values, bounds and what is usual, spatial or not."""
    exact = seen.exact
    low, high, leak = seen.low[~exact], seen.high[~exact], seen.leaks(~exact)
    weight = min(1.0, _INDEPENDENT / len(exact))

    def unlikely(at: Floats) -> float:
        centre, log_scale = at
        z = (seen.low[exact] - centre) / np.exp(log_scale)
        values = np.sum(0.5 * z**2 + log_scale)
        variance = np.full(len(low), np.exp(2.0 * log_scale))
        bounds = interval_moments(np.full(len(low), centre), variance, low, high, leak)[0]
        prior = 0.5 * ((log_scale - np.log(spread)) / _LOG_SCALE_SD) ** 2 + 0.5 * ((centre - mean[0]) / mean[1]) ** 2
        return float(weight * (values - np.sum(bounds)) + prior)

    start = float(np.mean(seen.low)) + spread * (not exact.all())
    found = minimize(unlikely, np.array([start, np.log(spread)]), method="Nelder-Mead", options={"xatol": 1e-3})
    return float(found.x[0]), float(np.exp(found.x[1]))


def _affine(observations: Observations, shift: float, factor: float) -> Observations:
    return replace(
        observations,
        low=shift + factor * observations.low,
        high=shift + factor * observations.high,
        error=factor**2 * observations.error,
    )
