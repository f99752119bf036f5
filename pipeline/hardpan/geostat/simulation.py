"""Conditional draws of the field, joint over the nodes: free draws that kriging carries over to the data.

A free draw has the field's covariance at nodes and data alike. Adding what kriging makes of (data - free draw at the
data - a draw of the noise) gives it the mean and the variance of kriging, the uncertainty of the trend included.
"""

import numpy as np
from scipy.fft import fft2, next_fast_len
from scipy.linalg import cholesky
from scipy.spatial import cKDTree

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import HardpanError
from hardpan.core.threads import one_blas_thread
from hardpan.geostat.covariance import Covariance, covariance_between, evaluate, structured_sill
from hardpan.geostat.points import predict
from hardpan.geostat.system import COINCIDENT_M, System

_DENSE = 4000
"""Nodes up to which one Cholesky factor (128 MB) makes the draws, wherever the nodes lie."""

MOST_TORUS = 2e7
"""Nodes of a torus that is grown for a better spectrum: 1.2 GB."""

_AROUND = 6
"""A datum between nodes is drawn given the nearest 6 x 6 of them: those behind are screened."""


def draw_conditional(  # noqa: PLR0917
    system: System, values: Floats, targets_xy: Floats, target_drift: Floats, n_draws: int, seed: int
) -> Floats:
    """Give draws (n_draws, k) of the field at k nodes, given the data.

    Parameters
    ----------
    system : System
        From `factorise`.
    values : Floats
        (n,), or (n, n_draws) where each draw goes with its own values.
    targets_xy, target_drift : Floats
        (k, 2) and (k, p) nodes; above 4,000 they must lie on a regular lattice, in any order, gaps allowed.
    n_draws, seed : int
        The same seed gives the same draws.

    Raises
    ------
    HardpanError
        More than 4,000 nodes that do not lie on a lattice.
    """
    rng = np.random.default_rng(seed)
    free = draw_exactly if len(targets_xy) <= _DENSE else draw_on_lattice
    with one_blas_thread():
        at_nodes, at_data = free(system.covariance, targets_xy, system.xy_m, n_draws, rng)
    _add_micro(system, targets_xy, at_nodes, at_data, rng)
    at_data += np.sqrt(system.noise)[:, None] * rng.standard_normal(at_data.shape)
    gap = values.reshape(len(values), -1) - at_data
    draws: Floats = (at_nodes + predict(system, gap, targets_xy, target_drift, variance=False).mean).T
    return draws


def _add_micro(system: System, nodes_xy: Floats, at_nodes: Floats, at_data: Floats, rng: np.random.Generator) -> None:
    """Add the micro-scale: one value a site, one a node, the site's where a node is the place of a datum."""
    if not system.covariance.micro:
        return
    sd = np.sqrt(system.covariance.micro)
    _, site = np.unique(system.site, return_inverse=True)
    of_sites = sd * rng.standard_normal((int(site.max()) + 1, at_data.shape[1]))
    of_nodes = sd * rng.standard_normal(at_nodes.shape)
    apart, datum = cKDTree(system.xy_m).query(nodes_xy)
    same = apart <= COINCIDENT_M
    of_nodes[same] = of_sites[site[datum[same]]]
    at_nodes += of_nodes
    at_data += of_sites[site]


def draw_exactly(
    covariance: Covariance, nodes_xy: Floats, data_xy: Floats, n_draws: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Give draws of the structures, mean 0 and without data, at nodes (k, n_draws) and data (n, n_draws)."""
    places = np.vstack([nodes_xy, data_xy])
    both = covariance_between(covariance, places, places)
    # nodes and data may coincide; 1e-9 of the sill keeps the factor real and is far below the spread of any draw
    both[np.diag_indices_from(both)] += 1e-9 * max(structured_sill(covariance), 1e-300)
    drawn = cholesky(both, lower=True, overwrite_a=True, check_finite=False) @ rng.standard_normal(
        (len(places), n_draws)
    )
    return drawn[: len(nodes_xy)], drawn[len(nodes_xy) :]


def draw_on_lattice(
    covariance: Covariance,
    nodes_xy: Floats,
    data_xy: Floats,
    n_draws: int,
    rng: np.random.Generator,
    *,
    negative: float = 1e-6,
) -> tuple[Floats, Floats]:
    """Give what `draw_exactly` gives, by circulant embedding [dietrich1997] on the lattice of the nodes.

    Parameters
    ----------
    negative : float
        Share of the spectrum that may be negative, and is then left out, before the torus is doubled.

    Raises
    ------
    HardpanError
        The nodes do not lie on a lattice of square cells.
    """
    origin, step_m = _lattice_of(nodes_xy)
    reach = np.vstack([nodes_xy, data_xy])
    margin = _AROUND // 2
    low = np.floor((reach.min(axis=0) - origin) / step_m).astype(np.int64) - margin
    shape = np.ceil((reach.max(axis=0) - origin) / step_m).astype(np.int64) + margin + 1 - low
    origin = origin + low * step_m
    at = np.rint((nodes_xy - origin) / step_m).astype(np.int64)
    around, weights, spread = _weights_between(covariance, data_xy, origin, step_m, shape)
    root = _spectral_root(covariance, step_m, shape, negative).astype(np.float32)
    at_nodes, at_data = np.empty((n_draws, len(nodes_xy))), np.empty((n_draws, len(data_xy)))
    for first in range(0, n_draws, 2):
        noise = rng.standard_normal((*root.shape, 2), dtype=np.float32)  # seven digits are more than draws can show
        pair = fft2(root * noise.view(np.complex64)[..., 0])
        for draw, field in zip(range(first, n_draws), (pair.real, pair.imag), strict=False):
            at_nodes[draw] = field[at[:, 0], at[:, 1]]
            at_data[draw] = np.sum(weights * field[around[..., 0], around[..., 1]], axis=1)
    at_data += spread * rng.standard_normal(at_data.shape)
    return at_nodes.T, at_data.T


def _lattice_of(nodes_xy: Floats) -> tuple[Floats, float]:
    """Give the corner and step of the lattice the nodes lie on."""
    corner = nodes_xy.min(axis=0)
    along = np.unique(np.round(np.concatenate([nodes_xy[:, 0] - corner[0], nodes_xy[:, 1] - corner[1]]), 6))
    steps = np.diff(along)
    step_m = float(steps[steps > 1e-3].min(initial=np.inf))
    off = (nodes_xy - corner) / step_m
    if not np.abs(off - np.rint(off)).max() < 1e-3:
        raise HardpanError(
            what=f"{len(nodes_xy)} nodes of a simulation do not lie on a lattice of square cells",
            where="conditional simulation",
            right=f"a regular lattice, or at most {_DENSE} nodes",
        )
    return corner, step_m


def _spectral_root(covariance: Covariance, step_m: float, shape: Ints, negative: float) -> Floats:
    """Give the square root of the covariance's spectrum on a torus at least twice the lattice.

    The torus grows until no more than `negative` of the spectrum is so, at most to eight times the lattice and to
    `MOST_TORUS` nodes; what still is then is set to 0 and the variance restored.
    """
    for times in (2, 3, 4, 8):
        size = [next_fast_len(int(times * n)) for n in shape]
        if times > 2 and np.prod(size) > MOST_TORUS:
            break
        lags = [(np.arange(n) + n // 2) % n - n // 2 for n in size]
        offsets = np.stack(np.meshgrid(lags[0] * step_m, lags[1] * step_m, indexing="ij"), axis=-1)
        spectrum = fft2(evaluate(covariance, offsets)).real
        if -spectrum[spectrum < 0].sum() <= negative * spectrum.sum():
            break
    spectrum = np.maximum(spectrum, 0.0)
    root: Floats = np.sqrt(spectrum * (structured_sill(covariance) / max(spectrum.sum(), 1e-300)))
    return root


def _weights_between(
    covariance: Covariance, data_xy: Floats, origin: Floats, step_m: float, shape: Ints
) -> tuple[Ints, Floats, Floats]:
    """Give the nodes (n, 36, 2) about each datum, their kriging weights (n, 36) and the sd they leave (n,)."""
    sill = structured_sill(covariance)
    position = (data_xy - origin) / step_m
    first = np.clip(np.floor(position).astype(np.int64) - _AROUND // 2 + 1, 0, shape - _AROUND)
    square = np.stack(np.meshgrid(np.arange(_AROUND), np.arange(_AROUND)), axis=-1).reshape(-1, 2)
    around: Ints = first[:, None, :] + square
    nodes = square.astype(np.float64) * step_m
    among = covariance_between(covariance, nodes, nodes)
    among[np.diag_indices_from(among)] += 1e-9 * max(sill, 1e-300)
    onto = evaluate(covariance, (around - position[:, None, :]) * step_m)
    weights = np.linalg.solve(among, onto.T).T.astype(np.float64)
    spread: Floats = np.sqrt(np.maximum(sill - np.sum(weights * onto, axis=1), 0.0))
    return around, weights, spread
