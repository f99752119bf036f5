"""Joint conditional draws of every variable on the nodes."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.geostat.covariance import covariance_between
from hardpan.geostat.mixture import Mixture
from hardpan.geostat.parameters import MICRO, SILL, field_covariance
from hardpan.geostat.simulation import draw_on_lattice
from hardpan.surfaces.domain import LEAST_THICKNESS_MM, NEGATIVE_SPECTRUM, Layout
from hardpan.surfaces.variables import Field


def draw_fields(
    fields: Mapping[str, Field], layout: Layout, n_draws: int, *, seed: int, threads: int
) -> dict[str, Floats]:
    """Give draws (n_draws, n_nodes) of every field, in the variable's scaled units.

    Each draw has its own covariance parameters, trend and readings that fit the bounds, so that their spread is that
    of the maps; a field that depends on the strength follows the strength of the same draw.
    """

    def draw(name: str, strength: Floats | None = None) -> Floats:
        rng = np.random.default_rng([seed, list(fields).index(name)])
        drawn = _draw_field(fields[name], layout, strength=strength, n_draws=n_draws, rng=rng)
        return drawn + rng.standard_normal(drawn.shape) if fields[name].variable.binary else drawn

    with ThreadPoolExecutor(max_workers=threads) as pool:
        running = {name: pool.submit(draw, name) for name, field in fields.items() if not field.on_strength}
        out = {name: future.result() for name, future in running.items()}
    return {name: out[name] if name in out else draw(name, out["peak"]) for name in fields}


def compose_draws(
    drawn: Mapping[str, Floats], fields: Mapping[str, Field], clay_mm: Floats, layout: Layout
) -> xr.Dataset:
    """Give `Surfaces.draws`: a pan where the latent field plus the chance of one insertion is above zero.

    Where no pan was met anywhere none is present, and depths are placeholders: no thinner pan is held apart, no peak.
    """
    values = {name: field.variable.centre + field.variable.scale * drawn[name] for name, field in fields.items()}
    nothing = np.zeros_like(drawn["pan"])
    bottom = np.maximum(values.get("bottom", nothing), LEAST_THICKNESS_MM)
    top = np.clip(values.get("top", nothing), 0.0, bottom - LEAST_THICKNESS_MM)
    dims = ("draw", "node")
    return xr.Dataset(
        {
            "present": (dims, (drawn["pan"] > 0) & ("bottom" in fields)),
            "top_mm": (dims, top.astype(np.float32)),
            "bottom_mm": (dims, bottom.astype(np.float32)),
            "peak_kpa": (dims, np.exp(values.get("peak", nothing)).astype(np.float32)),
        },
        coords={
            "x_m": ("node", layout.nodes.xy_m[:, 0]),
            "y_m": ("node", layout.nodes.xy_m[:, 1]),
            "soil": ("node", layout.nodes.soil),
            "clay_depth_mm": ("node", _node_means(clay_mm, layout)),
        },
    )


def _node_means(cells: Floats, layout: Layout) -> Floats:
    """Give the mean over each node's cells, NaN where none of them has a value."""
    node, known = layout.node_of_cell[layout.inside], np.isfinite(cells)
    count = np.bincount(node, weights=known, minlength=len(layout.nodes.soil))
    total = np.bincount(node, weights=np.where(known, cells, 0.0), minlength=len(layout.nodes.soil))
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)


def _draw_field(
    field: Field, layout: Layout, *, strength: Floats | None, n_draws: int, rng: np.random.Generator
) -> Floats:
    mixture, nodes = field.mixture, layout.nodes
    sites_xy = mixture.model.xy_m
    chosen = _choose(mixture.weight, n_draws, rng)
    draws = np.empty((n_draws, len(nodes.xy_m)))
    for j, range_m in enumerate(mixture.ranges_m):
        of = np.flatnonzero(mixture.group[chosen] == j)
        if not len(of):
            continue
        sill, micro = (np.exp(mixture.theta[chosen[of], which])[:, None] for which in (SILL, MICRO))
        shape = mixture.shape(range_m)
        at_nodes, at_sites = np.zeros((len(of), len(nodes.xy_m))), np.zeros((len(of), len(sites_xy)))
        if mixture.model.free[SILL]:
            free = draw_on_lattice(shape, nodes.xy_m, sites_xy, len(of), rng, negative=NEGATIVE_SPECTRUM)
            at_nodes, at_sites = (np.sqrt(sill) * part.T for part in free)
        at_nodes += np.sqrt(micro) * rng.standard_normal(at_nodes.shape)
        at_sites += np.sqrt(micro) * rng.standard_normal(at_sites.shape)
        weights, beta = _condition(mixture, chosen[of], at_sites, rng)
        trend = nodes.trend
        draws[of] = at_nodes + beta[:, : trend.shape[1]] @ trend.T
        draws[of] += (sill * weights) @ covariance_between(shape, sites_xy, nodes.xy_m)
        if strength is not None:
            draws[of] += beta[:, -1:] * strength[of]
    return draws


def _choose(weight: Floats, n_draws: int, rng: np.random.Generator) -> np.ndarray:
    """Give parameter points in proportion to their weight, in random order."""
    at = (np.arange(n_draws) + rng.random()) / n_draws
    return rng.permutation(np.minimum(np.searchsorted(np.cumsum(weight), at), len(weight) - 1))


def _condition(
    mixture: Mixture, chosen: np.ndarray, at_sites: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Give kriging weights (d, n) and trend (d, p) that carry unconditional draws (d, n) over to the readings.

    The draw plus what kriging makes of (readings - draw at the sites - noise) has the field's law given the readings.
    """
    model, found = mixture.model, mixture.posterior
    loose = model.slack > 0
    beta = np.zeros((len(chosen), len(model.slack)))
    beta[:, loose] = rng.standard_normal((len(chosen), int(loose.sum()))) / np.sqrt(model.slack[loose])
    n = at_sites.shape[1]
    precision, total = (model.readings.at_sites(factors[chosen], n) for factors in (found.tau, found.nu))
    total = total - precision * (at_sites + beta @ model.trend.T)
    total -= np.sqrt(precision) * rng.standard_normal(at_sites.shape)
    points, which = np.unique(chosen, return_inverse=True)
    k = field_covariance(model.family, model.xy_m, mixture.theta[points])
    weights = np.empty_like(total)
    for j, point in enumerate(points):
        of = which == j
        w = found.precision[point]
        drive = total[of] - total[of] @ (k[j] @ w)
        moved = drive @ model.trend @ found.beta_cov[point]
        weights[of] = drive - moved @ (w @ model.trend).T
        beta[of] += moved
    return weights, beta
