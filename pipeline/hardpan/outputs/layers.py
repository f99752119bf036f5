"""What a desktop GIS is given: every layer and map of the run in the working CRS, and how each is coloured."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Floats
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import told_insertions, told_zones
from hardpan.records.evidence import PaddockRun

_SOIL_COLOURS = ("#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7", "#999999")
"""Okabe and Ito's eight colours, told apart by colour-blind eyes; repeated where there are more soils."""

_DOTS = 2000
"""Dots across the largest picture, the job card's; the map on the screen starts at fewer."""

_FEW_VERTICES = 5000
"""A layer of no more is drawn as it is."""

_STATE_COLOURS = {"present": "#0072b2", "absent": "#f0e442", "unusable": "#999999"}


BAND_UNITS = {
    "pan_probability": "1",
    "pan_top_mm": "mm",
    "pan_bottom_mm": "mm",
    "pan_bottom_sd_mm": "mm",
    "peak_kpa": "kPa",
    "zone": "1",
    "depth_mm": "mm",
    "breach_probability": "1",
    "pan_top_sd_mm": "mm",
    "peak_sd_kpa": "kPa",
    "clay_depth_mm": "mm",
    "clay_depth_sd_mm": "mm",
}
"""Map name to unit, in order of the bands of surfaces.tif."""

_WHERE_KNOWN = ("clay_depth_mm", "clay_depth_sd_mm")
"""Maps that are left out where they are empty."""


def band_unit(name: str) -> str:
    """Unit of a band of surfaces.tif; shares of draws have none."""
    return BAND_UNITS.get(name, "1")


def raster_layers(run: PaddockRun) -> dict[str, Floats]:
    """Maps named in `BAND_UNITS`, and shares of draws deeper than the depths asked for: NaN outside the boundary."""
    labels, zones = run.zones.labels, run.plan.zones
    depth_of = zones.set_index("zone")["depth_mm"].reindex(labels.ravel())
    maps = {name: run.surfaces.maps[name].to_numpy() for name in BAND_UNITS if name in run.surfaces.maps}
    maps |= {
        "zone": labels.astype(float),
        "depth_mm": depth_of.to_numpy(float).reshape(labels.shape),
        "breach_probability": _breach_map(run),
    }
    order = [name for name in BAND_UNITS if name not in _WHERE_KNOWN or np.isfinite(maps[name]).any()]
    for depth_mm, share in zip(run.surfaces.deeper["depth"].to_numpy(), run.surfaces.deeper.to_numpy(), strict=True):
        maps[f"deeper_than_{depth_mm:g}_mm"] = share
    order += [name for name in maps if name.startswith("deeper_than_")]
    return {name: np.where(labels > 0, maps[name], np.nan) for name in order}


def _breach_map(run: PaddockRun) -> Floats:
    """Probability that the chosen working depth reaches below the pan; NaN where nothing is ripped."""
    labels, node, options = run.zones.labels, run.surfaces.node_of_cell, run.options
    breach = np.full(labels.shape, np.nan)
    known = options.table[["setup", "depth_mm"]].reset_index(drop=True)
    for zone in run.plan.zones.query("depth_mm > 0").to_dict("records"):
        here = (labels == zone["zone"]) & (node >= 0)
        same = known.index[(known["setup"] == zone["setup"]) & (known["depth_mm"] == zone["depth_mm"])]
        breach[here] = options.breach[node[here], same[0]] if len(same) else zone["breach_probability"]
    return breach


def desktop_layers(run: PaddockRun, words: Words) -> dict[str, gpd.GeoDataFrame]:
    """Layers `zones`, `probes`, `soils`, `boundary`, `exclusions`, working CRS."""
    paddock, crs = run.survey.paddock, run.survey.crs
    area = {"name": [paddock.name], "area_ha": [paddock.area_ha]}
    boundary = gpd.GeoDataFrame(area, geometry=paddock.boundary.to_numpy()[:1], crs=crs)
    layers = {
        "zones": told_zones(run.plan, words),
        "probes": told_insertions(run.pan, words),
        "soils": run.survey.soils,
        "boundary": boundary,
        "exclusions": run.survey.paddock.exclusions,
    }
    return {name: _open_ended(layer.reset_index(drop=True)) for name, layer in layers.items()}


def drawn_layers(layers: Mapping[str, gpd.GeoDataFrame]) -> dict[str, gpd.GeoDataFrame]:
    """The layers as pictures show them: where vertices are many, without those that no eye could tell apart.

    Only for drawing: shared borders stay shared, but hectares and files come from the layers themselves.
    """
    west, south, east, north = layers["boundary"].total_bounds
    finest_m = max(east - west, north - south) / _DOTS
    return {name: _thinned(layer, finest_m) for name, layer in layers.items()}


def _thinned(layer: gpd.GeoDataFrame, finest_m: float) -> gpd.GeoDataFrame:
    shapes = layer.geometry.to_numpy()
    if shapely.get_num_coordinates(shapes).sum() <= _FEW_VERTICES or (shapely.get_dimensions(shapes) < 2).any():
        return layer
    if len(shapes) > 1 and shapely.coverage_is_valid(shapes):
        thin = shapely.coverage_simplify(shapes, finest_m)
    else:
        thin = shapely.simplify(shapes, finest_m)
    return layer.set_geometry(gpd.GeoSeries(thin, index=layer.index, crs=layer.crs))


def layer_styles(run: PaddockRun, colours: Mapping[int, str]) -> dict[str, tuple[str, Mapping[str, str]]]:
    """For each layer the attribute that is coloured and the colour of each of its values."""
    soils = sorted(set(run.survey.soils["soil_type"]))
    return {
        "zones": ("depth_mm", {str(depth): colour for depth, colour in colours.items()}),
        "probes": ("state", _STATE_COLOURS),
        "soils": ("soil_type", {soil: _SOIL_COLOURS[k % len(_SOIL_COLOURS)] for k, soil in enumerate(soils)}),
        "boundary": ("", {"paddock": "#f7f7f2"}),
        "exclusions": ("", {"excluded": "#b2182b"}),
    }


def _open_ended(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Layer with infinite bounds as missing: a database null also says "no bound"."""
    numbers = layer.select_dtypes("number").columns
    return layer.assign(**{name: layer[name].replace([np.inf, -np.inf], np.nan) for name in numbers})
