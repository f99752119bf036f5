"""Maps of a comparison: depths before and after, and where the pan's bottom moved."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.core.arrays import Floats
from hardpan.outputs.palette import EDGE
from hardpan.outputs.zone_map import bare_axes, outline_path

_WIDTH_IN = 5.0

_PALE = 0.35
"""Opacity of what lies within its own range."""

_MOST_CELLS = 300
"""Along either side of the picture; more make the page heavy."""


def draw_depths(zones: gpd.GeoDataFrame, colours: Mapping[int, str]) -> Figure:
    """Zones coloured by their depth."""
    figure, axes = _plain(tuple(zones.total_bounds))
    for zone in zones.to_dict("records"):
        colour = colours[round(zone["depth_mm"])]
        axes.add_patch(PathPatch(outline_path(zone["geometry"]), facecolor=colour, edgecolor=EDGE, linewidth=0.8))
    return figure


def draw_difference(difference: Floats, clear: Floats) -> tuple[Figure, float]:
    """Change of the bottom, strong where it is beyond its own range, and the change at either end of the colours."""
    step = max(1, int(np.ceil(max(difference.shape) / _MOST_CELLS)))
    shown, sure = difference[::step, ::step], clear[::step, ::step]
    most = float(np.nanquantile(np.abs(difference), 0.98)) or 1.0
    figure, axes = _plain((0.0, 0.0, float(shown.shape[1]), float(shown.shape[0])))
    for values, alpha in ((shown, _PALE), (sure, 1.0)):
        axes.imshow(
            values, cmap=colormaps["PuOr"], vmin=-most, vmax=most, alpha=alpha, interpolation="nearest",
            extent=(0, shown.shape[1], 0, shown.shape[0]),
        )  # fmt: skip
    return figure, most


def _plain(bounds: tuple[float, ...]) -> tuple[Figure, Axes]:
    west, south, east, north = bounds
    figure, axes = bare_axes(_WIDTH_IN, _WIDTH_IN * float(np.clip((north - south) / (east - west), 0.3, 1.6)))
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    return figure, axes
