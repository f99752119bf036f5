"""The outputs: everything a run found, as the files people and machines read."""

import hashlib
from pathlib import Path

from hardpan.outputs.display import fit_profile, single_parts
from hardpan.outputs.folder import MANIFEST, check_folder, fresh_folder
from hardpan.outputs.geodesy import to_display
from hardpan.outputs.geojson import write_geojson
from hardpan.outputs.geopackage import write_geopackage
from hardpan.outputs.geotiff import write_geotiff
from hardpan.outputs.layers import BAND_UNITS, desktop_layers, layer_styles, raster_layers
from hardpan.outputs.manifest import write_manifest
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.report import write_report
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.shapefile import write_shapefile
from hardpan.outputs.tables import issue_table, write_table
from hardpan.records.evidence import PaddockRun

__all__ = ["check_folder", "write_outputs"]


def write_outputs(run: PaddockRun, settings: OutputSettings, folder: Path) -> tuple[Path, ...]:
    """Write every file that `settings.formats` asks for, the tables and run.json; give their paths.

    Files are written beside `folder` and renamed into place at the end: an earlier result stays whole if anything
    fails.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result, or the plan does not fit the display's limits.
    """
    zones = run.plan.zones.sort_values("zone").reset_index(drop=True)
    shown, move, moved = to_display(zones)
    fitted, simplified = fit_profile(zones, settings)
    parts = single_parts(shown if fitted is zones else to_display(fitted)[0])
    issues = run.issues + moved + simplified
    colours = depth_colours(zones["depth_mm"])
    with fresh_folder(folder) as work:
        if "geojson" in settings.formats:
            write_geojson(work / "prescription.geojson", shown, run.survey.paddock.name)
        if "shapefile" in settings.formats:
            write_shapefile(work / "prescription_shp.zip", parts, settings.depth_unit)
        if "geopackage" in settings.formats:
            write_geopackage(work / "prescription.gpkg", desktop_layers(run), layer_styles(run, colours))
        if "geotiff" in settings.formats:
            write_geotiff(work / "surfaces.tif", raster_layers(run), BAND_UNITS, run.zones.frame)
        write_table(work / "zones.csv", zones.drop(columns="geometry"))
        write_table(work / "tallies.csv", run.ledger.lines)
        write_table(work / "issues.csv", issue_table(issues))
        if "report" in settings.formats:
            write_report(work / "report.html", run, issues, colours, settings)
        write_manifest(work / MANIFEST, run, move, issues, _digests(work))
        names = sorted(path.name for path in work.iterdir())
    return tuple(folder / name for name in names)


def _digests(work: Path) -> dict[str, str]:
    """Give SHA-256 of the files whose bytes depend on nothing but inputs, settings and versions."""
    steady = sorted(path for path in work.iterdir() if path.suffix in {".geojson", ".csv"})
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in steady}
