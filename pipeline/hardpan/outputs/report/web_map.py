"""The interactive map: one plot whose layers the page's own controls switch."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from bokeh.embed import json_item
from bokeh.models import (
    ColumnDataSource,
    DataRange1d,
    HoverTool,
    LinearColorMapper,
    PanTool,
    ResetTool,
    TapTool,
    WheelZoomTool,
    ZoomInTool,
    ZoomOutTool,
)
from bokeh.models.annotations.dimensional import ImperialLength, MetricLength
from bokeh.models.annotations.legends import ScaleBar
from bokeh.models.renderers import Renderer
from bokeh.palettes import Cividis256
from bokeh.plotting import figure
from bokeh.resources import Resources

from hardpan.core.arrays import Floats
from hardpan.outputs.palette import ACCENT, EDGE, EXCLUDED, SOILS, UNRIPPED
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import MISSING
from hardpan.records.frame import Frame

_MOST_CELLS = 120_000
"""Rasters are thinned to this many cells: more than a screen shows, and the page stays small."""

_ROUND_FT = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
"""Lengths a scale bar in feet may have."""

_MID_GREY = "#7b838c"
"""Reads on a white page and on a dark one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """One background the reader may choose, with its legend."""

    name: str
    says: str
    low: str = ""
    high: str = ""
    """Ends of the colour scale; empty for classes."""
    classes: tuple[tuple[str, str], ...] = ()
    """Label and colour."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WebMap:
    """The plot as JSON, and what the page needs to know of it."""

    item: str
    grounds: tuple[Ground, ...]
    overlays: tuple[tuple[str, str], ...]
    """Name and label of each layer that can be laid over."""


def bokeh_script() -> str:
    """Library's own script, inlined: the page asks no network for anything."""
    return "\n".join(Resources(mode="inline", components=["bokeh"]).js_raw)


def draw_web_map(
    *,
    zones: gpd.GeoDataFrame,
    layers: Mapping[str, gpd.GeoDataFrame],
    maps: Mapping[str, Floats],
    frame: Frame,
    colours: Mapping[int, str],
    key: Sequence[tuple[str, str]],
    words: Words,
) -> WebMap:
    """Map of zones, soils, probes, exclusions and rasters.

    Parameters
    ----------
    zones : GeoDataFrame
        The plan with each `reason`, set-ups by name, working CRS.
    layers : Mapping
        `soils`, `probes`, `boundary`, `exclusions`, and the sites to probe again, `further`, working CRS.
    maps : Mapping
        `zone`, `pan_bottom_mm`, `pan_bottom_sd_mm`, `breach_probability` on `frame`, NaN outside.
    colours : Mapping
        Depth in mm to colour.
    key : Sequence
        Label and colour of each depth.
    words : Words
        Labels, and units of what is shown on hovering.
    """
    metres, unit = words.units.ground_unit
    zones, layers = _stretched(zones, 1 / metres), {name: _stretched(one, 1 / metres) for name, one in layers.items()}
    across, up = DataRange1d(), DataRange1d(range_padding=0.2)
    plot = figure(
        match_aspect=True, sizing_mode="stretch_both", x_range=across, y_range=up,
        tools=[PanTool(), WheelZoomTool(), ZoomInTool(), ZoomOutTool(), ResetTool()],
        toolbar_location="above", active_drag=None, active_scroll=None, background_fill_color=None,
        border_fill_color=None, outline_line_color=None, name="map",
    )  # fmt: skip
    plot.axis.visible = plot.grid.visible = False
    plot.toolbar.logo = None
    _zones(plot, zones, maps, colours, words)
    grounds = [Ground(name="ground-depth", says=words.page.label("ground-depth"), classes=tuple(key))]
    grounds += [_raster(plot, name, maps[name], frame, words) for name in _RASTERS]
    grounds.append(_soils(plot, layers["soils"], words))
    _numbers(plot, zones)
    if len(layers["further"]):
        _further(plot, layers["further"], words)
    # The view follows the outline alone, so that it stays where it is when layers are switched.
    across.renderers = up.renderers = [_overlays(plot, layers, words)]
    lengths = ImperialLength(include=["ft"], ticks=list(_ROUND_FT)) if words.units.us else MetricLength()
    scale = ScaleBar(
        range=plot.x_range, unit=unit, dimensional=lengths, background_fill_color=None, border_line_color=None,
        bar_line_color=_MID_GREY, bar_line_width=3, label_text_color=_MID_GREY, location="bottom_left",
    )  # fmt: skip
    plot.add_layout(scale)
    # The characters that could end a script element early are written as escapes.
    item = json.dumps(json_item(plot)).replace("<", "\\u003c").replace("\u2028", "\\u2028")
    overlays = tuple((name, words.page.label(name)) for name in ("borders", "zone-numbers", "probes", "exclusions"))
    if len(layers["further"]):
        overlays += (("further", words.page.label("further")),)
    return WebMap(item=item, grounds=tuple(grounds), overlays=overlays)


def _stretched(layer: gpd.GeoDataFrame, factor: float) -> gpd.GeoDataFrame:
    """Layer with its coordinates multiplied, so that one unit of the map is one unit of the scale bar."""
    return layer.set_geometry(layer.geometry.affine_transform([factor, 0.0, 0.0, factor, 0.0, 0.0]))


_ROOM = 0.03
"""A piece is numbered where a circle of this share of the paddock's length, as radius, lies in it."""

_RASTERS = ("pan_bottom_mm", "pan_bottom_sd_mm", "breach_probability")

_TAPPED = ("zone", "depth_mm", "setup", "area_ha", "reason")
"""What is told of a zone that is tapped."""


def _zones(
    plot: figure, zones: gpd.GeoDataFrame, maps: Mapping[str, Floats], colours: Mapping[int, str], words: Words
) -> None:
    rows, units = zones.to_dict("records"), words.units
    cells = pd.DataFrame({name: maps[name].ravel() for name in ("zone", "pan_bottom_mm")})
    bottoms = cells.groupby("zone")["pan_bottom_mm"].mean().to_dict()
    source = ColumnDataSource(
        {
            **_rings(zones),
            "colour": [UNRIPPED if row["kind"] == "exclusion" else colours[round(row["depth_mm"])] for row in rows],
            "zone": [str(row["zone"]) for row in rows],
            "depth": [words.page.depth(row["depth_mm"]) for row in rows],
            "setup": [row["setup"] or MISSING for row in rows],
            "area": [units.area(row["area_ha"]) for row in rows],
            "bottom": [units.depth(bottoms.get(row["zone"], np.nan)) for row in rows],
            "breach": [units.share(row["breach_probability"]) if row["depth_mm"] > 0 else MISSING for row in rows],
            "reason": [row["reason"] for row in rows],
            "told": [words.page.tap(*(row[name] for name in _TAPPED)) for row in rows],
        },
        name="zone-source",
    )
    plot.multi_polygons("xs", "ys", source=source, fill_color="colour", line_color=None, name="ground-depth")
    # A light line within a dark one: seen on bright ground and on dark.
    for colour, width in ((EDGE, 3.0), (EXCLUDED, 1.0)):
        edge = plot.multi_polygons(
            "xs", "ys", source=source, fill_alpha=0, line_color=colour, line_width=width, name="borders",
            level="overlay",
        )  # fmt: skip
        edge.nonselection_glyph = None
    # Unseen and never switched off, so that every ground can be hovered and tapped.
    touch = plot.multi_polygons("xs", "ys", source=source, fill_alpha=0, line_color=None, name="touch")
    touch.nonselection_glyph = touch.selection_glyph = None
    tips = _tips(
        words, zone="zone", depth="depth", setup="setup", area="area", bottom="bottom", breach="breach", why="reason"
    )
    says = words.page.label("tip_hover")
    plot.add_tools(HoverTool(renderers=[touch], tooltips=tips, description=says, visible=False))
    plot.add_tools(TapTool(renderers=[touch]))


def _numbers(plot: figure, zones: gpd.GeoDataFrame) -> None:
    """Number of each zone where its largest pieces have most room."""
    piece = zones[["zone", "geometry"]].explode(index_parts=False)
    circle = shapely.maximum_inscribed_circle(piece.geometry.to_numpy())
    room = shapely.length(circle)
    west, south, east, north = zones.total_bounds
    most = piece.assign(room=room).groupby("zone")["room"].transform("max").to_numpy()
    shown = (room == most) | (room >= _ROOM * max(east - west, north - south))
    points = shapely.get_coordinates(circle[shown])[::2]
    source = ColumnDataSource(
        {"x": points[:, 0], "y": points[:, 1], "number": [str(zone) for zone in piece["zone"][shown]]}
    )
    plot.text(
        "x", "y", text="number", source=source, text_color="#ffffff", text_outline_color=EDGE, text_font_size="15px",
        text_font_style="bold", text_align="center", text_baseline="middle", name="zone-numbers", level="overlay",
    )  # fmt: skip


def _tips(words: Words, **columns: str) -> list[tuple[str, str]]:
    """Label and column of each line shown on hovering."""
    return [(words.page.label(f"tip_{key}"), f"@{column}") for key, column in columns.items()]


def _raster(plot: figure, name: str, values: Floats, frame: Frame, words: Words) -> Ground:
    step = int(np.ceil(np.sqrt(values.size / _MOST_CELLS)))
    thin = values[::step, ::step]
    known = thin[np.isfinite(thin)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    # 1 to 255 carry the scale, 0 is no data: a byte a cell keeps the page small.
    scaled = np.where(np.isfinite(thin), 1 + np.round(254 * (thin - low) / max(high - low, 1e-9)), 0)
    metres, _ = words.units.ground_unit
    west, _, _, north = (edge / metres for edge in frame.bounds)
    (n_rows, n_cols), cell = thin.shape, step * frame.cell_m / metres
    drawn = plot.image(
        image=[np.flipud(scaled).astype("uint8")], x=west, y=north - n_rows * cell,
        dw=n_cols * cell, dh=n_rows * cell, name=f"ground-{name}", visible=False,
    )  # fmt: skip
    drawn.glyph.color_mapper = LinearColorMapper(palette=Cividis256, low=1, high=255, low_color="#00000000")
    say = words.units.share if name == "breach_probability" else words.units.depth
    return Ground(name=f"ground-{name}", says=words.page.label(f"ground-{name}"), low=say(low), high=say(high))


def _soils(plot: figure, soils: gpd.GeoDataFrame, words: Words) -> Ground:
    names, units = sorted(set(soils["soil_type"])), words.units
    colour = {name: SOILS[k % len(SOILS)] for k, name in enumerate(names)}
    clay = [units.depth(depth) if np.isfinite(depth) else MISSING for depth in soils["clay_depth_mm"].astype(float)]
    columns = {"colour": [colour[name] for name in soils["soil_type"]], "soil": list(soils["soil_type"]), "clay": clay}
    source = ColumnDataSource({**_rings(soils), **columns})
    drawn = plot.multi_polygons(
        "xs", "ys", source=source, fill_color="colour", line_color=None, name="ground-soils", visible=False
    )
    tips = _tips(words, soil="soil", clay="clay")
    plot.add_tools(HoverTool(renderers=[drawn], tooltips=tips, visible=False))
    return Ground(name="ground-soils", says=words.page.label("ground-soils"), classes=tuple(colour.items()))


def _overlays(plot: figure, layers: Mapping[str, gpd.GeoDataFrame], words: Words) -> Renderer:
    """Lay probes, keep-out ground and the outline over; give the outline."""
    shut, edge, probes, units = layers["exclusions"], layers["boundary"], layers["probes"], words.units
    names = [str(name) for name in shut["name"]] if "name" in shut else [""] * len(shut)
    source = ColumnDataSource({**_rings(shut), "name": names})
    drawn = plot.multi_polygons(
        "xs", "ys", source=source, fill_alpha=0, hatch_pattern="diagonal_cross", hatch_color="#b2182b",
        line_color="#b2182b", line_width=2, name="exclusions", level="overlay",
    )  # fmt: skip
    plot.add_tools(HoverTool(renderers=[drawn], tooltips=_tips(words, keep_out="name"), visible=False))
    around = ColumnDataSource(_rings(edge))
    rim = plot.multi_polygons(
        "xs", "ys", source=around, fill_alpha=0, line_color=_MID_GREY, line_width=2, level="overlay",
    )  # fmt: skip
    points = shapely.get_coordinates(probes.geometry.array)
    present = probes["state"] == "present"
    bottom = [
        units.depth(mm) if np.isfinite(mm) else words.page.label("below", depth=units.depth(low))
        for mm, low in zip(probes["bottom_mm"], probes["bottom_low_mm"], strict=True)
    ]
    columns: dict[str, Any] = {
        "x": points[:, 0], "y": points[:, 1], "name": list(probes["insertion"]), "state": list(probes["state"]),
        "bottom": np.where(present, bottom, MISSING).tolist(),
        "why": list(probes["why"]),
    }  # fmt: skip
    dots = plot.scatter(
        "x", "y", source=ColumnDataSource(columns), size=7, fill_color="#ffffff", line_color=EDGE, line_width=1.5,
        name="probes", visible=False, level="overlay",
    )  # fmt: skip
    tips = _tips(words, insertion="name", pan="state", pan_bottom="bottom", why="why")
    plot.add_tools(HoverTool(renderers=[dots], tooltips=tips, visible=False))
    return rim


def _further(plot: figure, sites: gpd.GeoDataFrame, words: Words) -> None:
    """Lay the sites that are worth probing again over."""
    x, y = shapely.get_coordinates(sites.geometry.array).T
    source = ColumnDataSource({"x": x, "y": y, "name": list(sites["site"]), "why": list(sites["why"])})
    marks = plot.scatter(
        "x", "y", source=source, size=13, marker="circle_cross", fill_color="#ffffff", line_color=ACCENT,
        line_width=2.5, name="further", level="overlay",
    )  # fmt: skip
    tips = _tips(words, site="name", why="why")
    plot.add_tools(HoverTool(renderers=[marks], tooltips=tips, visible=False))


def _rings(table: gpd.GeoDataFrame) -> dict[str, Any]:
    """`xs` and `ys` as multi-polygon glyphs take them: feature, part, ring, coordinate."""
    parts = [[shapely.get_rings(part) for part in shapely.get_parts(shape)] for shape in table.geometry]
    return {
        axis: [[[shapely.get_coordinates(ring)[:, k].tolist() for ring in rings] for rings in part] for part in parts]
        for k, axis in enumerate(("xs", "ys"))
    }
