"""Kriging in five lines: observations, a fitted covariance, the field given both, and what it says anywhere.

>>> from hardpan import geostat
>>> rng = np.random.default_rng(1)
>>> x, y = rng.uniform(0, 500, (2, 80))
>>> z = np.sin(x / 60) + 0.1 * rng.standard_normal(80)
>>> data = geostat.observe(x, y, z)
>>> fit = geostat.fit_reml(data)
>>> field = geostat.condition(data, fit.covariance)
>>> kriged = geostat.krige(field, [250.0], [250.0])
>>> draws = geostat.simulate(field, [250.0], [250.0], n_draws=100, seed=1)

These functions take and give values in the units of the observations; inside, values have about unit variance. The maps
of the pan go through the same functions below: `condition_on`, `integrate_parameters`, `krige_cells`, `draw_mixture`.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.core.threads import Progress, one_blas_thread, silent
from hardpan.geostat.covariance import Covariance, Family
from hardpan.geostat.estimation import in_units, mixed_model
from hardpan.geostat.grids import KrigingGrid
from hardpan.geostat.kriging import Kriged, krige_cells, krige_places, leave_out_sites
from hardpan.geostat.mixture import Mixture, condition_on, integrate_parameters
from hardpan.geostat.neighbourhood import NOISE_FLOOR
from hardpan.geostat.parameters import RANGE, Priors
from hardpan.geostat.reml import maximise_reml, observe_information
from hardpan.geostat.residuals import search_starts
from hardpan.geostat.simulation import draw_mixture
from hardpan.geostat.sites import Data

_MOST = 8000
"""Sites of one system: its matrix then takes 512 MB."""

_FLOORS = (1.0, 1e2, 1e4, 1e6)
"""Times the least noise that is tried where data are so near to one another that their covariance is singular."""

_RANGES = 9
"""Ranges of the grid that is integrated over; neighbours differ by a factor of two or so."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """A random field given its observations."""

    data: Data
    mixture: Mixture


@one_blas_thread()
def condition(data: Data, covariance: Covariance) -> Field:
    """The field given the observations and a covariance, for kriging, leave-out and simulation.

    Data without any noise get one of 1e-12 of the sill, or as much more as makes their covariance positive definite.

    Raises
    ------
    HardpanError
        More than 8,000 sites, trend columns that are not independent, or a covariance that is none.
    """
    if len(data.xy_m) > _MOST:
        raise HardpanError(
            what=f"{len(data.xy_m)} sites are too many for one kriging system",
            where="kriging",
            right=f"at most {_MOST}",
            do="krige from the nearest data instead",
        )
    _refuse_no_covariance(covariance)
    scaled, seen = in_units(covariance, data.scale**-2), data.observations
    flat = np.zeros(data.trend.shape[1])
    for more in _FLOORS:
        floor = more * NOISE_FLOOR * (scaled.sill or 1.0)
        error = np.maximum(seen.error, floor - seen.noise_of(scaled.noise))
        try:
            mixture = condition_on(
                scaled, data.xy_m, replace(seen, error=error), trend=data.trend, trend_precision=flat
            )
        except HardpanError:
            if more == _FLOORS[-1]:
                raise
        else:
            break
    return Field(data=data, mixture=mixture)


def _refuse_no_covariance(covariance: Covariance) -> None:
    whole = all(part.sill > 0 and part.length_m > 0 and 0 < part.ratio <= 1 for part in covariance.structures)
    if not (whole and covariance.micro >= 0 and covariance.noise >= 0):
        raise HardpanError(
            what=f"{covariance} is no covariance",
            where="kriging",
            right="positive sills and lengths, ratios up to 1, no negative variance",
        )


@one_blas_thread()
def integrate(data: Data, family: Family = "exponential", points_per_range: int = 8) -> Field:
    """The field given the observations, its covariance parameters integrated out over weakly informative priors.

    As the maps of the pan are made; see `hardpan.geostat.parameters`.
    """
    model = mixed_model(data, family)
    priors = Priors(log_range=float(np.log(data.extent_m / 4.0)))
    fit = maximise_reml(model, search_starts(data.extent_m, model), priors)
    low, high = model.bounds[RANGE]
    ranges_m = np.exp(np.linspace(low, high, _RANGES))
    mixture = integrate_parameters(observe_information(fit, priors), priors, ranges_m, points_per_range)
    return Field(data=data, mixture=mixture)


@one_blas_thread()
def krige(  # noqa: PLR0917
    field: Field,
    x_m: ArrayLike,
    y_m: ArrayLike,
    trend: ArrayLike | None = None,
    block_m: float | None = None,
    threads: int = 1,
) -> Kriged:
    """Universal-kriging mean and variance of the field at m points or over m square blocks, shape (m,).

    Parameters
    ----------
    field : Field
        From `condition` or `integrate`.
    x_m, y_m : ArrayLike
        (m,) points or block centres.
    trend : ArrayLike | None
        (m, q) covariates there, as in `observe`.
    block_m : float | None
        Side of the blocks (m); points when left out.
    threads : int
        The result does not depend on it.
    """
    places = _places(x_m, y_m)
    columns = _columns(field.data, trend, (len(places),))
    return _of_field(field, krige_places(field.mixture, places, columns, block_m, 0.0, threads))


@one_blas_thread()
def krige_grid(
    field: Field,
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    inside: Bools | None = None,
    trend: ArrayLike | None = None,
    block_m: float | None = None,
    tolerance: float = 1e-6,
    threads: int = 1,
    progress: Progress = silent,
) -> Kriged:
    """Universal-kriging mean and variance over a grid of cell centres x_m (nx,) and y_m (ny,), shape (ny, nx).

    Parameters
    ----------
    field : Field
        From `condition` or `integrate`.
    x_m, y_m : ArrayLike
        Cell centres along the axes, rising or falling.
    inside : Bools | None
        (ny, nx) cells that are wanted, the others NaN; all when left out.
    trend : ArrayLike | None
        (ny, nx, q) covariates, as in `observe`.
    block_m : float | None
        Side of the blocks the field is averaged over; points when left out.
    tolerance : float
        Share of the field's spread that compression of far data may change; 0 for none. The result has the bound.
    threads, progress
        The result does not depend on them.
    """
    x, y = np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float)
    shape = (len(y), len(x))
    grid = KrigingGrid(
        x_m=x,
        y_m=y,
        inside=np.ones(shape, dtype=bool) if inside is None else inside,
        trend=_columns(field.data, trend, shape),
        block_m=block_m,
    )
    return _of_field(field, krige_cells(field.mixture, grid, tolerance=tolerance, threads=threads, progress=progress))


@one_blas_thread()
def leave_out(field: Field, folds: Ints | None = None) -> Kriged:
    """Leave-one-out mean and variance of every observation, shape (m,): predicted without those of its site or fold.

    The variance is that of the observation, its noise and error included, so that (z - mean) / sqrt(variance) is
    standardised. Exact without refitting [dubrule1983]; NaN where the rest leaves the trend open.

    Parameters
    ----------
    field : Field
        From `condition` or `integrate`.
    folds : Ints | None
        (m,) fold of each observation, the same for all of a site; every site by itself when left out.
    """
    seen, fold_of_site = field.data.observations, np.arange(len(field.data.xy_m))
    if folds is not None:
        fold_of_site[seen.site] = np.unique(folds, return_inverse=True)[1]
    mean, variance = leave_out_sites(field.mixture, fold_of_site)
    noise = seen.variance(float(field.mixture.weight @ field.mixture.noise))
    return _of_field(field, Kriged(mean=mean[seen.site], variance=variance[seen.site] + noise))


@one_blas_thread()
def simulate(  # noqa: PLR0917
    field: Field, x_m: ArrayLike, y_m: ArrayLike, n_draws: int, seed: int, trend: ArrayLike | None = None
) -> Floats:
    """Conditional draws of the field at m points, joint over them, shape (n_draws, m); the same seed, the same draws.

    Raises
    ------
    HardpanError
        More than 4,000 points that do not lie on a lattice of square cells.
    """
    places, rng = _places(x_m, y_m), np.random.default_rng(seed)
    draws = draw_mixture(field.mixture, places, _columns(field.data, trend, (len(places),)), n_draws, rng)
    return np.asarray(field.data.centre + field.data.scale * draws)


def _places(x_m: ArrayLike, y_m: ArrayLike) -> Floats:
    return np.column_stack([np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float)])


def _columns(data: Data, trend: ArrayLike | None, shape: tuple[int, ...]) -> Floats:
    """Trend columns (*shape, p) at the targets, scaled as those of the sites."""
    given = np.empty((*shape, 0)) if trend is None else np.asarray(trend, dtype=float).reshape(*shape, -1)
    wanted = len(data.trend_scale) - int(data.constant)
    if given.shape[-1] != wanted:
        raise HardpanError(
            what=f"{given.shape[-1]} covariates at the targets",
            where="kriging",
            right=f"{wanted}, as at the observations",
        )
    if not wanted:
        return np.broadcast_to(1.0 / data.trend_scale, (*shape, len(data.trend_scale)))
    return np.concatenate([np.ones((*shape, int(data.constant))), given], axis=-1) / data.trend_scale


def _of_field(field: Field, kriged: Kriged) -> Kriged:
    """The prediction in the units of the observations."""
    scale = field.data.scale
    return Kriged(
        mean=field.data.centre + scale * kriged.mean,
        variance=scale**2 * kriged.variance,
        mean_error=scale * kriged.mean_error,
        variance_error=scale**2 * kriged.variance_error,
    )
