"""Cell means and standard deviations from the fitted fields."""

from collections.abc import Mapping

import numpy as np
import xarray as xr
from scipy.special import ndtr

from hardpan.core.arrays import Floats
from hardpan.core.progress import Progress, share_of
from hardpan.geostat.dual import mixture_forms
from hardpan.geostat.grids import Grid, evaluate_sum
from hardpan.surfaces.domain import LEAST_THICKNESS_MM, Layout
from hardpan.surfaces.variables import Field, Moments

_TOLERANCE = 1e-4
"""Share of a variable's spread that compression may change: a hundredth of a millimetre, under any reading."""


def map_fields(
    fields: Mapping[str, Field], layout: Layout, *, block_m: float | None, threads: int, progress: Progress
) -> dict[str, Moments]:
    """Give mean and variance of every field over every cell inside.

    The structure is averaged over the cell (`block_m` its side, None for the point in its middle). Micro-scale is the
    ground of one site, a few metres across as a cell is, and stays. A field on strength must come after `peak`.
    """
    out: dict[str, Moments] = {}
    frame, inside = layout.frame, layout.inside
    for done, (name, field) in enumerate(fields.items()):
        trend = layout.cells.trend
        if field.on_strength:
            trend = np.column_stack([trend, out["peak"][0]])
        drift = np.full((*frame.shape, trend.shape[1]), np.nan)
        drift[inside] = trend
        linear, squares = evaluate_sum(
            mixture_forms(field.mixture, block_m),
            Grid(x_m=frame.x_m, y_m=frame.y_m, inside=inside, drift=drift, block_m=block_m),
            tolerance=_TOLERANCE,
            threads=threads,
            progress=share_of(progress, done, len(fields)),
        )
        mean, second = linear[inside, 0], squares[inside, 0]
        variance = second - mean**2
        if field.on_strength:
            variance += _slope_square(field) * out["peak"][1]
        out[name] = mean, np.maximum(variance, 0.0)
    return out


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
