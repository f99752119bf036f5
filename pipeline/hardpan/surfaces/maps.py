"""Cell means and standard deviations from the fitted fields."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from scipy.special import ndtr

from hardpan.core.arrays import Floats, Ints
from hardpan.core.progress import Progress
from hardpan.spatial.covariance import Covariance, covariance_between, evaluate
from hardpan.spatial.posterior import range_parts
from hardpan.spatial.support import block_nodes
from hardpan.spatial.tiles import run_tiles
from hardpan.surfaces.layout import LEAST_THICKNESS_MM, Layout
from hardpan.surfaces.variables import Field

_TILE = 1024
"""Cells at once: their correlations with a hundred sites, 0.8 MB, stay in the cache."""

_NEAR_CELLS = 3.0
"""Nearer than this a cell's mean correlation with a site is integrated; farther it is that of its middle, within
(cell / length)^2 / 24."""

Singles: TypeAlias = NDArray[np.float32]

Moments: TypeAlias = tuple[Floats, Floats]
"""Mean and variance (m,) in the variable's scaled units."""


def map_fields(
    fields: Mapping[str, Field], layout: Layout, *, block_m: float | None, threads: int, progress: Progress
) -> dict[str, Moments]:
    """Give mean and variance of every field over every cell inside.

    The structure is averaged over the cell (`block_m` its side, None for the point in its middle). Micro-scale is the
    ground of one site, a few metres across as a cell is, and stays. A field on strength must come after `peak`.
    """
    cells, sites = layout.cells, layout.sites.xy_m
    m = len(cells.xy_m)
    out = {name: (np.empty(m), np.empty(m)) for name in fields}
    parts = {name: range_parts(field.mixture) for name, field in fields.items()}
    # single precision halves the work; its rounding is a millionth of the sill
    forms = {
        name: [(part.linear.astype(np.float32), part.quadratic.astype(np.float32)) for part in parts[name]]
        for name in parts
    }
    block = _Block.of(block_m)

    def work(tile: int) -> None:
        cut = slice(tile * _TILE, min((tile + 1) * _TILE, m))
        near = np.nonzero(cdist(cells.xy_m[cut], sites) < _NEAR_CELLS * (block_m or 0.0))
        for name, field in fields.items():
            trend = cells.trend[cut]
            if field.on_strength:
                trend = np.column_stack([trend, out["peak"][0][cut]])
            mean, second = np.zeros(len(trend)), np.zeros(len(trend))
            u = np.empty((len(trend), len(sites) + trend.shape[1]), dtype=np.float32)
            u[:, len(sites) :] = trend
            for part, (linear, quadratic) in zip(parts[name], forms[name], strict=True):
                shape = field.mixture.shape(part.range_m)
                u[:, : len(sites)] = block.shape(shape, cells.xy_m[cut], sites, near)
                mean += u @ linear
                second += np.einsum("ij,ij->i", u @ quadratic, u)
                second += part.micro + part.sill * block.within(shape)
            variance = second - mean**2
            if field.on_strength:
                variance += _slope_square(field) * out["peak"][1][cut]
            out[name][0][cut], out[name][1][cut] = mean, np.maximum(variance, 0.0)

    run_tiles(work, -(-m // _TILE), threads=threads, progress=progress)
    return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Block:
    """What a cell stands for: quadrature nodes (q, 2) about its middle and their weights."""

    nodes: Floats
    weights: Floats

    @classmethod
    def of(cls, block_m: float | None) -> "_Block":
        nodes, weights = block_nodes(block_m)
        return cls(nodes=nodes, weights=weights)

    def shape(self, shape: Covariance, cells_xy: Floats, sites_xy: Floats, near: tuple[Ints, ...]) -> Floats:
        """Give the mean correlation of cells with sites (m, n)."""
        c = covariance_between(shape, cells_xy, sites_xy)
        offsets = cells_xy[near[0]] - sites_xy[near[1]]
        c[near] = evaluate(shape, offsets[:, None] + self.nodes) @ self.weights
        return c

    def within(self, shape: Covariance) -> float:
        """Give the mean correlation between two points of a cell."""
        return float(self.weights @ covariance_between(shape, self.nodes, self.nodes) @ self.weights)


def _slope_square(field: Field) -> float:
    """Give the mean square of the coefficient of strength."""
    found = field.mixture.posterior
    return float(field.mixture.weight @ (found.beta[:, -1] ** 2 + found.beta_cov[:, -1, -1]))


def compose_maps(
    cells: Mapping[str, Moments], fields: Mapping[str, Field], clay_mm: Floats, layout: Layout
) -> xr.Dataset:
    """Give `Surfaces.maps`: depths in mm, the peak's mean from its logarithm's, top above bottom, NaN outside.

    Depths are NaN everywhere when no pan was met.
    """
    nothing = np.full(len(clay_mm), np.nan)
    values: dict[str, Floats] = {"pan_probability": probability(*cells["pan"])}
    for name in ("top", "bottom"):
        mean, sd = unscale(fields[name], cells[name]) if name in fields else (nothing, nothing)
        values |= {f"pan_{name}_mm": mean, f"pan_{name}_sd_mm": sd}
    values["pan_bottom_mm"] = np.maximum(values["pan_bottom_mm"], LEAST_THICKNESS_MM)
    values["pan_top_mm"] = np.clip(values["pan_top_mm"], 0.0, values["pan_bottom_mm"] - LEAST_THICKNESS_MM)
    centre, sd = unscale(fields["peak"], cells["peak"]) if "peak" in fields else (nothing, nothing)
    values["peak_kpa"] = np.exp(centre + 0.5 * sd**2)
    values["peak_sd_kpa"] = values["peak_kpa"] * np.sqrt(np.expm1(sd**2))
    values |= {"clay_depth_mm": clay_mm, "soil": layout.cells.soil.astype(float)}
    return xr.Dataset(
        {name: (("y", "x"), layout.on_grid(cell)) for name, cell in values.items()},
        coords={"y": layout.frame.y_m, "x": layout.frame.x_m},
    )


def unscale(field: Field, moments: Moments) -> Moments:
    """Give mean and standard deviation in the variable's own units (logarithms for the peak)."""
    variable = field.variable
    return variable.centre + variable.scale * moments[0], variable.scale * np.sqrt(moments[1])


def probability(mean: Floats, variance: Floats) -> Floats:
    """Give the probability that an insertion finds a pan, from the latent field; in (0, 1)."""
    chance: Floats = ndtr(mean / np.sqrt(1.0 + variance))
    return chance
