"""The sites on the ground as a still picture."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.core.arrays import Floats
from hardpan.outputs.palette import ACCENT, EDGE, EXCLUDED, INK, SOILS
from hardpan.outputs.words.interface import Words
from hardpan.outputs.zone_map import draw_scale_and_north, map_axes, outline_path
from hardpan.records.probing import ProbingRun

_PALE = 0.35
"""Soil types are background: so much of their colour is left."""


def draw_site_map(run: ProbingRun, words: Words) -> Figure:
    """Figure of soil types, keep-out ground, sites by stop number, the way round them, scale bar and north arrow."""
    west, south, east, north = run.survey.paddock.boundary.total_bounds
    figure, axes = map_axes((west, south, east, north), below_in=0.35)
    _draw_ground(axes, run)
    xy = shapely.get_coordinates(run.plan.sites.geometry.array)
    gate = None if run.plan.gate is None else shapely.get_coordinates(run.plan.gate)[0]
    _draw_way(axes, xy, gate, words)
    _draw_sites(axes, xy, shapely.get_coordinates(run.plan.probed.array))
    everywhere = xy if gate is None else np.vstack([xy, gate])
    low, high = np.minimum((west, south), everywhere.min(axis=0)), np.maximum((east, north), everywhere.max(axis=0))
    draw_scale_and_north(axes, (*low, *high), words)
    return figure


def soil_colours(names: Sequence[str]) -> Mapping[str, str]:
    """Pale colour of each soil type."""
    return {name: to_hex(_paled(SOILS[k % len(SOILS)])) for k, name in enumerate(names)}


def _paled(colour: str) -> tuple[float, float, float]:
    red, green, blue = (1.0 - _PALE * (1.0 - part) for part in to_rgb(colour))
    return red, green, blue


def _draw_ground(axes: Axes, run: ProbingRun) -> None:
    colours = soil_colours(run.survey.soil_types)
    for soil in run.survey.soils.itertuples():
        axes.add_patch(PathPatch(outline_path(soil.geometry), facecolor=colours[str(soil.soil_type)], linewidth=0))
    for shut in run.survey.paddock.exclusions.geometry:
        axes.add_patch(PathPatch(outline_path(shut), facecolor=EXCLUDED, edgecolor=EDGE, linewidth=1, hatch="xxxx"))
    for edge in run.survey.paddock.boundary:
        axes.add_patch(PathPatch(outline_path(edge), fill=False, edgecolor=EDGE, linewidth=2.0))


def _draw_way(axes: Axes, xy_m: Floats, gate: Floats | None, words: Words) -> None:
    """Way from stop to stop, from the gate and back where there is one."""
    way = xy_m if gate is None else np.vstack([gate, xy_m, gate])
    axes.plot(*way.T, color=ACCENT, linewidth=1.4, zorder=3)
    if gate is not None:
        axes.plot(*gate, marker="s", markersize=9, color=ACCENT, markeredgecolor=EDGE, zorder=5)
        axes.annotate(
            words.sites.label("gate"),
            (float(gate[0]), float(gate[1])),
            (8, 8),
            textcoords="offset points",
            fontsize=12,
            color=INK,
        )


def _draw_sites(axes: Axes, xy_m: Floats, probed_xy: Floats) -> None:
    """Sites with the number of the stop, and small crosses where the ground was probed."""
    if len(probed_xy):
        axes.plot(*probed_xy.T, marker="x", markersize=5, color=EDGE, linestyle="none", zorder=4)
    size = float(np.clip(120.0 / np.sqrt(len(xy_m)), 6.0, 15.0))
    axes.plot(
        *xy_m.T, marker="o", markersize=1.45 * size, color=EXCLUDED, markeredgecolor=EDGE, linestyle="none", zorder=6
    )
    for stop, (x, y) in enumerate(xy_m, start=1):
        axes.text(x, y, str(stop), ha="center", va="center", fontsize=0.75 * size, color=EDGE, zorder=7)
