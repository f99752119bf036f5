"""Every file of a comparison, with its maps, written beside its place and renamed into it at the end."""

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
from markupsafe import Markup
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.core.arrays import Floats
from hardpan.core.settings import parse
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.manifest import write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import EDGE, depth_colours
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.english.comparison import EnglishComparison
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_svg, bare_axes, outline_path
from hardpan.records.past import CAUSES, Comparison
from hardpan.records.trail import MANIFEST

_DECIMALS = 4

_WIDTH_IN = 5.0

_PALE = 0.35
"""Opacity of what lies within its own range."""

_MOST_CELLS = 300
"""Along either side of the picture; more make the page heavy."""


def write_comparison(found: Comparison, folder: Path, started: str) -> tuple[Path, ...]:
    """Write table, page and run.json of a comparison; give their paths.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    words = comparison_words(found)
    with fresh_folder(folder) as work:
        write_table(work / "compare.csv", found.rows, _DECIMALS)
        _write_page(work / "compare.html", found, words)
        document = {
            "tool": "hardpan",
            "kind": "compare",
            "version": found.after.document["version"],
            "settings_sha256": [str(run.document["settings_sha256"]) for run in (found.before, found.after)],
            "changes": len(found.rows),
            "clock": {"started": started},
        }
        write_document(work / MANIFEST, document, digests(work))
    return tuple(sorted(folder.iterdir()))


def comparison_words(found: Comparison) -> EnglishComparison:
    """What is said of a comparison, in the units of the later run's readers."""
    given = found.after.document["settings"].get("outputs") or {}
    return EnglishComparison(Units.of(parse(OutputSettings, given, file=MANIFEST), found.currency))


def _write_page(path: Path, found: Comparison, words: EnglishComparison) -> None:
    before, after = found.before, found.after
    colours = depth_colours([*before.zones["depth_mm"], *after.zones["depth_mm"]])
    maps = [
        (Markup(as_svg(draw_depths(run.zones, colours))), words.label("map", which=run.name)) for run in (before, after)
    ]
    most = 0.0
    if found.difference is not None and found.clear is not None and np.nanmax(np.abs(found.difference)) > 0:
        figure, most = draw_difference(found.difference, found.clear)
        maps.append((Markup(as_svg(figure)), words.label("difference", unit=words.units.depth_unit)))
    rows = found.rows.to_dict("records")
    context = {
        "title": words.label("title", before=before.name, after=after.name), "say": words.label, "maps": maps,
        "headline": words.headline(found), "doubts": words.doubts(found),
        "key": [(words.units.depth(mm) if mm else words.label("leave"), colour) for mm, colour in colours.items()],
        "most": words.units.depth(most) if most else "",
        "ramp": [to_hex(colormaps["PuOr"](share)) for share in np.linspace(0.0, 1.0, 7)],
        "causes": Table(
            [words.label(key) for key in ("what", "where", "before", "after")],
            [
                [words.kind(row["what"]), row["where"], words.value(row["before"]), words.value(row["after"])]
                for row in rows if row["what"] in CAUSES
            ],
        ),
        "changes": Table(
            [words.label(key) for key in ("what", "where", "before", "after", "change", "range")],
            [
                [
                    words.kind(row["what"]), words.where(row),
                    *(words.amount(row, row[name]) for name in ("before", "after", "change")), words.span(row),
                ]
                for row in rows if row["what"] not in CAUSES
            ],
        ),
    }  # fmt: skip
    write_page(path, context)


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
