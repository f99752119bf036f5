"""Pan features in, maps with uncertainty out."""

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.core.progress import Progress, silent
from hardpan.records.pan import PanFeatures
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey
from hardpan.surfaces.clay import map_clay
from hardpan.surfaces.draws import draw_fields
from hardpan.surfaces.fields import fit_fields
from hardpan.surfaces.ground import lay_out
from hardpan.surfaces.layout import Layout
from hardpan.surfaces.maps import map_fields, probability
from hardpan.surfaces.readings import read_bottom, read_peak, read_presence, read_top
from hardpan.surfaces.report import describe_models, verdict_of
from hardpan.surfaces.scores import score_fields
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.variables import Field, Variable

_LEAST_THICKNESS_MM = 25.0
"""A pan thinner than a reading step was not seen; draws keep top and bottom this far apart."""


def map_pan(
    pan: PanFeatures, survey: Survey, settings: SurfaceSettings, *, seed: int, progress: Progress = silent
) -> Surfaces:
    """Give maps of the pan's presence, top, bottom and peak, their uncertainty, and joint draws.

    Raises
    ------
    InputError
        Fewer than three usable sites, or no insertion that saw the bottom of the pan.
    """
    insertions = _in_order(pan.insertions)
    layout, issues = lay_out(insertions, survey, settings)
    variables = {
        "pan": read_presence(insertions, layout.site_of),
        "peak": read_peak(insertions, layout.site_of),
        "top": read_top(insertions, layout.site_of),
        "bottom": read_bottom(insertions, layout.site_of),
    }
    _refuse_too_little(variables)
    fields, fits = fit_fields(variables, layout, settings)
    cells = map_fields(
        fields,
        layout.cells,
        layout,
        threads=settings.threads,
        progress=progress,
    )
    clay = map_clay(survey, layout)
    scores = score_fields(fields, layout)
    return Surfaces(
        frame=layout.frame,
        inside=layout.inside,
        maps=_maps(cells, fields, clay, layout),
        soil_types=layout.soil_types,
        slices=_no_slices(layout),
        draws=_draws(draw_fields(fields, layout, settings.draws, seed), fields, clay, layout),
        node_of_cell=layout.node_of_cell,
        scores=scores,
        models=describe_models(fits, variables),
        verdict=verdict_of(scores),
        issues=tuple(issues),
    )


def _in_order(insertions: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give the insertions in an order that does not depend on that of the file."""
    keys = pd.DataFrame(
        {
            "x": insertions.geometry.x.to_numpy(),
            "y": insertions.geometry.y.to_numpy(),
            **{name: insertions[name].to_numpy() for name in ("state", "top_mm", "bottom_low_mm", "peak_kpa")},
        }
    )
    return insertions.iloc[keys.sort_values(list(keys.columns), kind="stable").index].reset_index(drop=True)


def _refuse_too_little(variables: dict[str, Variable]) -> None:
    if variables["pan"].n_sites < 3:
        raise InputError(
            what=f"{variables['pan'].n_sites} usable probe sites",
            where="surfaces",
            right="at least 3",
            do="probe more places, or check issues.csv for why insertions were not used",
        )


def _on_grid(values: Floats, layout: Layout) -> Floats:
    grid = np.full(layout.frame.shape, np.nan)
    grid[layout.inside] = values
    return grid


def _maps(
    cells: dict[str, tuple[Floats, Floats]], fields: dict[str, Field], clay: Floats, layout: Layout
) -> xr.Dataset:
    values: dict[str, Floats] = {"pan_probability": probability(*cells["pan"])}
    for name in ("top", "bottom"):
        variable = fields[name].variable
        values[f"pan_{name}_mm"] = variable.centre + variable.scale * cells[name][0]
        values[f"pan_{name}_sd_mm"] = variable.scale * np.sqrt(cells[name][1])
    values["pan_bottom_mm"] = np.maximum(values["pan_bottom_mm"], _LEAST_THICKNESS_MM)
    values["pan_top_mm"] = np.clip(values["pan_top_mm"], 0.0, values["pan_bottom_mm"] - _LEAST_THICKNESS_MM)
    peak = fields["peak"].variable
    variance = peak.scale**2 * cells["peak"][1]
    values["peak_kpa"] = np.exp(peak.centre + peak.scale * cells["peak"][0] + 0.5 * variance)
    values["peak_sd_kpa"] = values["peak_kpa"] * np.sqrt(np.expm1(variance))
    values |= {"clay_depth_mm": clay, "soil": layout.cells.soil.astype(float)}
    return xr.Dataset(
        {name: (("y", "x"), _on_grid(cell, layout)) for name, cell in values.items()},
        coords={"y": layout.frame.y_m, "x": layout.frame.x_m},
    )


def _draws(drawn: dict[str, Floats], fields: dict[str, Field], clay: Floats, layout: Layout) -> xr.Dataset:
    top, bottom, peak = (
        fields[name].variable.centre + fields[name].variable.scale * drawn[name] for name in ("top", "bottom", "peak")
    )
    bottom = np.maximum(bottom, _LEAST_THICKNESS_MM)
    top = np.clip(top, 0.0, bottom - _LEAST_THICKNESS_MM)
    known = np.isfinite(clay)
    node = layout.node_of_cell[layout.inside]
    count = np.bincount(node, weights=known, minlength=len(layout.nodes.soil))
    total = np.bincount(node, weights=np.where(known, clay, 0.0), minlength=len(layout.nodes.soil))
    return xr.Dataset(
        {
            "present": (("draw", "node"), drawn["pan"] > 0),
            "top_mm": (("draw", "node"), top.astype(np.float32)),
            "bottom_mm": (("draw", "node"), bottom.astype(np.float32)),
            "peak_kpa": (("draw", "node"), np.exp(peak).astype(np.float32)),
        },
        coords={
            "x_m": ("node", layout.nodes.xy_m[:, 0]),
            "y_m": ("node", layout.nodes.xy_m[:, 1]),
            "soil": ("node", layout.nodes.soil),
            "clay_depth_mm": ("node", np.where(count > 0, total / np.maximum(count, 1.0), np.nan)),
        },
    )


def _no_slices(layout: Layout) -> xr.DataArray:
    return xr.DataArray(
        np.empty((0, *layout.frame.shape)),
        dims=("depth", "y", "x"),
        coords={"depth": np.empty(0), "y": layout.frame.y_m, "x": layout.frame.x_m},
    )
