"""Conditional simulation: joint draws of a field given its observations.

A free draw has the field's covariance at nodes and sites alike. Adding what kriging makes of (observations - free draw
at the sites - a draw of the noise) gives it the law of the field given the observations, the doubt of the trend
included.
"""

import numpy as np
from scipy.fft import fft2, ifft2, next_fast_len
from scipy.linalg import cholesky
from scipy.spatial import cKDTree

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.geostat.covariance import COINCIDENT_M, Covariance, covariance_at, covariance_between
from hardpan.geostat.mixture import Mixture
from hardpan.geostat.noise import BETWEEN, ERRORS, LATTICE, NODES, SITES, TREND, Noise

_DENSE = 4000
"""Nodes up to which one Cholesky factor (128 MB) makes the draws, wherever the nodes lie."""

MOST_TORUS = 2e7
"""Nodes of a torus that is grown for a better spectrum: 1.2 GB."""

_AROUND = 6
"""A datum between nodes is drawn given the nearest 6 x 6 of them: those behind are screened."""


def draw_mixture(
    mixture: Mixture,
    nodes_xy: Floats,
    trend: Floats,
    n_draws: int,
    rng: np.random.Generator,
    *,
    negative: float = 1e-6,
    drawn_column: Floats | None = None,
) -> Floats:
    """Conditional draws of the field at m nodes, shape (n_draws, m).

    Each draw has its own covariance, trend and values of the intervals, so that their spread is that of the kriged map.

    Parameters
    ----------
    mixture : Mixture
        The field given its observations.
    nodes_xy, trend : Floats
        (m, 2) nodes and (m, p) trend columns there; above 4,000 they must lie on a lattice of square cells, in any
        order, gaps allowed.
    n_draws : int
        Number of draws.
    rng : np.random.Generator
        The same state gives the same draws, and draws that compare: those of other data or another covariance differ by
        what these change.
    negative : float
        As in `draw_on_lattice`.
    drawn_column : Floats | None
        (n_draws, m) a last trend column that is itself drawn, beyond those of `trend`.

    Raises
    ------
    HardpanError
        More than 4,000 nodes that do not lie on a lattice.

    Examples
    --------
    A field of variance 4 about a known mean of 0, far from its only datum:

    >>> from hardpan import geostat
    >>> one = geostat.Structure(family="spherical", sill=4.0, length_m=50.0)
    >>> data = geostat.observe([0.0], [0.0], [1.0], constant=False)
    >>> field = geostat.condition(data, geostat.Covariance(structures=(one,)))
    >>> draws = geostat.simulate(field, [900.0], [0.0], n_draws=4000, seed=1)
    >>> draws.shape, bool(abs(draws.std() - 2.0) < 0.1)
    ((4000, 1), True)
    """
    chosen, noise = _choose(mixture.weight, n_draws, rng), Noise.seeded(rng, n_draws)
    at_data = noise.at(SITES, mixture.xy_m), noise.at(ERRORS, mixture.xy_m)
    of_trend = noise.each(TREND, mixture.trend.shape[1])
    apart, site_of = cKDTree(mixture.xy_m).query(nodes_xy)
    at_site = np.flatnonzero(apart <= COINCIDENT_M)
    draws = np.empty((n_draws, len(nodes_xy)))
    for j, shape in enumerate(mixture.correlations):
        of = np.flatnonzero(mixture.which[chosen] == j)
        if not len(of):
            continue
        sill, micro = mixture.sill[chosen[of], None], mixture.micro[chosen[of], None]
        at_nodes, at_sites = np.zeros((len(of), len(nodes_xy))), np.zeros((len(of), len(mixture.xy_m)))
        if mixture.is_spatial:
            free = _draw_free(shape, nodes_xy, mixture.xy_m, noise.only(of), negative)
            at_nodes, at_sites = (np.sqrt(sill) * part.T for part in free)
        of_nodes = np.sqrt(micro) * noise.only(of).each(NODES, len(nodes_xy))
        of_sites = np.sqrt(micro) * at_data[0][of]
        of_nodes[:, at_site] = of_sites[:, site_of[at_site]]
        weights, beta = _condition(mixture, chosen[of], at_sites + of_sites, at_data[1][of], of_trend[of])
        draws[of] = at_nodes + of_nodes + beta[:, : trend.shape[1]] @ trend.T
        draws[of] += (sill * weights) @ covariance_between(shape, mixture.xy_m, nodes_xy)
        draws[np.ix_(of, at_site)] += micro * weights[:, site_of[at_site]]
        if drawn_column is not None:
            draws[of] += beta[:, -1:] * drawn_column[of]
    return draws


def _choose(weight: Floats, n_draws: int, rng: np.random.Generator) -> Ints:
    """Covariances in proportion to their weight, in random order, shape (n_draws,)."""
    at = (np.arange(n_draws) + rng.random()) / n_draws
    return rng.permutation(np.minimum(np.searchsorted(np.cumsum(weight), at), len(weight) - 1))


def _draw_free(
    shape: Covariance, nodes_xy: Floats, sites_xy: Floats, noise: Noise, negative: float
) -> tuple[Floats, Floats]:
    """Unconditional draws of the structures at nodes (m, d) and sites (n, d)."""
    if len(nodes_xy) > _DENSE or _lattice_of(nodes_xy) is not None:
        return draw_on_lattice(shape, nodes_xy, sites_xy, noise, negative=negative)
    return draw_exactly(shape, nodes_xy, sites_xy, noise)


def _condition(
    mixture: Mixture, chosen: Ints, at_sites: Floats, errors: Floats, of_trend: Floats
) -> tuple[Floats, Floats]:
    """Dual weights (d, n) and trend (d, p) that carry unconditional draws (d, n) over to the observations.

    `errors` (d, n) and `of_trend` (d, p) are standard normals.
    """
    trend_precision, found = mixture.trend_precision, mixture.posterior
    proper = trend_precision > 0
    beta = np.zeros((len(chosen), len(trend_precision)))
    beta[:, proper] = of_trend[:, proper] / np.sqrt(trend_precision[proper])
    n = at_sites.shape[1]
    precision, total = (mixture.observations.sum_by_site(factors[chosen], n) for factors in (found.tau, found.nu))
    variance = 1.0 / np.where(precision > 0, precision, np.inf)
    gap = variance * total - at_sites - beta @ mixture.trend.T
    gap -= np.sqrt(variance) * errors
    weights = np.empty_like(gap)
    for component in np.unique(chosen):
        of, w = chosen == component, found.precision[component]
        untrended = gap[of] @ w
        moved = untrended @ mixture.trend @ found.beta_cov[component]
        weights[of] = untrended - moved @ (w @ mixture.trend).T
        beta[of] += moved
    return weights, beta


def draw_exactly(covariance: Covariance, nodes_xy: Floats, data_xy: Floats, noise: Noise) -> tuple[Floats, Floats]:
    """Unconditional draws of the structures at nodes (m, d) and data (n, d), by Cholesky factor."""
    places = np.vstack([nodes_xy, data_xy])
    both = covariance_between(covariance, places, places)
    # nodes and data may coincide; 1e-9 of the sill keeps the factor real and is far below the spread of any draw
    both[np.diag_indices_from(both)] += 1e-9 * max(covariance.structured_sill, 1e-300)
    drawn = cholesky(both, lower=True, overwrite_a=True, check_finite=False) @ noise.each(LATTICE, len(places)).T
    return drawn[: len(nodes_xy)], drawn[len(nodes_xy) :]


def draw_on_lattice(
    covariance: Covariance, nodes_xy: Floats, data_xy: Floats, noise: Noise, *, negative: float = 1e-6
) -> tuple[Floats, Floats]:
    """Unconditional draws as of `draw_exactly`, by circulant embedding [dietrich1997] on the lattice of the nodes.

    White noise of the lattice is filtered by the root of the covariance, so that draws of two covariances compare.

    Parameters
    ----------
    noise : Noise
        Of the draws.
    negative : float
        Share of the spectrum that may be negative, and is then left out, before the torus is doubled.

    Raises
    ------
    HardpanError
        The nodes do not lie on a lattice of square cells.
    """
    lattice = _lattice_of(nodes_xy)
    if lattice is None:
        raise HardpanError(
            what=f"{len(nodes_xy)} nodes of a simulation do not lie on a lattice of square cells",
            where="conditional simulation",
            right=f"a regular lattice, or at most {_DENSE} nodes",
        )
    origin, step_m = lattice
    reach = np.vstack([nodes_xy, data_xy])
    margin = _AROUND // 2
    inner = np.rint((nodes_xy.max(axis=0) - origin) / step_m).astype(np.int64) + 1
    low = np.floor((reach.min(axis=0) - origin) / step_m).astype(np.int64) - margin
    shape = np.ceil((reach.max(axis=0) - origin) / step_m).astype(np.int64) + margin + 1 - low
    origin = origin + low * step_m
    at = np.rint((nodes_xy - origin) / step_m).astype(np.int64)
    around, weights, spread = _weights_between(covariance, data_xy, origin, step_m, shape)
    root = _spectral_root(covariance, step_m, shape, negative).astype(np.float32)
    of_nodes = (slice(-low[0], inner[0] - low[0]), slice(-low[1], inner[1] - low[1]))
    numbers = noise.draws.tolist()
    at_nodes, at_data = np.empty((len(numbers), len(nodes_xy))), np.empty((len(numbers), len(data_xy)))
    pair = np.zeros(root.shape, dtype=np.complex64)  # two draws at once; seven digits are more than they can show
    for first in range(0, len(numbers), 2):
        for part, number in zip((pair.real, pair.imag), numbers[first : first + 2], strict=False):
            part[:] = noise.on_torus(number, root.shape, of_nodes)
        fields = ifft2(root * fft2(pair))
        for draw, field in zip(range(first, len(numbers)), (fields.real, fields.imag), strict=False):
            at_nodes[draw] = field[at[:, 0], at[:, 1]]
            at_data[draw] = np.sum(weights * field[around[..., 0], around[..., 1]], axis=1)
    at_data += spread * noise.at(BETWEEN, data_xy)
    return at_nodes.T, at_data.T


def _lattice_of(nodes_xy: Floats) -> tuple[Floats, float] | None:
    """Corner and step (m) of the lattice the nodes lie on, None where they lie on none."""
    corner = nodes_xy.min(axis=0)
    along = np.unique(np.round(np.concatenate([nodes_xy[:, 0] - corner[0], nodes_xy[:, 1] - corner[1]]), 6))
    steps = np.diff(along)
    step_m = float(steps[steps > 1e-3].min(initial=np.inf))
    if not np.isfinite(step_m):  # a single node
        return None
    off = (nodes_xy - corner) / step_m
    return (corner, step_m) if np.abs(off - np.rint(off)).max() < 1e-3 else None


def _spectral_root(covariance: Covariance, step_m: float, shape: Ints, negative: float) -> Floats:
    """Square root of the covariance's spectrum on a torus at least twice the lattice: a filter of white noise.

    The torus grows until no more than `negative` of the spectrum is so, at most to eight times the lattice and to
    `MOST_TORUS` nodes; what still is then is set to 0 and the variance restored.
    """
    for times in (2, 3, 4, 8):
        size = [next_fast_len(int(times * n)) for n in shape]
        if times > 2 and np.prod(size) > MOST_TORUS:
            break
        lags = [(np.arange(n) + n // 2) % n - n // 2 for n in size]
        offsets = np.stack(np.meshgrid(lags[0] * step_m, lags[1] * step_m, indexing="ij"), axis=-1)
        spectrum = fft2(covariance_at(covariance, offsets)).real
        if -spectrum[spectrum < 0].sum() <= negative * spectrum.sum():
            break
    spectrum = np.maximum(spectrum, 0.0)
    root: Floats = np.sqrt(spectrum * (spectrum.size * covariance.structured_sill / max(spectrum.sum(), 1e-300)))
    return root


def _weights_between(
    covariance: Covariance, data_xy: Floats, origin: Floats, step_m: float, shape: Ints
) -> tuple[Ints, Floats, Floats]:
    """Nodes (n, 36, 2) about each datum, their kriging weights (n, 36) and the sd they leave (n,)."""
    sill = covariance.structured_sill
    position = (data_xy - origin) / step_m
    first = np.clip(np.floor(position).astype(np.int64) - _AROUND // 2 + 1, 0, shape - _AROUND)
    square = np.stack(np.meshgrid(np.arange(_AROUND), np.arange(_AROUND)), axis=-1).reshape(-1, 2)
    around: Ints = first[:, None, :] + square
    nodes = square.astype(np.float64) * step_m
    among = covariance_between(covariance, nodes, nodes)
    among[np.diag_indices_from(among)] += 1e-9 * max(sill, 1e-300)
    onto = covariance_at(covariance, (around - position[:, None, :]) * step_m)
    weights = np.linalg.solve(among, onto.T).T.astype(np.float64)
    spread: Floats = np.sqrt(np.maximum(sill - np.sum(weights * onto, axis=1), 0.0))
    return around, weights, spread
