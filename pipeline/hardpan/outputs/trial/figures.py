"""The still pictures of a trial: strips with the yield of their points, effects with their intervals."""

from collections.abc import Sequence

import numpy as np
from matplotlib import colormaps
from matplotlib.colors import Normalize, to_hex
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.outputs.palette import EDGE, INK
from hardpan.outputs.zone_map import bare_axes, outline_path
from hardpan.records.trial import Treatment, TrialResult

RAMP = "cividis"
"""Even to the eye, and read alike by colour-blind eyes."""

_MOST_POINTS = 4000
"""Drawn; more make the page heavy and no clearer."""

_WIDTH_IN = 6.4


def yield_range(result: TrialResult) -> tuple[float, float]:
    """Ends of the colours: the 2 and 98 % points of the yields."""
    low, high = np.quantile(result.points["value"], [0.02, 0.98])
    return float(low), float(high)


def draw_strips(result: TrialResult) -> Figure:
    """Strips outlined, the ripped ones by a heavy line, with their points coloured by yield."""
    strips, points = result.strips.table, result.points
    west, south, east, north = strips.total_bounds
    pad = 0.03 * max(east - west, north - south)
    shape = float(np.clip((north - south + 2 * pad) / (east - west + 2 * pad), 0.35, 1.25))
    figure, axes = bare_axes(_WIDTH_IN, _WIDTH_IN * shape)
    shown = points.iloc[:: max(1, int(np.ceil(len(points) / _MOST_POINTS)))]
    axes.scatter(
        shown["x_m"], shown["y_m"], c=shown["value"], cmap=colormaps[RAMP], norm=Normalize(*yield_range(result)), s=14,
        linewidths=0, marker="s",
    )  # fmt: skip
    for strip in strips.to_dict("records"):
        ripped = strip["treatment"] == Treatment.RIPPED
        style = {"edgecolor": EDGE if not ripped else INK, "linewidth": 2.6 if ripped else 1.0}
        axes.add_patch(
            PathPatch(outline_path(strip["geometry"]), fill=False, linestyle="-" if ripped else (0, (3, 2)), **style)
        )
    axes.set_xlim(west - pad, east + pad)
    axes.set_ylim(south - pad, north + pad)
    return figure


def ramp_stops(count: int = 7) -> Sequence[str]:
    """Colours of the ramp, evenly spread, for the key."""
    return [to_hex(colormaps[RAMP](share)) for share in np.linspace(0.0, 1.0, count)]
