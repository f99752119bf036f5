"""Every file that tells of many paddocks, written beside its place and renamed into it at the end; season.html."""

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.outputs.folder import fresh_files
from hardpan.outputs.geodesy import WGS84, to_wgs84
from hardpan.outputs.geopackage import write_geopackage
from hardpan.outputs.manifest import write_document
from hardpan.outputs.ownership import REPLACED, digests, own_files
from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import EDGE, depth_colours
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.english import farm as words
from hardpan.outputs.words.units import MISSING, Units
from hardpan.outputs.zone_map import as_svg, bare_axes, outline_path
from hardpan.records.farm import Job, Outcome
from hardpan.records.ledger import ALL_PADDOCKS
from hardpan.records.past import FarmRun, FarmSeason, PaddockResult
from hardpan.records.season import Fate
from hardpan.records.trail import MANIFEST

COLUMNS = ("paddock", "config", "status", "reason", "ripped_ha", "net", "hours", "litres", "seconds", "peak_mb")
"""Columns of farm.csv."""

_MB = 1e6

_ZONES = (
    "zone", "kind", "soil_type", "setup", "depth_mm", "spacing_mm", "speed_kmh", "area_ha", "hours", "fuel_l",
    "again_low", "again_high", "again_mm",
)  # fmt: skip
"""Columns of farm.gpkg beside the paddock."""

_NET = "net return"
_FIGURES = ("net", "hours", "ripped_ha", "litres")

_WIDTH_IN = 6.0

SEASON = ("day", "machine", "paddock", "hours", "why", "chance")
"""Columns of season.csv; `chance` is that of finishing the paddock, by years of weather."""

_DUE = ["again_low", "again_high", "again_mm"]


def write_farm(run: FarmRun, folder: Path) -> tuple[Path, ...]:
    """Write what tells of all paddocks into the folder that holds their results; give the paths.

    Raises
    ------
    HardpanError
        The disk is full.
    """
    replaced = own_files(folder)
    with fresh_files(folder) as work:
        write_table(work / "farm.csv", paddock_table(run))
        zones = zones_of_all(run) if run.results else None
        if zones is not None:
            write_table(work / "tallies.csv", run.tallies)
            colours = depth_colours(zones["depth_mm"])
            styles = {"zones": ("depth_mm", {str(depth): colour for depth, colour in colours.items()})}
            write_geopackage(work / "farm.gpkg", {"zones": zones}, styles)
        if run.season is not None:
            write_table(work / "season.csv", season_table(run, run.season))
        write_season_page(work / "season.html", run, zones)
        _write_manifest(work, run, replaced)
        names = sorted(path.name for path in work.iterdir())
    return tuple(folder / name for name in names)


def paddock_table(run: FarmRun) -> pd.DataFrame:
    """One row a paddock, in the order of the list; figures that are not known are missing."""
    rows = [_row(run, job, outcome) for job, outcome in zip(run.jobs, run.outcomes, strict=True)]
    return pd.DataFrame(rows, columns=[*COLUMNS])


def _row(run: FarmRun, job: Job, outcome: Outcome) -> dict[str, object]:
    row: dict[str, object] = {
        "paddock": outcome.slug,
        "config": _from(run.file.resolve().parent, job.config),
        "status": str(outcome.status),
        "reason": outcome.reason,
        "seconds": outcome.seconds,
        "peak_mb": None if outcome.peak_bytes is None else round(outcome.peak_bytes / _MB),
    }
    result = run.results.get(outcome.slug)
    if result is not None:
        row |= {name: getattr(result, name) for name in ("ripped_ha", "net", "hours", "litres")}
    return row


def _from(folder: Path, config: Path) -> str:
    """Path of a configuration from the folder of the list, where it lies below it."""
    return config.relative_to(folder).as_posix() if config.is_relative_to(folder) else str(config)


def _write_manifest(work: Path, run: FarmRun, replaced: dict[str, str]) -> None:
    """Write run.json: the list, and of each paddock where it stands, what came of it and the number of its plan."""
    files = digests(work)
    paddocks = [
        {
            "paddock": outcome.slug, "name": job.paddock, "place": job.place, "config": job.config.name,
            "plan": run.results[outcome.slug].plan_number if outcome.slug in run.results else None,
        }
        for job, outcome in zip(run.jobs, run.outcomes, strict=True)
    ]  # fmt: skip
    document = {
        "tool": "hardpan",
        "kind": "farm",
        "version": run.version,
        "list": {"file": run.file.name, "sha256": run.digest},
        "paddocks": paddocks,
        "clock": {"started": run.started, REPLACED: {name: one for name, one in replaced.items() if name != MANIFEST}},
    }
    write_document(work / MANIFEST, document, files)


def zones_of_all(run: FarmRun) -> gpd.GeoDataFrame:
    """Zones of all paddocks as planned, WGS 84, with the column `paddock`."""
    layers = []
    for slug, result in run.results.items():
        shapes, _ = to_wgs84(result.zones.geometry.to_numpy(), result.zones.crs)
        table = result.zones[[*_ZONES]].assign(paddock=slug, name=run.names[slug])
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
        "years": years_table(run, units),
        "calendar_says": [] if run.season is None else words.season_says(run.season, run.names, units.currency),
        "failed": Table(
            [words.label(name) for name in ("place", "paddock", "reason")],
            [[job.place, job.paddock, outcome.reason] for job, outcome in run.failed],
        ),
        "version": run.version, "started": run.started,
    }  # fmt: skip
    write_page(path, context)


def _map(zones: gpd.GeoDataFrame, numbers: dict[str, int], units: Units) -> tuple[Markup, list[tuple[str, str]]]:
    colours = depth_colours(zones["depth_mm"])
    key = [(units.depth(mm) if mm else words.label("leave"), colour) for mm, colour in colours.items()]
    return Markup(as_svg(draw_farm(zones, colours, numbers))), key


def _paddocks(run: FarmRun, ranked: list[tuple[str, PaddockResult]], units: Units) -> Table:
    """One row a paddock and one for all, money without its unit."""
    parts = {"area": units.area_unit, "money": units.sign or MISSING}
    keys = ("number", "paddock", "per_hour", "ripped", "net", "range", "hours", "fuel")
    nets = run.tallies[run.tallies["item"] == _NET].set_index("paddock")
    figures = {slug: [getattr(result, name) for name in _FIGURES] for slug, result in ranked}
    rows = [
        [str(number), run.names[slug], *_told(figures[slug], nets, slug)]
        for number, (slug, _) in enumerate(ranked, start=1)
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
    return [money[1], f"{ripped_ha:.1f}", money[0], span, f"{hours:.1f}", f"{litres:,.0f}"]


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
            str(numbers[str(paddock)]), (place.x, place.y), ha="center", va="center", fontsize=9,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": EDGE, "linewidth": 0.4},
        )  # fmt: skip
    return figure


def season_table(run: FarmRun, season: FarmSeason) -> pd.DataFrame:
    """One row a day, machine and paddock in working order, then one without a day for each paddock that is left."""
    plan, chance = season.plan, _chances(season)
    rows = [
        (
            plan.days[int(row["day"])].isoformat(),
            row["rig"],
            row["paddock"],
            row["hours"],
            _why(run, row["paddock"]),
            chance.get(row["paddock"]),
        )
        for row in plan.work.to_dict("records")
    ]
    fates = {str(row["paddock"]): Fate(row["fate"]) for row in plan.jobs.to_dict("records")}
    left = {slug: fates.get(slug, Fate.NO_GAIN) for slug in run.results if fates.get(slug) is not Fate.DONE}
    rows += [("", "", slug, 0.0, words.fate(fate), chance.get(slug)) for slug, fate in left.items()]
    return pd.DataFrame(rows, columns=[*SEASON])


def _chances(season: FarmSeason) -> dict[str, float]:
    """Share of the years in which each paddock is finished; none where no years are known."""
    if season.stress is None:
        return {}
    return {str(row["paddock"]): float(row["done_share"]) for row in season.stress.jobs.to_dict("records")}


def _why(run: FarmRun, slug: str) -> str:
    return words.must() if run.must[slug] else words.per_hour(run.results[slug].net_per_hour)


def calendar(run: FarmRun, season: FarmSeason) -> Table:
    """One row a paddock in the order they are begun: when, with what, how often it is finished in other years."""
    plan, shares = season.plan, _chances(season)
    order = plan.jobs.assign(begun=plan.jobs["first_day"].where(plan.jobs["first_day"] >= 0, len(plan.days)))
    rows = []
    for row in order.sort_values("begun", kind="stable").to_dict("records"):
        slug, fate = str(row["paddock"]), Fate(row["fate"])
        share = f"{shares[slug]:.0%}" if slug in shares else MISSING
        cells = [words.fate(fate), MISSING, MISSING]
        if fate is Fate.DONE:
            begun, done = (plan.days[int(row[name])] for name in ("first_day", "last_day"))
            cells = [words.span_of_days(begun, done), str(row["rig"]), f"{row['hours']:.1f}"]
        rows.append([run.names[slug], *cells, share])
    keys = ("paddock", "when", "machine", "hours", "finished")
    return Table([words.label(key) for key in keys], rows)


def years_table(run: FarmRun, units: Units) -> Table:
    """Zones that are ripped and come again alike, by paddock, the soonest first."""
    rows = list[tuple[float, float, list[str]]]()
    for slug, result in run.results.items():
        ripped = result.zones[(result.zones["depth_mm"] > 0) & result.zones["again_low"].notna()]
        for (low, high, depth_mm), its in ripped.groupby(_DUE):
            told = [run.names[slug], words.numbers(its["zone"]), f"{its['area_ha'].sum():.1f}"]
            rows.append((low, high, [*told, words.seasons(low, high), units.depth(depth_mm)]))
    keys = ("paddock", "zones", "area", "after", "depth_then")
    labels = [words.label(key, area=units.area_unit) for key in keys]
    return Table(labels, [row for _, _, row in sorted(rows, key=lambda one: one[:2])])
