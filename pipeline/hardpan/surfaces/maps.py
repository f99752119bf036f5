"""Cell means and standard deviations from the fitted fields."""

from collections.abc import Mapping

import numpy as np
from scipy.spatial.distance import cdist
from scipy.special import ndtr

from hardpan.core.arrays import Floats
from hardpan.core.progress import Progress
from hardpan.spatial.posterior import RangePart, correlations, range_parts
from hardpan.spatial.tiles import run_tiles
from hardpan.surfaces.layout import Layout, Places
from hardpan.surfaces.variables import Field

_TILE = 1024
"""Cells at once: their correlations with a hundred sites, 0.8 MB, stay in the cache."""


def map_fields(
    fields: Mapping[str, Field], places: Places, layout: Layout, *, threads: int, progress: Progress
) -> dict[str, tuple[Floats, Floats]]:
    """Give mean and variance (m,) of every field at places, in the variable's scaled units.

    A field that depends on the strength must come after `peak`.
    """
    m = len(places.xy_m)
    out = {name: (np.empty(m), np.empty(m)) for name in fields}
    parts = {name: range_parts(field.mixture) for name, field in fields.items()}
    sites = layout.sites.xy_m

    def work(tile: int) -> None:
        cut = slice(tile * _TILE, min((tile + 1) * _TILE, m))
        distances_m = cdist(places.xy_m[cut], sites)
        shapes: dict[float, Floats] = {}
        for name, field in fields.items():
            trend = places.trend[cut]
            if field.on_strength:
                trend = np.column_stack([trend, out["peak"][0][cut]])
            mean, variance = np.zeros(len(trend)), np.zeros(len(trend))
            for part in parts[name]:
                if part.range_m not in shapes:
                    shapes[part.range_m] = correlations(field.mixture.model, part.range_m, distances_m)
                _add(part, np.column_stack([shapes[part.range_m], trend]), mean, variance)
            variance -= mean**2
            if field.on_strength:
                variance += _slope_square(field) * out["peak"][1][cut]
            out[name][0][cut], out[name][1][cut] = mean, np.maximum(variance, 0.0)

    run_tiles(work, -(-m // _TILE), threads=threads, progress=progress)
    return out


def _add(part: RangePart, u: Floats, mean: Floats, second: Floats) -> None:
    mean += u @ part.linear
    second += part.sill + part.micro + np.einsum("ij,ij->i", u @ part.quadratic, u)


def _slope_square(field: Field) -> float:
    """Give the mean square of the coefficient of strength."""
    found = field.mixture.posterior
    return float(field.mixture.weight @ (found.beta[:, -1] ** 2 + found.beta_cov[:, -1, -1]))


def probability(mean: Floats, variance: Floats) -> Floats:
    """Give the probability that an insertion finds a pan, from the latent field; in (0, 1)."""
    chance: Floats = ndtr(mean / np.sqrt(1.0 + variance))
    return chance
