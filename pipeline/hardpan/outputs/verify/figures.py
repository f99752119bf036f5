"""The map of verdicts."""

from collections.abc import Mapping

import geopandas as gpd
from matplotlib import colormaps
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.outputs.palette import EDGE, EXCLUDED, UNRIPPED, text_on
from hardpan.outputs.zone_map import map_axes, outline_path
from hardpan.records.after import Judged

_SCALE = {Judged.NOT_REACHED: 0.95, Judged.PARTLY: 0.6, Judged.BROKEN: 0.1}
_MARKS = {"line": "|", "quarter": "+", "midway": "o", "control": "x"}


def verdict_colour(verdict: Judged) -> str:
    """Colour of a verdict on cividis, bright where something is to be done; white where nobody can tell."""
    return EXCLUDED if verdict is Judged.CANNOT_TELL else to_hex(colormaps["cividis"](_SCALE[verdict]))


def draw_verdicts(zones: gpd.GeoDataFrame, verdicts: Mapping[int, Judged], insertions: gpd.GeoDataFrame) -> Figure:
    """Figure of the zones by verdict, with the insertions; unripped ground is pale, and hatched where none can tell."""
    west, south, east, north = zones.total_bounds
    figure, axes = map_axes((west, south, east, north))
    for row in zones.itertuples():
        verdict = verdicts.get(int(row.zone))
        colour = UNRIPPED if verdict is None else verdict_colour(verdict)
        hatch = "///" if verdict is Judged.CANNOT_TELL else None
        axes.add_patch(
            PathPatch(outline_path(row.geometry), facecolor=colour, edgecolor=EDGE, linewidth=1.6, hatch=hatch)
        )
        if verdict is not None:
            at = max(getattr(row.geometry, "geoms", [row.geometry]), key=lambda part: part.area).representative_point()
            slip = {"boxstyle": "round,pad=0.2", "facecolor": colour, "edgecolor": "none"}
            axes.text(at.x, at.y, str(row.zone), ha="center", va="center", fontsize=14, fontweight="bold",
                      color=text_on(colour), bbox=slip, zorder=3)  # fmt: skip
    for position, mark in _MARKS.items():
        there = insertions[insertions["position"] == position]
        for colour, width in ((EXCLUDED, 3.2), (EDGE, 1.4)):
            axes.plot(there.geometry.x, there.geometry.y, mark, color=colour, markersize=8, markeredgewidth=width,
                      fillstyle="none", zorder=2)  # fmt: skip
    axes.set_xlim(west - 5, east + 5)
    axes.set_ylim(south - 5, north + 5)
    return figure
