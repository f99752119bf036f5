"""Joint conditional draws of every variable on the nodes."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.geostat import draw_mixture
from hardpan.surfaces.clay import ClayDepth
from hardpan.surfaces.domain import LEAST_THICKNESS_MM, NEGATIVE_SPECTRUM, Domain
from hardpan.surfaces.variables import FittedField, stream_of


def draw_fields(
    fields: Mapping[str, FittedField], domain: Domain, n_draws: int, *, seed: int, threads: int
) -> dict[str, Floats]:
    """Draws (n_draws, n_nodes) of every field, in the variable's scaled units.

    Each draw has its own covariance parameters, trend and readings that fit the bounds, so that their spread is that
    of the maps; a field that depends on the strength follows the strength of the same draw.
    """

    def draw(name: str, strength: Floats | None = None) -> Floats:
        rng = stream_of(name, seed)
        mixture, nodes = fields[name].mixture, domain.nodes
        drawn = draw_mixture(
            mixture, nodes.xy_m, nodes.trend, n_draws, rng, negative=NEGATIVE_SPECTRUM, drawn_column=strength
        )
        return drawn + rng.standard_normal(drawn.shape) if fields[name].variable.binary else drawn

    with ThreadPoolExecutor(max_workers=threads) as pool:
        running = {name: pool.submit(draw, name) for name, field in fields.items() if not field.on_strength}
        out = {name: future.result() for name, future in running.items()}
    return {name: out[name] if name in out else draw(name, out["peak"]) for name in fields}


def compose_draws(
    drawn: Mapping[str, Floats], fields: Mapping[str, FittedField], clay: ClayDepth, domain: Domain
) -> xr.Dataset:
    """Draws as in `Surfaces.draws`: a pan where the latent field plus the chance of one insertion is above zero.

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
            "clay_mm": (dims, clay.draws_mm.astype(np.float32)),
        },
        coords={
            "x_m": ("node", domain.nodes.xy_m[:, 0]),
            "y_m": ("node", domain.nodes.xy_m[:, 1]),
            "soil": ("node", domain.nodes.soil),
            "clay_depth_mm": ("node", _node_means(clay.mean_mm, domain)),
        },
    )


def spread_of_means(draws: xr.Dataset, domain: Domain) -> dict[str, float]:
    """Standard deviation of each map's mean over all cells (`Surfaces.mean_sd`)."""
    of_node = np.bincount(domain.node_of_cell[domain.inside], minlength=draws.sizes["node"])
    share = of_node / of_node.sum()
    drawn = {"pan_probability": "present", "pan_top_mm": "top_mm", "pan_bottom_mm": "bottom_mm", "peak_kpa": "peak_kpa"}
    return {band: float(np.std(draws[name].to_numpy() @ share)) for band, name in drawn.items()}


def share_deeper(draws: xr.Dataset, depths_mm: Sequence[float], domain: Domain) -> xr.DataArray:
    """Share of draws whose bottom lies below each depth, on the grid (`Surfaces.deeper`)."""
    bottom_mm = draws["bottom_mm"].to_numpy()
    of_cell = domain.node_of_cell[domain.inside]
    grids = [domain.on_grid((bottom_mm > depth_mm).mean(axis=0)[of_cell]) for depth_mm in depths_mm]
    return xr.DataArray(
        np.stack(grids) if grids else np.empty((0, *domain.frame.shape)),
        dims=("depth", "y", "x"),
        coords={"depth": list(depths_mm), "y": domain.frame.y_m, "x": domain.frame.x_m},
    )


def _node_means(cells: Floats, domain: Domain) -> Floats:
    """Mean over each node's cells, NaN where none of them has a value."""
    node, known = domain.node_of_cell[domain.inside], np.isfinite(cells)
    count = np.bincount(node, weights=known, minlength=len(domain.nodes.soil))
    total = np.bincount(node, weights=np.where(known, cells, 0.0), minlength=len(domain.nodes.soil))
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)
