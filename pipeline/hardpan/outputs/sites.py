"""The files of a plan of sites: table, map layer, waypoints, page; read again by other libraries than wrote them."""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from defusedxml import ElementTree
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.core.arrays import Floats
from hardpan.core.errors import ReadBackError
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.geodesy import DECIMALS, to_wgs84
from hardpan.outputs.geojson import write_features
from hardpan.outputs.kml_gpx import write_gpx
from hardpan.outputs.manifest import provenance, steady, write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.pages import write_page
from hardpan.outputs.palette import ACCENT, EDGE, EXCLUDED, INK, SOILS
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import told_issues
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_svg, draw_scale_and_north, map_axes, outline_path
from hardpan.records.probing import ProbingRun, SitePlan
from hardpan.records.trail import MANIFEST

COLUMNS = ("order", "site", "longitude", "latitude", "insertions", "soil_type", "why", "worth")
"""Columns of sites.csv."""

_PALE = 0.35
"""Soil types are background: so much of their colour is left."""

_GPX = "{http://www.topografix.com/GPX/1/1}"

_ROUNDING = 1.1 * 10.0**-DECIMALS
"""Degrees that rounding of the written places may take."""


def write_sites(run: ProbingRun, settings: OutputSettings, folder: Path) -> tuple[Path, ...]:
    """Write sites.csv, sites.geojson, sites.gpx, sites.html and run.json into `folder`; give their paths.

    As in a run, files are written beside `folder`, read back, and renamed into place at the end.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result, the sites have no place in WGS 84, or a file read back does
        not say what was planned.
    """
    currency = run.catalog.prices.currency
    table = told_sites(run, speak(Units.of_files(currency), run.catalog))
    degrees = table[["longitude", "latitude"]].to_numpy(float)
    with fresh_folder(folder) as work:
        name = run.survey.paddock.name
        write_table(work / "sites.csv", pd.DataFrame(table[list(COLUMNS)]))
        properties = table[["order", "site", "insertions", "soil_type", "why", "worth"]].to_dict("records")
        write_features(work / "sites.geojson", properties, shapely.points(degrees), name=name)
        write_gpx(work / "sites.gpx", list(table["site"]), list(table["why"]), degrees, title=name)
        words = speak(Units.of(settings, currency), run.catalog)
        write_sites_page(work / "sites.html", run, told_sites(run, words), words)
        read_sites_back(work, table)
        _write_manifest(work, run)
    return tuple(sorted(folder.iterdir()))


def told_sites(run: ProbingRun, words: Words) -> gpd.GeoDataFrame:
    """Sites with `longitude`, `latitude` (WGS 84) and `why`, in walking order."""
    table = run.plan.sites
    degrees, _ = to_wgs84(table.geometry.to_numpy(), run.survey.crs)
    why = [words.sites.why(row) for row in table.drop(columns="geometry").to_dict("records")]
    return table.assign(longitude=shapely.get_x(degrees), latitude=shapely.get_y(degrees), why=why)


def _write_manifest(work: Path, run: ProbingRun) -> None:
    plan, files = run.plan, digests(work)
    document = provenance(run.trail) | {
        "command": "sites",
        "paddock": {"name": run.survey.paddock.name, "area_ha": run.survey.paddock.area_ha},
        "seed": run.trail.seed,
        "working_crs": run.survey.crs.to_string(),
        "sites": len(plan.sites),
        "sites_from": str(plan.number),
        "walk_m": plan.walk.length_m,
        "hours": plan.walk.hours,
        **_expected(plan),
        "issues": dict(sorted(Counter(issue.code for issue in run.issues).items())),
        "files_sha256": steady(files),
    }  # fmt: skip
    write_document(work / MANIFEST, document, files)


def _expected(plan: SitePlan) -> Mapping[str, float]:
    """What is expected of the sites: money where they were chosen by it, else the map's standard deviation."""
    gain, forecast = plan.gain, plan.forecast
    money = {} if gain is None else {"worth": gain.worth, "cost": gain.cost, "perfect_worth": gain.perfect}
    if forecast is None:
        return money
    return {**money, "sd_mm": forecast.sd_mm, "sd_low_mm": forecast.best_mm, "sd_high_mm": forecast.worst_mm}


def write_sites_page(path: Path, run: ProbingRun, sites: gpd.GeoDataFrame, words: Words) -> None:
    """Write the page.

    Parameters
    ----------
    run : ProbingRun
        Everything that planning found.
    sites : GeoDataFrame
        Sites with what is said of them, in the reader's units.
    words : Words
        What is said around them.
    """
    context: dict[str, Any] = {
        "name": run.survey.paddock.name, "say": words.sites.label, "units": words.units, "trail": run.trail,
        "headline": words.sites.headline(run.plan, run.survey.paddock.area_ha),
        "sites": sites.drop(columns="geometry").to_dict("records"), "worthy": bool((sites["worth"] > 0).any()),
        "doubts": words.sites.doubts(run.plan), "before": words.sites.before(),
        "remarks": told_issues(run.issues, words)[["what", "done", "file", "place"]].to_dict("records"),
        "soils": soil_colours(run.survey.soil_types), "shut": len(run.survey.paddock.exclusions) > 0,
        "probed": len(run.plan.probed) > 0, "site_map": Markup(as_svg(draw_site_map(run, words))),
        "settings_text": json.dumps(run.trail.settings, indent=1, ensure_ascii=False, default=str),
        "crs_name": run.survey.crs.name,
    }  # fmt: skip
    write_page(path, context)


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


def read_sites_back(folder: Path, planned: gpd.GeoDataFrame) -> None:
    """Check sites.geojson (read by GDAL) and sites.gpx (read by defusedxml) against the plan.

    Raises
    ------
    ReadBackError
        A file does not hold the planned sites in their order and places.
    """
    places = pyogrio.read_dataframe(folder / "sites.geojson")
    _hold("sites.geojson", list(places["site"]), places.geometry.get_coordinates().to_numpy(), planned)
    points = ElementTree.parse(folder / "sites.gpx").getroot().findall(f"{_GPX}wpt")
    degrees = np.array([[float(point.get(axis)) for axis in ("lon", "lat")] for point in points])
    _hold("sites.gpx", [point.findtext(f"{_GPX}name") for point in points], degrees, planned)


def _hold(file: str, names: list[str], degrees: Floats, planned: gpd.GeoDataFrame) -> None:
    asked = planned[["longitude", "latitude"]].to_numpy(float)
    if names != list(planned["site"]) or np.abs(degrees - asked).max() > _ROUNDING:
        raise ReadBackError(
            found=f"it holds {len(names)} sites of other names or places",
            where=file,
            planned=f"the {len(planned)} sites as planned",
            why="a fault of the writer does that",
        )
