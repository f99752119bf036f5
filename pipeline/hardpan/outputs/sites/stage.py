"""The files of a plan of sites: table, map layer, waypoints, page."""

from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.geojson import write_features
from hardpan.outputs.gpx import write_gpx
from hardpan.outputs.manifest import provenance, steady, write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.sites.readback import read_sites_back
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import Units
from hardpan.records.probing import ProbingRun, SitePlan
from hardpan.records.trail import MANIFEST

COLUMNS = ("order", "site", "longitude", "latitude", "insertions", "soil_type", "why", "worth")
"""Columns of sites.csv."""


def write_sites(run: ProbingRun, settings: OutputSettings, folder: Path) -> tuple[Path, ...]:
    """Write sites.csv, sites.geojson, sites.gpx, sites.html and run.json into `folder`; give their paths.

    As in a run, files are written beside `folder`, read back, and renamed into place at the end.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result, the sites have no place in WGS 84, or a file read back does
        not say what was planned.
    """
    from hardpan.outputs.sites.page import write_sites_page  # noqa: PLC0415 - loads the plotting library

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
