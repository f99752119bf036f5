"""Observations of a field at x, y, sorted into sites and scaled to about unit variance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.geostat.covariance import COINCIDENT_M
from hardpan.geostat.observations import Observations


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Data:
    """Observations of one field at n sites, scaled; from `observe`."""

    xy_m: Floats
    """(n, 2) sites."""
    trend: Floats
    """(n, p) trend columns, each of unit root mean square."""
    trend_scale: Floats
    """(p,) what they were divided by."""
    constant: bool
    """The first trend column is 1."""
    observations: Observations
    """In standard deviations about `centre`."""
    centre: float
    scale: float

    @property
    def extent_m(self) -> float:
        """Diagonal of the sites' bounding box."""
        return float(np.hypot(*np.ptp(self.xy_m, axis=0)))


def observe(
    x_m: ArrayLike,
    y_m: ArrayLike,
    z: ArrayLike,
    *,
    upper: ArrayLike | None = None,
    error_variance: ArrayLike | None = None,
    noisy: ArrayLike | None = None,
    trend: ArrayLike | None = None,
    constant: bool = True,
) -> Data:
    """Observations of a field, sorted into sites: those at one place share their micro-scale.

    Parameters
    ----------
    x_m, y_m : ArrayLike
        (m,) coordinates in metres of a projected system.
    z : ArrayLike
        (m,) values, or lower ends of intervals (-inf for none).
    upper : ArrayLike | None
        (m,) upper ends: equal to `z` for a value, inf for a value known to be above `z` (right-censored).
    error_variance : ArrayLike | None
        (m,) known error variance of each, on top of the noise of the covariance.
    noisy : ArrayLike | None
        (m,) share of that noise that each has, 0 for a mean whose error variance is all there is; 1 where left out.
    trend : ArrayLike | None
        (m, q) covariates of the trend beside the constant (external drift).
    constant : bool
        Whether the trend has a constant; without it and without covariates the mean is known to be 0.

    Raises
    ------
    HardpanError
        Arrays of unequal length, missing or infinite coordinates, covariates or values, or an interval that is empty.

    Examples
    --------
    >>> data = observe([0.0, 10.0, 0.0], [0.0, 0.0, 0.0], [1.0, 2.0, 3.0])  # the first and last at one place
    >>> len(data.xy_m), data.observations.site, data.centre
    (2, array([0, 1, 0]), 2.0)
    """
    low, high = np.asarray(z, dtype=float), np.asarray(z if upper is None else upper, dtype=float)
    covariates = np.empty((len(low), 0)) if trend is None else np.asarray(trend, dtype=float).reshape(len(low), -1)
    places = np.column_stack([np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float)])
    error = np.zeros(len(low)) if error_variance is None else np.asarray(error_variance, dtype=float)
    share = np.ones(len(low)) if noisy is None else np.asarray(noisy, dtype=float)
    _refuse_unusable(places, low, high, covariates, errors=(error, share))
    xy_m, first, site = _sites(places)
    columns = np.column_stack([np.ones((len(xy_m), int(constant))), covariates[first]])
    trend_scale = np.sqrt(np.mean(columns**2, axis=0))
    trend_scale[trend_scale == 0] = 1.0
    exact = low == high
    known = low[exact] if exact.any() else np.where(np.isfinite(low), low, high)
    centre = float(known.mean()) if constant else 0.0
    scale = float(np.sqrt(np.mean((known - centre) ** 2))) or 1.0
    return Data(
        xy_m=xy_m,
        trend=columns / trend_scale,
        trend_scale=trend_scale,
        constant=constant,
        observations=Observations(
            site=site,
            low=(low - centre) / scale,
            high=(high - centre) / scale,
            error=error / scale**2,
            noisy=None if noisy is None else share,
        ),
        centre=centre,
        scale=scale,
    )


def _refuse_unusable(
    places: Floats, low: Floats, high: Floats, covariates: Floats, *, errors: tuple[Floats, Floats]
) -> None:
    what = None
    error, share = errors
    if not len(low) == len(high) == len(places) == len(error) == len(share):
        what = f"{len(places)} places, {len(low)} values, {len(high)} upper ends and {len(error)} errors"
    elif not len(low):
        what = "no observations"
    elif not (np.isfinite(places).all() and np.isfinite(covariates).all() and np.isfinite(error + share).all()):
        what = "a coordinate, a covariate or an error variance is missing or infinite"
    elif np.any(np.isnan(low) | np.isnan(high) | (low > high) | (np.isinf(low) & (low == high))):
        what = "a value is missing, or an upper end lies below its lower end"
    if what:
        raise HardpanError(
            what=what, where="kriging", right="arrays of one length, finite, lower ends below upper ones"
        )


def _sites(places: Floats) -> tuple[Floats, Ints, Ints]:
    """Distinct places (n, 2), the first observation of each (n,), and the site of each observation (m,)."""
    rounded = np.round((places - places.min(axis=0)) / COINCIDENT_M)
    _, first, site = np.unique(rounded[:, 0] + 1j * rounded[:, 1], return_index=True, return_inverse=True)
    return places[first], first.astype(np.int64), site.astype(np.int64)
