"""The outputs: everything a run found, as the files people and machines read.

A writer with a heavy library is loaded where its format is asked for.
"""

import logging
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.core.units import M2_PER_HA
from hardpan.outputs.agreement import Expected, expected_of
from hardpan.outputs.display import check_geoparquet, fit_profile, hold_back, single_parts
from hardpan.outputs.folder import check_folder, clear_leftovers, fresh_folder
from hardpan.outputs.geodesy import degrees_per_metre, to_display
from hardpan.outputs.geojson import write_geojson, write_strips
from hardpan.outputs.geopackage import write_geopackage
from hardpan.outputs.guidance import guidance_lines
from hardpan.outputs.isoxml import lime_rates, lime_task, rip_task, write_taskdata
from hardpan.outputs.kml_gpx import write_kml
from hardpan.outputs.layers import band_unit, desktop_layers, drawn_layers, layer_styles, raster_layers
from hardpan.outputs.manifest import provenance, write_document, write_manifest, write_record
from hardpan.outputs.ownership import digests
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.readback import InCab, read_back
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.columns import tallied
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import plan_advice, set_up_advice, told_issues, told_zones
from hardpan.outputs.words.units import Units
from hardpan.records.alternatives import MachineRow
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issues
from hardpan.records.survey import DatumMove
from hardpan.records.trail import MANIFEST
from hardpan.spatial.polygons import hectares

__all__ = ["check_folder", "clear_leftovers", "write_outputs"]

TABLE = "machines.csv"

logger = logging.getLogger(__name__)


def write_outputs(run: PaddockRun, settings: OutputSettings, folder: Path, *, keep: bool = False) -> tuple[Path, ...]:
    """Write every file that `settings.formats` asks for, the tables and run.json; give their paths.

    Files are written beside `folder`, read back, and renamed into place at the end: an earlier result stays whole if
    anything fails. With `keep`, files that do not say what the plan says are left in a folder named as unchecked.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result, the plan does not fit the display's limits, or a file read
        back does not say what the plan says.
    """
    check_geoparquet(settings.formats)
    settings, held_back = hold_back(run.plan, settings)
    words = speak(Units.of_files(run.rates.currency), run.catalog)
    zones = told_zones(run.plan, words)
    shown, move, issues = to_display(zones)
    expected = expected_of(zones, seed=run.trail.seed)
    colours, maps, layers = depth_colours(zones["depth_mm"]), raster_layers(run), desktop_layers(run, words)
    with fresh_folder(folder, keep=keep) as work:
        in_cab, told = _write_for_cab(work, run, zones, shown, expected, settings=settings)
        issues = run.issues + issues + told + held_back
        if "job-card" in settings.formats:
            from hardpan.outputs.job_card import name_issues

            issues += name_issues(run.survey.paddock.name)
        title = words.page.label("kml_title")
        _write_for_desk(
            work, run, zones, shown, maps=maps, layers=layers, colours=colours, title=title, settings=settings
        )
        write_table(work / "issues.csv", told_issues(issues, words))
        _write_for_people(
            work, run, move=move, issues=issues, maps=maps, layers=drawn_layers(layers), colours=colours,
            settings=settings,
        )  # fmt: skip
        read_back(work, settings.formats, expected, in_cab, bands=tuple(maps), surfaces=run.surfaces)
        write_manifest(work / MANIFEST, run, words, move, issues, digests(work))
        for path in sorted(work.iterdir()):
            logger.info("%s: %d bytes", path.name, path.stat().st_size)
    return tuple(sorted(folder.iterdir()))


def _write_for_desk(
    work: Path,
    run: PaddockRun,
    zones: gpd.GeoDataFrame,
    shown: gpd.GeoDataFrame,
    *,
    maps: Mapping[str, Floats],
    layers: Mapping[str, gpd.GeoDataFrame],
    colours: Mapping[int, str],
    title: str,
    settings: OutputSettings,
) -> None:
    """Write what a desktop GIS opens, and the tables."""
    if "geojson" in settings.formats:
        write_geojson(work / "prescription.geojson", shown, run.survey.paddock.name)
    if "geopackage" in settings.formats:
        write_geopackage(work / "prescription.gpkg", layers, layer_styles(run, colours))
    if "geoparquet" in settings.formats:
        layers["zones"].to_parquet(work / "zones.parquet", index=False)
        layers["probes"].to_parquet(work / "probes.parquet", index=False)
    if "kml" in settings.formats:
        says = rip_task(zones, settings.display_unit).says
        write_kml(work / "prescription.kml", shown, says, colours, title=title)
    if "geotiff" in settings.formats:
        from hardpan.outputs.rasters import write_geotiff

        write_geotiff(work / "surfaces.tif", maps, {name: band_unit(name) for name in maps}, run.zones.frame)
    write_record(work, run)
    if run.strips is not None:
        write_strips(work / "strips.geojson", run.strips, run.survey.paddock.name)
    if "netcdf" in settings.formats:
        from hardpan.outputs.rasters import write_netcdf

        name, trail = run.survey.paddock.name, run.trail
        write_netcdf(work / "draws.nc", run.surfaces, title=name, seed=trail.seed, version=trail.version)
    write_table(work / "zones.csv", zones.drop(columns="geometry"))
    write_table(work / "tallies.csv", tallied(run.ledger.lines, Units.of(settings, run.rates.currency)))
    write_table(work / "residuals.csv", run.surfaces.residuals)
    if run.machines:
        write_table(work / TABLE, machine_table(run.machines))


def _write_for_cab(
    work: Path,
    run: PaddockRun,
    zones: gpd.GeoDataFrame,
    shown: gpd.GeoDataFrame,
    expected: Expected,
    *,
    settings: OutputSettings,
) -> tuple[InCab, Issues]:
    """Write what goes into the cab, within the display's limits; give what its files must say, and what was changed."""
    fitted, moved_m, issues = fit_profile(zones, settings)
    if fitted is not zones:
        shown_in_cab = to_display(fitted)[0]
        area_ha = hectares(fitted.geometry.to_numpy(), run.survey.crs)
        expected = expected_of(fitted.assign(area_ha=area_ha), seed=run.trail.seed)
    else:
        shown_in_cab = shown
    parts, unit = single_parts(shown_in_cab), settings.display_unit
    lost_mm = depth_without_position(zones, run.survey.paddock.exclusions)
    if "shapefile" in settings.formats:
        from hardpan.outputs.shapefile import write_shapefile

        write_shapefile(work / "prescription_shp.zip", parts, unit)
    if "isoxml" in settings.formats:
        grid, told = _task_grid(run, shown, settings)
        _write_tasks(work / "taskdata.zip", run, shown_in_cab, parts, grid=grid, lost_mm=lost_mm, settings=settings)
        issues += told
    return InCab(fitted=expected, moved_m=moved_m, unit=unit, lost_mm=lost_mm), issues


def _task_grid(
    run: PaddockRun, shown: gpd.GeoDataFrame, settings: OutputSettings
) -> tuple[xr.DataArray | None, Issues]:
    """Grid of the task data and remarks on it; none where polygons are asked for."""
    if settings.isoxml_shape == "polygons":
        return None, ()
    from hardpan.outputs.task_grid import zone_grid

    per_metre = degrees_per_metre(float(np.mean(shown.total_bounds[[1, 3]])))
    return zone_grid(shown, per_metre, settings, run.catalog.ripper.width_m)


def _write_tasks(
    path: Path,
    run: PaddockRun,
    cab: gpd.GeoDataFrame,
    parts: gpd.GeoDataFrame,
    *,
    grid: xr.DataArray | None,
    lost_mm: int,
    settings: OutputSettings,
) -> None:
    lime = lime_rates(run.ledger.lines)
    tasks = (rip_task(cab, settings.display_unit, lost_mm=lost_mm), *((lime_task(lime, settings),) if lime else ()))
    identity = (run.survey.paddock.name, run.trail.version, run.survey.paddock.area_ha * M2_PER_HA)
    outline = shapely.coverage_union_all(cab.geometry.array)
    lines = guidance_lines(run.plan.zones, run.zones.table, width_m=run.catalog.ripper.width_m)
    write_taskdata(
        path, tasks=tasks, parts=parts, grid=grid, boundary=outline, identity=identity, settings=settings, lines=lines
    )


def _write_for_people(
    work: Path,
    run: PaddockRun,
    *,
    move: DatumMove,
    issues: Issues,
    maps: Mapping[str, Floats],
    layers: Mapping[str, gpd.GeoDataFrame],
    colours: Mapping[int, str],
    settings: OutputSettings,
) -> None:
    """Write what is read: the report for the desk and the phone, the job card for the cab."""
    if not {"report", "job-card"} & set(settings.formats):
        return
    from hardpan.outputs.zone_map import as_png, as_svg, draw_zone_map

    units = Units.of(settings, run.rates.currency)
    words, tables = speak(units, run.catalog), speak(units.of_tables, run.catalog)
    depth_map = draw_zone_map(layers["zones"], colours, words)
    lost = _without_position(run, settings, words)
    if "report" in settings.formats:
        from hardpan.outputs.report.page import write_report

        write_report(
            work / "report.html", run, move=move, issues=issues, layers=layers, maps=maps, colours=colours,
            depth_map=as_svg(depth_map), lost=lost, words=words, tables=tables,
        )  # fmt: skip
    if "job-card" in settings.formats:
        from hardpan.outputs.job_card import write_job_card

        plan = run.plan
        told = plan_advice(plan.zones, plan.moisture, plan.conditions, run.catalog, words)
        write_job_card(
            work / "job-card.pdf", run, told=told,
            setting_up=set_up_advice(plan.setting_up, words), colours=colours,
            depth_map=as_png(depth_map, 220), lost=lost, words=words,
        )  # fmt: skip


def _without_position(run: PaddockRun, settings: OutputSettings, words: Words) -> str:
    exclusions = run.survey.paddock.exclusions
    depth_mm = None
    if "isoxml" in settings.formats:
        depth_mm = depth_without_position(run.plan.zones, exclusions)
    return words.page.lost(depth_mm, buried=len(exclusions) > 0)


def depth_without_position(zones: pd.DataFrame, exclusions: pd.DataFrame) -> int:
    """Depth in mm before the first position and after the last: the shallowest planned, 0 where a service is buried.

    Without a position nobody knows how near the tines are to what lies buried.

    Parameters
    ----------
    zones : DataFrame
        `depth_mm` of each zone of the plan.
    exclusions : DataFrame
        `buried` of each exclusion.
    """
    ripped = zones.loc[zones["depth_mm"] > 0, "depth_mm"]
    return 0 if exclusions["buried"].any() or ripped.empty else round(ripped.min())


def machine_table(rows: tuple[MachineRow, ...]) -> pd.DataFrame:
    """One row a machine, columns the fields of `MachineRow`; depths in mm, shallowest first."""
    table = pd.DataFrame([asdict(row) for row in rows])
    return table.assign(depths_mm=[" ".join(map(str, row.depths_mm)) for row in rows])


def write_machines(run: PaddockRun, folder: Path) -> tuple[Path, ...]:
    """Write machines.csv and run.json; give their paths.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    with fresh_folder(folder) as work:
        write_table(work / TABLE, machine_table(run.machines))
        document = provenance(run.trail) | {"kind": "machines", "paddock": {"name": run.survey.paddock.name}}
        write_document(work / MANIFEST, document, digests(work))
    return tuple(sorted(folder.iterdir()))
