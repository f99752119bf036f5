"""Every file that tells of many paddocks, written beside its place and renamed into it at the end."""

from pathlib import Path

import geopandas as gpd
import pandas as pd

from hardpan.outputs.folder import fresh_files
from hardpan.outputs.geodesy import WGS84, to_wgs84
from hardpan.outputs.geopackage import write_geopackage
from hardpan.outputs.manifest import write_document
from hardpan.outputs.ownership import REPLACED, digests, own_files
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.season_page import chances_of, units_of, write_season_page
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.english import farm as words
from hardpan.outputs.words.shown import rounded_parts
from hardpan.records.farm import Job, Outcome
from hardpan.records.past import FarmRun, FarmSeason
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

SEASON = ("day", "machine", "paddock", "hours", "why", "chance")
"""Columns of season.csv; `chance` is that of finishing the paddock, by years of weather."""

_HOUR_STEP = 0.01
"""Hours of a paddock's days are rounded so that they add up to the paddock's."""


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


def tell_farm(run: FarmRun) -> list[str]:
    """What the season begins with, rips and leaves, and what came of the list, for the terminal."""
    return words.answer(run, units_of(run, plain=True))


def paddock_table(run: FarmRun) -> pd.DataFrame:
    """One row a paddock, in the order of the list; figures that are not known are missing."""
    rows = [_row(run, job, outcome) for job, outcome in zip(run.jobs, run.outcomes, strict=True)]
    return pd.DataFrame(rows, columns=[*COLUMNS])


def _row(run: FarmRun, job: Job, outcome: Outcome) -> dict[str, object]:
    home = run.file.resolve().parent
    row: dict[str, object] = {
        "paddock": outcome.slug,
        "config": job.config.relative_to(home).as_posix() if job.config.is_relative_to(home) else str(job.config),
        "status": str(outcome.status),
        "reason": outcome.reason,
        "seconds": outcome.seconds,
        "peak_mb": None if outcome.peak_bytes is None else round(outcome.peak_bytes / _MB),
    }
    result = run.results.get(outcome.slug)
    if result is not None:
        row |= {name: getattr(result, name) for name in ("ripped_ha", "net", "hours", "litres")}
    return row


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


def season_table(run: FarmRun, season: FarmSeason) -> pd.DataFrame:
    """One row a day, machine and paddock in working order, then one without a day for each paddock that is left."""
    plan, chance, units = season.plan, chances_of(season), units_of(run, plain=True)
    work = plan.work.merge(plan.jobs.assign(per_hour=plan.jobs["net"] / plan.jobs["hours"])[["paddock", "per_hour"]])
    work["hours"] = work.groupby("paddock")["hours"].transform(lambda its: rounded_parts(its.to_numpy(), _HOUR_STEP))
    rows = [
        (
            plan.days[int(row["day"])].isoformat(),
            row["rig"],
            row["paddock"],
            row["hours"],
            words.must() if run.must[row["paddock"]] else words.per_hour(row["per_hour"], units),
            chance.get(row["paddock"]),
        )
        for row in work.to_dict("records")
    ]
    left = {slug: fate for slug, fate in run.fates.items() if fate is not Fate.DONE}
    rows += [("", "", slug, 0.0, words.fate(fate), chance.get(slug)) for slug, fate in left.items()]
    return pd.DataFrame(rows, columns=[*SEASON])
