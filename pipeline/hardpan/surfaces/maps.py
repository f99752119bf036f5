"""Cell means and standard deviations from the fitted fields."""

from collections.abc import Mapping

import numpy as np
import xarray as xr
from scipy.special import ndtr

from hardpan.core.arrays import Floats
from hardpan.core.threads import Progress, share_of
from hardpan.geostat import KrigingGrid, krige_cells
from hardpan.surfaces.clay import ClayDepth
from hardpan.surfaces.domain import LEAST_THICKNESS_MM, Domain
from hardpan.surfaces.variables import FittedField, Moments

_TOLERANCE = 1e-4
"""Share of a variable's spread that compression may change: a hundredth of a millimetre, under any reading."""


def map_fields(
    fields: Mapping[str, FittedField], domain: Domain, *, block_m: float | None, threads: int, progress: Progress
) -> dict[str, Moments]:
    """Mean and variance of every field over every cell inside.

    The structure is averaged over the cell (`block_m` its side, None for the point in its middle). Micro-scale is the
    ground of one site, a few metres across as a cell is, and stays. A field on strength must come after `peak`.
    """
    out: dict[str, Moments] = {}
    frame, inside = domain.frame, domain.inside
    for done, (name, field) in enumerate(fields.items()):
        trend = domain.cells.trend
        if field.on_strength:
            trend = np.column_stack([trend, out["peak"][0]])
        grid = np.full((*frame.shape, trend.shape[1]), np.nan)
        grid[inside] = trend
        kriged = krige_cells(
            field.mixture,
            KrigingGrid(x_m=frame.x_m, y_m=frame.y_m, inside=inside, trend=grid, block_m=block_m),
            micro_in_blocks=True,
            tolerance=_TOLERANCE,
            threads=threads,
            progress=share_of(progress, done, len(fields)),
        )
        mean, variance = kriged.mean[inside], kriged.variance[inside]
        if field.on_strength:
            variance = variance + _slope_square(field) * out["peak"][1]
        out[name] = mean, variance
    return out


def _slope_square(field: FittedField) -> float:
    """Mean square of the coefficient of strength."""
    found = field.mixture.posterior
    return float(field.mixture.weight @ (found.beta[:, -1] ** 2 + found.beta_cov[:, -1, -1]))


def compose_maps(
    cells: Mapping[str, Moments], fields: Mapping[str, FittedField], clay: ClayDepth, domain: Domain
) -> xr.Dataset:
    """Maps as in `Surfaces.maps`: depths in mm, the peak's mean from its logarithm's, top above bottom, NaN outside.

    Depths are NaN everywhere when no pan was met.
    """
    nothing = np.full(len(clay.mean_mm), np.nan)
    values: dict[str, Floats] = {"pan_probability": probability(*cells["pan"])}
    for name in ("top", "bottom"):
        mean, sd = unscale(fields[name], cells[name]) if name in fields else (nothing, nothing)
        values |= {f"pan_{name}_mm": mean, f"pan_{name}_sd_mm": sd}
    values["pan_bottom_mm"] = np.maximum(values["pan_bottom_mm"], LEAST_THICKNESS_MM)
    values["pan_top_mm"] = np.clip(values["pan_top_mm"], 0.0, values["pan_bottom_mm"] - LEAST_THICKNESS_MM)
    centre, sd = unscale(fields["peak"], cells["peak"]) if "peak" in fields else (nothing, nothing)
    values["peak_kpa"] = np.minimum(np.exp(centre + 0.5 * sd**2), _highest_kpa(fields))
    values["peak_sd_kpa"] = values["peak_kpa"] * np.sqrt(np.expm1(sd**2))
    values |= {"clay_depth_mm": clay.mean_mm, "clay_depth_sd_mm": clay.sd_mm, "soil": domain.cells.soil.astype(float)}
    return xr.Dataset(
        {name: (("y", "x"), domain.on_grid(cell)) for name, cell in values.items()},
        coords={"y": domain.frame.y_m, "x": domain.frame.x_m},
    )


def _highest_kpa(fields: Mapping[str, FittedField]) -> float:
    """Highest peak read, which no mean may exceed; infinite where one of them is but a lower bound."""
    if "peak" not in fields or not fields["peak"].variable.exact.all():
        return float("inf")
    variable = fields["peak"].variable
    return float(np.exp(variable.centre + variable.scale * variable.observations.low.max(initial=-np.inf)))


def unscale(field: FittedField, moments: Moments) -> Moments:
    """Mean and standard deviation in the variable's own units (logarithms for the peak)."""
    variable = field.variable
    return variable.centre + variable.scale * moments[0], variable.scale * np.sqrt(moments[1])


def probability(mean: Floats, variance: Floats) -> Floats:
    """Probability that an insertion finds a pan, from the latent field; in (0, 1)."""
    chance: Floats = ndtr(mean / np.sqrt(1.0 + variance))
    return chance
