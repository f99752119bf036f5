"""The map of many paddocks."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.outputs.palette import EDGE
from hardpan.outputs.zone_map import bare_axes, outline_path

_WIDTH_IN = 6.0


def draw_farm(zones: gpd.GeoDataFrame, colours: Mapping[int, str], numbers: Mapping[str, int]) -> Figure:
    """Zones of all paddocks, WGS 84, coloured by depth, each paddock with its number in the list beside the map."""
    west, south, east, north = zones.total_bounds
    squeeze = float(np.cos(np.radians((south + north) / 2.0)))  # a degree of longitude over one of latitude
    width, height = max((east - west) * squeeze, 1e-6), max(north - south, 1e-6)
    figure, axes = bare_axes(_WIDTH_IN, _WIDTH_IN * float(np.clip(height / width, 0.3, 1.5)))
    axes.set_aspect(1.0 / squeeze)
    axes.set(xlim=(west, east), ylim=(south, north))
    for zone in zones.to_dict("records"):
        colour = colours[round(zone["depth_mm"])]
        axes.add_patch(PathPatch(outline_path(zone["geometry"]), facecolor=colour, edgecolor=EDGE, linewidth=0.4))
    for paddock, its in zones.groupby("paddock"):
        place = its.geometry.loc[its["area_ha"].idxmax()].representative_point()
        axes.annotate(
            str(numbers[str(paddock)]), (place.x, place.y), ha="center", va="center", fontsize=9,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": EDGE, "linewidth": 0.4},
        )  # fmt: skip
    return figure
