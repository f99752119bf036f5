"""The depth map as a still picture, for the head of the report and for the job card."""

import io
import re
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from hardpan.outputs.palette import EDGE, EXCLUDED, INK, text_on
from hardpan.outputs.words.interface import Words

_WIDTH_IN = 6.4
"""Width of a map."""

_SMALLEST, _LARGEST = 10.0, 15.0
"""Size of letters, points; the smallest are still read at arm's length on the card."""

_STRIP = 8.0
"""The same of a strip's number."""

_LETTER, _LINE = 0.7, 1.2
"""Width of a bold letter and height of a line, over the size of letters."""

_ROUND = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
"""Lengths a scale bar may have, m or ft."""


def draw_zone_map(zones: gpd.GeoDataFrame, colours: Mapping[int, str], words: Words) -> Figure:
    """Figure of the zones with number and depth written in each that has room, scale bar and north arrow.

    Parameters
    ----------
    zones : GeoDataFrame
        `zone`, `kind`, `depth_mm` and polygons in the working CRS, m.
    colours : Mapping
        Depth in mm to colour.
    words : Words
        Labels and units.
    """
    west, south, east, north = zones.total_bounds
    width, height = east - west, north - south
    figure, axes = map_axes((west, south, east, north), below_in=0.35)
    for zone in zones.itertuples():
        shut = zone.kind == "exclusion"
        colour = EXCLUDED if shut else colours[round(zone.depth_mm)]
        edge, hatch = outline_path(zone.geometry), {"exclusion": "xxxx", "strip": "...."}.get(zone.kind)
        axes.add_patch(PathPatch(edge, facecolor=colour, edgecolor=EDGE, linewidth=2.4, hatch=hatch))
        # A light line within the dark one: seen on bright ground and on dark.
        axes.add_patch(PathPatch(edge, fill=False, edgecolor=EXCLUDED, linewidth=0.8, zorder=2))
        if zone.kind == "strip":
            _name_strip(axes, zone)
        elif not shut:
            _label(axes, zone, colour, words, inch_m=1.04 * max(width / _WIDTH_IN, height / figure.get_figheight()))
    draw_scale_and_north(axes, (west, south, east, north), words)
    return figure


def map_axes(bounds: tuple[float, float, float, float], *, below_in: float = 0.0) -> tuple[Figure, Axes]:
    """Figure as wide as a page's column and as high as ground within `bounds` (west, south, east, north, m) needs."""
    west, south, east, north = bounds
    return bare_axes(_WIDTH_IN, float(np.clip(_WIDTH_IN * (north - south) / (east - west), 2.6, 8.0)) + below_in)


def bare_axes(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """Figure that axes without frame fill, alike in both directions."""
    figure = Figure(figsize=(width_in, height_in))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_aspect("equal")
    return figure, axes


def as_svg(figure: Figure) -> str:
    """Figure as an SVG element that takes its text colour from the page around it."""
    stream = io.StringIO()
    # The salt makes the names of clipping paths depend on what they clip and on nothing else.
    with mpl.rc_context({"svg.hashsalt": "hardpan"}):
        figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    drawing = stream.getvalue()
    drawing = drawing[drawing.index("<svg") :].replace(INK, "currentColor")
    # Names of groups repeat from figure to figure on one page; nothing refers to them.
    drawing = re.sub(r' id="[\w.]+_\d+"', "", drawing)
    return re.sub(r'<svg [^>]*viewBox="([^"]+)"[^>]*>', r'<svg viewBox="\1" aria-hidden="true">', drawing, count=1)


def as_png(figure: Figure, dots_per_inch: float) -> bytes:
    """Figure as a PNG."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return stream.getvalue()


def outline_path(shape: shapely.Geometry) -> Outline:
    """Rings of a polygon or several as one path."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.get_parts(shape))]
    return Outline.make_compound_path(*(Outline(ring, closed=True) for ring in rings))


def _label(axes: Axes, zone: Any, colour: str, words: Words, *, inch_m: float) -> None:  # noqa: ANN401
    """Write number and depth in each piece of the zone that has room for them, or one of the two, depth first."""
    depth = words.units.depth(zone.depth_mm) if zone.depth_mm > 0 else words.page.label("leave")
    for piece in shapely.get_parts(zone.geometry):
        for text in (f"{zone.zone}\n{depth}", depth, str(zone.zone)):
            x, y, size = _place(piece, text, inch_m)
            if size >= _SMALLEST:
                axes.text(
                    x, y, text, ha="center", va="center", color=text_on(colour), fontsize=min(size, _LARGEST),
                    fontweight="bold", linespacing=1.0,
                )  # fmt: skip
                break


def _name_strip(axes: Axes, zone: Any) -> None:  # noqa: ANN401
    """Write a strip's number on a slip of its own: a strip has no room for letters."""
    middle = zone.geometry.centroid
    slip = {"boxstyle": "round,pad=0.15", "facecolor": EXCLUDED, "edgecolor": EDGE, "linewidth": 0.8}
    axes.text(
        middle.x, middle.y, str(zone.zone), ha="center", va="center", color=EDGE, fontsize=_STRIP, fontweight="bold",
        bbox=slip, zorder=3,
    )  # fmt: skip


def _place(piece: shapely.Polygon, text: str, inch_m: float) -> tuple[float, float, float]:
    """Where in a polygon a text has most room, m, and the size of its letters there, points.

    The text fills the rectangle within the largest ellipse of its own shape: a circle once x is squeezed.
    """
    lines = text.split("\n")
    height = _LINE * len(lines)
    shape = _LETTER * max(map(len, lines)) / height
    circle = shapely.maximum_inscribed_circle(shapely.transform(piece, lambda points: points / (shape, 1.0)))
    x, y = circle.coords[0]
    return x * shape, y, float(np.sqrt(2.0) * circle.length / inch_m * 72.0 / height)


def draw_scale_and_north(axes: Axes, bounds: tuple[float, float, float, float], words: Words) -> None:
    """Scale bar and north arrow below a map of ground within `bounds` (west, south, east, north, m)."""
    west, south, east, north = bounds
    pad = 0.02 * max(east - west, north - south)
    metre, unit = words.units.ground_unit
    said = max((one for one in _ROUND if one * metre <= (east - west) / 3), default=_ROUND[0])
    length = said * metre
    y = south - 2.2 * pad
    axes.plot([west, west + length], [y, y], color=INK, linewidth=4, solid_capstyle="butt")
    axes.text(west + length + pad, y, f"{said:,} {unit}", va="center", color=INK, fontsize=14)
    arrow = {"arrowstyle": "-|>", "color": INK, "linewidth": 2, "mutation_scale": 22}
    axes.annotate("", (east - pad, y + 1.6 * pad), (east - pad, y - 1.6 * pad), arrowprops=arrow)
    axes.text(
        east - 2.4 * pad,
        y,
        words.page.label("north_letter"),
        ha="right",
        va="center",
        color=INK,
        fontsize=14,
        fontweight="bold",
    )
    axes.set_xlim(west - pad, east + pad)
    axes.set_ylim(y - 2 * pad, north + pad)
