"""The page season.html: what is ripped when, where, and what it returns, over many paddocks."""

import textwrap
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.core.arrays import Bools
from hardpan.core.said import Measure
from hardpan.core.settings import parse
from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import EDGE, INK, SHUT, SOILS, depth_colours
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.english import farm as words
from hardpan.outputs.words.units import MISSING, Units
from hardpan.outputs.zone_map import as_svg, bare_axes, outline_path
from hardpan.records.ledger import ALL_PADDOCKS, NET_RETURN
from hardpan.records.past import FarmRun, FarmSeason, PaddockResult
from hardpan.records.season import Fate
from hardpan.records.trail import MANIFEST

_FIGURES = ("net", "hours", "ripped_ha", "litres")
_DUE = ["again_low", "again_high", "again_mm"]
_WIDTH_IN = 6.0
_ROW_IN, _LETTERS_PT, _NAME = 0.26, 11, 22
"""Height of a paddock's row in the calendar, its letters, and how many of them a name may have there."""
_LABELLED_DAYS = 5
"""Days of the calendar that are written out, about."""


def write_season_page(path: Path, run: FarmRun, zones: gpd.GeoDataFrame | None) -> None:
    """Write the page: map of `zones_of_all`, paddocks by return per hour, sums with their range, and what failed."""
    units = units_of(run)
    ranked = sorted(run.results.items(), key=lambda one: -one[1].net_per_hour)
    numbers = {slug: number for number, slug in enumerate(run.fates or dict(ranked), start=1)}
    names = {slug: f"{number}\u00a0{run.names[slug]}" for slug, number in numbers.items()}
    drawn, key = ("", []) if zones is None else _map(zones, numbers, units)
    total = run.tallies[(run.tallies["paddock"] == ALL_PADDOCKS) & (run.tallies["item"] == NET_RETURN)]
    answer = words.answer(run, units)
    context = {
        "name": run.file.stem, "say": words.label, "headline": answer[0], "besides": [*answer[1:], run.fault],
        "map": drawn, "key": key,
        "doubts": words.doubts(ranged=bool(total["low"].notna().all()), priced=bool(units.currency)),
        "names": list(names.values()),
        "paddocks": _paddocks(run, dict(ranked), names, units),
        "calendar": None if run.season is None else calendar(run, run.season, names, units),
        "days": None if run.season is None else _days(run.season, names),
        "years": years_table(run, names, units),
        "calendar_says": [] if run.season is None else words.season_says(run.season, run.names, units),
        "failed": Table(
            [words.label(name) for name in ("place", "paddock", "reason")],
            [[job.place, job.paddock, outcome.reason] for job, outcome in run.failed],
        ),
        "version": run.version, "started": run.started,
    }  # fmt: skip
    write_page(path, context)


def units_of(run: FarmRun, *, plain: bool = False) -> Units:
    """Units of the paddocks' readers, those of the files where they differ; no currency where they have several."""
    results = run.results.values()
    currencies = {result.totals.currency for result in results}
    currency = next(iter(currencies)) if len(currencies) == 1 else ""
    asked = {Units.of(parse(OutputSettings, result.outputs, file=MANIFEST), currency) for result in results}
    return replace(next(iter(asked)) if len(asked) == 1 else Units.of_files(currency), plain=plain)


def _map(zones: gpd.GeoDataFrame, numbers: dict[str, int], units: Units) -> tuple[Markup, list[tuple[str, str]]]:
    colours = depth_colours(zones["depth_mm"])
    key = [(units.depth(mm) if mm else words.label("leave"), colour) for mm, colour in colours.items()]
    return Markup(as_svg(draw_farm(zones, colours, numbers))), key


def _paddocks(run: FarmRun, ranked: Mapping[str, PaddockResult], names: Mapping[str, str], units: Units) -> Table:
    """One row a paddock and one for all, money without its unit."""
    volume = units.scale(Measure.VOLUME).unit
    parts = {"area": units.area_unit, "money": units.sign or MISSING, "volume": volume}
    keys = ("paddock", "per_hour", "net", "range", "ripped", "hours", "fuel")
    nets = run.tallies[run.tallies["item"] == NET_RETURN].set_index("paddock")
    figures = {slug: [getattr(result, name) for name in _FIGURES] for slug, result in ranked.items()}
    rows = [[names[slug], *_told(its, nets, slug, units)] for slug, its in figures.items()]
    sums = [sum(each) for each in zip(*figures.values(), strict=True)]
    if sums:
        sums[0] = float(nets["amount"].get(ALL_PADDOCKS, 0.0))
        rows.append([words.label("all"), *_told(sums, nets, ALL_PADDOCKS, units)])
    return Table([words.label(key, **parts) for key in keys], rows)


def _told(figures: list[float], nets: pd.DataFrame, slug: str, units: Units) -> list[str]:
    net, hours, ripped_ha, litres = figures
    low, high = (float(nets[end].get(slug, np.nan)) for end in ("low", "high"))
    span = f"{units.figure(low, 0)} to {units.figure(high, 0)}" if np.isfinite(low) else MISSING
    money = [units.figure(each, 0) for each in (net / hours if hours else np.nan, net)]
    fuel = units.write(litres, Measure.VOLUME, bare=True)
    return [*money, span, units.area(ripped_ha, bare=True), units.figure(hours, 1), fuel]


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
            str(numbers[str(paddock)]), (place.x, place.y), ha="center", va="center", fontsize=_LETTERS_PT,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": EDGE, "linewidth": 0.4},
        )  # fmt: skip
    return figure


def chances_of(season: FarmSeason) -> dict[str, float]:
    """Share of the years in which each paddock is finished; none where no years are known."""
    if season.stress is None:
        return {}
    return {str(row["paddock"]): float(row["done_share"]) for row in season.stress.jobs.to_dict("records")}


def calendar(run: FarmRun, season: FarmSeason, names: Mapping[str, str], units: Units) -> Table:
    """One row a paddock in the order they are begun: when, with what, how often it is finished in other years."""
    plan, shares = season.plan, chances_of(season)
    jobs = {str(row["paddock"]): row for row in plan.jobs.to_dict("records")}
    rows = []
    for slug, fate in run.fates.items():
        cells = [words.fate(fate), MISSING, MISSING]
        if fate is Fate.DONE:
            row = jobs[slug]
            begun, done = (plan.days[int(row[name])] for name in ("first_day", "last_day"))
            cells = [words.span_of_days(begun, done), str(row["rig"]), units.figure(row["hours"], 1)]
        rows.append([names[slug], *cells, units.share(shares.get(slug, np.nan))])
    keys = ("paddock", "when", "machine", "hours", "finished")
    return Table([words.label(key) for key in keys], rows)


def _days(season: FarmSeason, names: Mapping[str, str]) -> tuple[Markup, list[tuple[str, str]]] | None:
    """Picture of the calendar and the key to its colours; None where no paddock is ripped."""
    if season.plan.work.empty:
        return None
    rigs = list(dict.fromkeys(season.plan.work["rig"].astype(str)))
    colours = {rig: SOILS[number % len(SOILS)] for number, rig in enumerate(rigs)}
    key = [*colours.items(), (words.label("closed"), SHUT)]
    return Markup(as_svg(draw_calendar(season, names, colours))), key


def draw_calendar(season: FarmSeason, names: Mapping[str, str], colours: Mapping[str, str]) -> Figure:
    """Paddocks as they are begun against the days: the hours a machine is in each, and the days it may not be worked.

    Parameters
    ----------
    season : FarmSeason
        The longest day of a machine fills the width of a day.
    names : Mapping
        Name of a paddock by its slug.
    colours : Mapping
        Colour of a machine by its name.
    """
    plan = season.plan
    order = plan.jobs[plan.jobs["first_day"] >= 0].sort_values("first_day", kind="stable")["paddock"].astype(str)
    rows = {slug: row for row, slug in enumerate(order)}
    height = _ROW_IN * len(rows)
    figure = Figure(figsize=(_WIDTH_IN, height + 0.4))
    axes = figure.add_axes((0.37, 0.02, 0.62, height / (height + 0.4)))
    axes.set(xlim=(0, len(plan.days)), ylim=(len(rows), 0), yticks=[row + 0.5 for row in rows.values()])
    axes.set_yticklabels([textwrap.shorten(names[slug], _NAME, placeholder=" …") for slug in rows])
    step = max(-(-len(plan.days) // _LABELLED_DAYS), 1)
    marked = range(0, len(plan.days), step)
    axes.set_xticks(marked, [words.span_of_days(plan.days[day], plan.days[day]) for day in marked], ha="left")
    axes.tick_params(length=0, labelsize=_LETTERS_PT, labelcolor=INK, labeltop=True, labelbottom=False)
    for side in axes.spines.values():
        side.set_visible(False)
    for row in range(len(rows) + 1):
        axes.axhline(row, color=INK, linewidth=0.3, alpha=0.5)
    for day in marked:
        axes.axvline(day, color=INK, linewidth=0.3, alpha=0.5)
    for slug, row in rows.items():
        axes.broken_barh(_runs(~season.open_days[slug]), (row, 1.0), facecolor=SHUT)
    for work in _placed(plan.work).to_dict("records"):
        bar = [(work["begin"], work["width"])], (rows[str(work["paddock"])] + 0.12, 0.76)
        axes.broken_barh(*bar, facecolor=colours[str(work["rig"])], edgecolor=EDGE, linewidth=0.4)
    return figure


def _runs(flags: Bools) -> list[tuple[int, int]]:
    """First day and number of days of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(int(first), int(end - first)) for first, end in edges.reshape(-1, 2)]


def _placed(work: pd.DataFrame) -> pd.DataFrame:
    """Work with `begin` and `width` in days, moves before it left free."""
    taken = work["hours"] + work["move_h"]
    of_day = taken.groupby([work["rig"], work["day"]])
    day_h = of_day.transform("sum").groupby(work["rig"]).transform("max")
    begin = work["day"] + (of_day.cumsum() - work["hours"]) / day_h
    return work.assign(begin=begin, width=work["hours"] / day_h)


def years_table(run: FarmRun, names: Mapping[str, str], units: Units) -> Table:
    """Zones that are ripped and come again alike, by paddock, the soonest first."""
    rows = list[tuple[float, float, list[str]]]()
    for slug, result in run.results.items():
        ripped = result.zones[(result.zones["depth_mm"] > 0) & result.zones["again_low"].notna()]
        for (low, high, depth_mm), its in ripped.groupby(_DUE):
            told = [names[slug], words.numbers(its["zone"]), units.area(its["area_ha"].sum(), bare=True)]
            rows.append((low, high, [*told, words.seasons(low, high), units.depth(depth_mm)]))
    keys = ("paddock", "zones", "area", "after", "depth_then")
    labels = [words.label(key, area=units.area_unit) for key in keys]
    return Table(labels, [row for _, _, row in sorted(rows, key=lambda one: one[:2])])
