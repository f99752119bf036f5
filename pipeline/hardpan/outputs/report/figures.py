"""The still charts of the report: profile, loosened section, return by depth, strategies."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator, StrMethodFormatter

from hardpan.core.arrays import Floats
from hardpan.options import loosened_to_mm
from hardpan.outputs.palette import ACCENT, EDGE, INK
from hardpan.outputs.words.interface import Words
from hardpan.records.machines import SetUp

_SOIL, _LOOSE, _PAN = "#c9b48a", "#efe3c4", "#7a6a4f"
_LINES = ("#0072b2", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#d55e00")
"""Okabe and Ito's colours, told apart by colour-blind eyes; dashes differ as well."""

_WIDTH_IN, _ROW_IN = 3.7, 0.19
"""Width of a chart, and height of a row of its legend."""

_MARGIN_IN = (0.72, 0.5)
"""Room left and below for labels."""

_DASHES = ("-", "--", "-.", ":", (0, (6, 2, 1, 2, 1, 2)), (0, (1, 1)))


def draw_profile(
    profile: pd.DataFrame,
    stops: pd.DataFrame,
    zone: dict[str, Any],
    *,
    threshold_kpa: float,
    pan_mm: tuple[float, float],
    words: Words,
) -> Figure:
    """Cone index against depth: median and the middle four fifths, with threshold, pan and working depth.

    Parameters
    ----------
    profile : DataFrame
        `depth_mm`, `low_kpa`, `mid_kpa`, `high_kpa` of the insertions that went all the way; may be empty.
    stops : DataFrame
        `depth_mm`, `kpa` where the others stopped; may be empty.
    zone : dict
        A row of the plan.
    threshold_kpa : float
        Cone index above which there is a pan.
    pan_mm : tuple of float
        Mean top and bottom of the mapped pan in the zone.
    words : Words
        Labels and units.
    """
    units = words.units
    labels = _label(words, "strength_axis", units.strength_unit), _label(words, "depth_axis", units.depth_unit)
    with _chart(*labels) as (figure, axes):
        axes.axhspan(*(units.depth_of(edge) for edge in pan_mm), color=_PAN, alpha=0.25, linewidth=0)
        depth = units.depth_of(profile["depth_mm"].to_numpy())
        low, mid, high = (units.strength_of(profile[name].to_numpy()) for name in ("low_kpa", "mid_kpa", "high_kpa"))
        axes.fill_betweenx(depth, low, high, color=_LINES[0], alpha=0.25, linewidth=0)
        axes.plot(mid, depth, color=_LINES[0], linewidth=2)
        stopped = units.strength_of(stops["kpa"].to_numpy()), units.depth_of(stops["depth_mm"].to_numpy())
        axes.plot(*stopped, color=_LINES[5], marker="v", markersize=6, linestyle="none")
        axes.axvline(units.strength_of(threshold_kpa), color=INK, linestyle="--", linewidth=1)
        bottom = units.depth_of(max(1.15 * zone["depth_mm"], profile["depth_mm"].max() if len(profile) else 600.0))
        axes.set_ylim(bottom, 0)
        axes.set_xlim(left=0)
        if zone["depth_mm"] > 0:
            _mark_depth(axes, units.depth_of(zone["depth_mm"]), words.page.label("working_depth"))
    return figure


def draw_section(
    zone: dict[str, Any], setup: SetUp, critical_mm: float, pan_mm: tuple[float, float], words: Words
) -> Figure:
    """Soil across three tines: what is loosened, the ridge left between, and the pan.

    What a tine loosens is `loosened_to_mm` of the options.
    """
    spacing, depth, width = zone["spacing_mm"], zone["depth_mm"], setup.foot_width.value
    unit = words.units.depth_of(1.0)
    half = 1.25 * spacing
    labels = tuple(_label(words, key, words.units.depth_unit) for key in ("across_axis", "depth_axis"))
    with _chart(*labels, height_in=2.2) as (figure, axes):
        axes.set_aspect("equal")
        floor = 1.2 * max(depth, pan_mm[1] if np.isfinite(pan_mm[1]) else depth)
        axes.add_patch(Rectangle((-half * unit, 0), 2 * half * unit, floor * unit, color=_SOIL, linewidth=0))
        x = np.linspace(-half, half, 601)
        off = np.abs((x + spacing / 2) % spacing - spacing / 2)
        loosened = loosened_to_mm(
            off,
            depth_mm=depth,
            foot_mm=width,
            side_deg=setup.side_angle.value,
            critical_mm=np.nan_to_num(critical_mm, nan=np.inf),
        )
        axes.fill_between(x * unit, 0, loosened * unit, color=_LOOSE, linewidth=0)
        axes.plot(x * unit, loosened * unit, color=EDGE, linewidth=1)
        if np.isfinite(pan_mm).all():
            span = (-half * unit, pan_mm[0] * unit)
            axes.add_patch(
                Rectangle(span, 2 * half * unit, (pan_mm[1] - pan_mm[0]) * unit, hatch="//", fill=False,
                          edgecolor=_PAN, linewidth=1)
            )  # fmt: skip
        for tine in (-spacing, 0.0, spacing):
            axes.plot([tine * unit] * 2, [0, depth * unit], color=EDGE, linewidth=3)
            axes.plot(
                [(tine - width / 2) * unit, (tine + width / 2) * unit], [depth * unit] * 2, color=EDGE, linewidth=4
            )
        axes.set_xlim(-half * unit, half * unit)
        axes.set_ylim(floor * unit, -0.05 * floor * unit)
    return figure


def draw_candidates(candidates: pd.DataFrame, zone: dict[str, Any], says: dict[str, str], words: Words) -> Figure:
    """Expected return of every depth and set-up allowed in a zone, the choice marked.

    `says` names all set-ups of the run, in an order that keeps a set-up's line the same from zone to zone.
    """
    units = words.units
    labels = _label(words, "depth_axis", units.depth_unit), _label(words, "return_axis", units.money_per_area)
    allowed = candidates[candidates["allowed"] & (candidates["depth_mm"] > 0)].sort_values("depth_mm")
    rows_below = allowed["setup"].nunique() + bool(zone["depth_mm"] > 0)
    with _chart(*labels, height_in=2.6, legend_rows=rows_below) as (figure, axes):
        for k, (setup, label) in enumerate(says.items()):
            rows = allowed[allowed["setup"] == setup]
            if rows.empty:
                continue
            x = units.depth_of(rows["depth_mm"].to_numpy())
            y = units.per_area_of(rows["net_per_ha"].to_numpy())
            colour, dash = _LINES[k % len(_LINES)], _DASHES[k % len(_DASHES)]
            axes.plot(x, y, color=colour, linestyle=dash, linewidth=2, marker="o", markersize=3, label=label)
        axes.axhline(0, color=INK, linewidth=1)
        if zone["depth_mm"] > 0:
            at = units.depth_of(zone["depth_mm"]), units.per_area_of(zone["net_per_ha"])
            axes.plot(*at, marker="D", color=ACCENT, markersize=9, linestyle="none", label=words.page.label("chosen"))
    return figure


def draw_variogram(classes: pd.DataFrame, words: Words) -> Figure:
    """Half the mean squared difference of two sites by their distance: as read, as fitted to it, and as mapped.

    Parameters
    ----------
    classes : DataFrame
        One variable's rows of `Surfaces.variograms`.
    words : Words
        Labels and units.
    """
    (metres, unit), say = words.units.ground_unit, words.page.label
    labels = _label(words, "lag_axis", unit), say("semivariance_axis")
    with _chart(*labels, height_in=2.6, legend_rows=3) as (figure, axes):
        lag = classes["lag_m"].to_numpy(float) / metres
        pairs = classes["pairs"].to_numpy(float)
        size = 10.0 + 90.0 * pairs / pairs.max()
        axes.scatter(
            lag, classes["semivariance"], s=size, color=_LINES[0], alpha=0.6, linewidths=0, label=say("as_read")
        )
        axes.plot(lag, classes["model"], color=_LINES[1], linestyle="--", linewidth=2, label=say("fitted"))
        axes.plot(lag, classes["reml"], color=INK, linewidth=2, label=say("mapped"))
        axes.set_xlim(left=0)
        axes.set_ylim(bottom=0)
    return figure


def draw_ranges(names: Sequence[str], ends: Sequence[Floats], label: str) -> Figure:
    """One horizontal range a name against nothing; `ends` are the low, middle and high values."""
    low, mid, high = ends
    with _chart(label, "", height_in=0.8 + 0.5 * len(names)) as (figure, axes):
        place = np.arange(len(names))
        axes.hlines(place, low, high, color=_LINES[0], linewidth=5, alpha=0.5)
        axes.plot(mid, place, marker="D", color=ACCENT, markersize=8, linestyle="none")
        # Nothing is marked row by row: a line all the way would run through the names.
        axes.vlines(np.zeros(len(names)), place - 0.14, place + 0.3, color=INK, linewidth=1)
        for row, name in zip(place, names, strict=True):
            across = axes.get_yaxis_transform()
            axes.text(0.0, row - 0.22, name, transform=across, color=INK, fontsize=11, va="bottom")
        axes.set_yticks([])
        axes.set_ylim(len(names) - 0.5, -0.9)
    return figure


@contextmanager
def _chart(
    x_label: str, y_label: str, *, height_in: float = 3.0, legend_rows: int = 0
) -> Iterator[tuple[Figure, Axes]]:
    """Small plain chart, inked so that the page can recolour it, with room for a legend below."""
    figure = Figure(figsize=(_WIDTH_IN, height_in + _ROW_IN * legend_rows))
    FigureCanvasAgg(figure)
    width, height = figure.get_size_inches()
    west, south = _MARGIN_IN[0] if y_label else 0.15, _MARGIN_IN[1] + _ROW_IN * legend_rows
    # Margins set by hand: finding them by trial would double the time of every chart.
    axes = figure.add_axes(
        (west / width, south / height, (width - west - 0.15) / width, (height - south - 0.12) / height)
    )
    yield figure, axes
    axes.set_xlabel(x_label, color=INK, fontsize=11)
    axes.set_ylabel(y_label, color=INK, fontsize=11)
    axes.tick_params(colors=INK, labelsize=10)
    axes.xaxis.set_major_locator(MaxNLocator(5))
    axes.xaxis.set_major_formatter(StrMethodFormatter("{x:,g}"))
    axes.set_facecolor("none")
    for name, spine in axes.spines.items():
        spine.set_visible(name == "bottom" or (name == "left" and bool(y_label)))
        spine.set_color(INK)
    if legend_rows:
        figure.legend(loc="lower left", frameon=False, labelcolor=INK, fontsize=10, borderaxespad=0.0)


def _label(words: Words, key: str, unit: str) -> str:
    return words.page.label(key, unit=unit)


def _mark_depth(axes: Axes, depth: float, label: str) -> None:
    axes.axhline(depth, color=ACCENT, linewidth=3)
    axes.text(1.0, depth, f"{label} ", transform=axes.get_yaxis_transform(), ha="right", va="bottom",
              color=ACCENT, fontsize=10, fontweight="bold")  # fmt: skip
