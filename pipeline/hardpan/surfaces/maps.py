"""Cell means and standard deviations from the fitted fields, and joint conditional draws of them on the nodes."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import xarray as xr
from scipy.special import ndtr

from hardpan.core.arrays import Floats
from hardpan.core.threads import Progress, share_of
from hardpan.geostat import KrigingGrid, draw_mixture, krige_cells
from hardpan.surfaces.clay import ClayDepth
from hardpan.surfaces.domain import LEAST_THICKNESS_MM, NEGATIVE_SPECTRUM, Domain
from hardpan.surfaces.variables import FittedField, Moments, stream_of

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
    drawn: dict[str, Floats], fields: Mapping[str, FittedField], clay: ClayDepth, domain: Domain
) -> xr.Dataset:
    """Draws as in `Surfaces.draws`: a pan where the latent field plus the chance of one insertion is above zero.

    Where no pan was met anywhere none is present, and depths are placeholders: no thinner pan is held apart, no peak.
    `drawn` is emptied, as a run holds most of its memory here.
    """
    present = (drawn.pop("pan") > 0) & ("bottom" in fields)

    def unscaled(name: str) -> Floats:
        if name not in fields:
            return np.zeros(present.shape)
        variable = fields[name].variable
        return np.asarray(variable.centre + variable.scale * drawn.pop(name))

    bottom = np.maximum(unscaled("bottom"), LEAST_THICKNESS_MM)
    top = np.clip(unscaled("top"), 0.0, bottom - LEAST_THICKNESS_MM)
    dims = ("draw", "node")
    return xr.Dataset(
        {
            "present": (dims, present),
            "top_mm": (dims, top.astype(np.float32)),
            "bottom_mm": (dims, bottom.astype(np.float32)),
            "peak_kpa": (dims, np.exp(unscaled("peak")).astype(np.float32)),
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
