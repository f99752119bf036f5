"""season.html: the paddocks of a list side by side, for whoever decides where to begin."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from markupsafe import Markup

from hardpan.outputs.farm.figures import draw_farm
from hardpan.outputs.farm.season import calendar
from hardpan.outputs.farm.years import years_table
from hardpan.outputs.geodesy import WGS84, to_wgs84
from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.words.english import farm as words
from hardpan.outputs.words.units import MISSING, Units
from hardpan.outputs.zone_map import as_svg
from hardpan.records.across import FarmRun, PaddockResult
from hardpan.records.totals import ALL_PADDOCKS

_ZONES = (
    "zone", "kind", "soil_type", "setup", "depth_mm", "spacing_mm", "speed_kmh", "area_ha", "hours", "fuel_l",
    "again_low", "again_high", "again_mm",
)  # fmt: skip
"""Columns of farm.gpkg beside the paddock."""

_NET = "net return"
_FIGURES = ("net", "hours", "ripped_ha", "litres")


def zones_of_all(run: FarmRun) -> gpd.GeoDataFrame:
    """Zones of all paddocks as planned, WGS 84, with the column `paddock`."""
    layers = []
    for slug, result in run.results.items():
        shapes, _ = to_wgs84(result.zones.geometry.to_numpy(), result.zones.crs)
        table = result.zones[[*_ZONES]].assign(paddock=slug, name=result.name)
        layers.append(gpd.GeoDataFrame(table[["paddock", "name", *_ZONES]], geometry=shapes, crs=WGS84))
    return gpd.GeoDataFrame(pd.concat(layers, ignore_index=True))


def write_season_page(path: Path, run: FarmRun, zones: gpd.GeoDataFrame | None) -> None:
    """Write the page: map of `zones_of_all`, paddocks by return per hour, sums with their range, and what failed."""
    currencies = {result.totals.currency for result in run.results.values()}
    units = Units.of_files(next(iter(currencies)) if len(currencies) == 1 else "")
    ranked = sorted(run.results.items(), key=lambda one: -one[1].net_per_hour)
    numbers = {slug: number for number, (slug, _) in enumerate(ranked, start=1)}
    drawn, key = ("", []) if zones is None else _map(zones, numbers, units)
    total = run.tallies[(run.tallies["paddock"] == ALL_PADDOCKS) & (run.tallies["item"] == _NET)]
    context = {
        "name": run.file.stem, "say": words.label, "headline": words.headline(run), "map": drawn, "key": key,
        "doubts": words.doubts(ranged=bool(total["low"].notna().all()), priced=len(currencies) < 2),
        "paddocks": _paddocks(run, ranked, units),
        "calendar": None if run.season is None else calendar(run, run.season),
        "years": years_table(run, units), "calendar_says": [] if run.season is None else words.season_says(run.season),
        "failed": Table(
            [words.label(name) for name in ("place", "paddock", "reason")],
            [[job.place, job.paddock, outcome.reason] for job, outcome in run.failed],
        ),
        "version": run.version, "started": run.started,
    }  # fmt: skip
    write_page(path, "farm", context)


def _map(zones: gpd.GeoDataFrame, numbers: dict[str, int], units: Units) -> tuple[Markup, list[tuple[str, str]]]:
    colours = depth_colours(zones["depth_mm"])
    key = [(units.depth(mm) if mm else words.label("leave"), colour) for mm, colour in colours.items()]
    return Markup(as_svg(draw_farm(zones, colours, numbers))), key


def _paddocks(run: FarmRun, ranked: list[tuple[str, PaddockResult]], units: Units) -> Table:
    """One row a paddock and one for all, money without its unit."""
    parts = {"area": units.area_unit, "money": units.sign or MISSING}
    keys = ("number", "paddock", "ripped", "net", "range", "hours", "per_hour", "fuel")
    nets = run.tallies[run.tallies["item"] == _NET].set_index("paddock")
    figures = {slug: [getattr(result, name) for name in _FIGURES] for slug, result in ranked}
    rows = [
        [str(number), result.name, *_told(figures[slug], nets, slug)]
        for number, (slug, result) in enumerate(ranked, start=1)
    ]
    sums = [sum(each) for each in zip(*figures.values(), strict=True)]
    if sums:
        sums[0] = float(nets["amount"].get(ALL_PADDOCKS, 0.0))
        rows.append(["", words.label("all"), *_told(sums, nets, ALL_PADDOCKS)])
    return Table([words.label(key, **parts) for key in keys], rows)


def _told(figures: list[float], nets: pd.DataFrame, slug: str) -> list[str]:
    net, hours, ripped_ha, litres = figures
    low, high = (float(nets[end].get(slug, np.nan)) for end in ("low", "high"))
    span = f"{low:,.0f} to {high:,.0f}" if np.isfinite(low) else MISSING
    per_hour = net / hours if hours else np.nan
    money = [f"{each:,.0f}" if np.isfinite(each) else MISSING for each in (net, per_hour)]
    return [f"{ripped_ha:.1f}", money[0], span, f"{hours:.1f}", money[1], f"{litres:,.0f}"]
