"""Covariate rasters, from file to working grid."""

import numpy as np
import pyproj
import xarray as xr

from hardpan.core.errors import AmbiguousInputError, Faults
from hardpan.core.memory import Memory
from hardpan.records.frame import Frame
from hardpan.records.survey import Profiles
from hardpan.spatial.cells import centres_inside
from hardpan.spatial.datum import plan_move
from hardpan.survey import files, geodesy, rasters, sites
from hardpan.survey.land import Land
from hardpan.survey.notes import Log
from hardpan.survey.settings import GridSettings


def read_covariates(
    settings: GridSettings, frame: Frame, land: Land, read: Profiles, log: Log, *, memory: Memory
) -> xr.Dataset:
    """Rasters on the working grid, NaN outside their coverage."""
    inside = centres_inside(land.boundary, frame)
    table = read.readings
    found: dict[str, np.ndarray] = {}
    for raster, source in open_rasters(settings, log, memory=memory):
        back = plan_move(land.crs, source, land.bounds, file=raster.file)
        geodesy.to_working_crs(source, land, raster.file, log)
        values = rasters.to_frame(raster, frame, back.points)
        at_probes = rasters.sample(raster, *back.points(table["x_m"].to_numpy(), table["y_m"].to_numpy()))
        bare = sorted(set(table["site"].to_numpy()[~np.isfinite(at_probes)]), key=sites.natural)
        name = raster.name if raster.name not in found else f"{raster.name}_{len(found) + 1}"
        judged, told = rasters.judge(name, values, inside, bare, raster.file)
        log.note((*raster.issues, *told))
        if judged is not None:
            found[name] = judged
    return rasters.stack(found, frame)


def open_rasters(settings: GridSettings, log: Log, *, memory: Memory) -> list[tuple[rasters.Raster, pyproj.CRS]]:
    """Rasters as they lie in their files, and the CRS of each."""
    faults, opened = Faults(), []
    for path in settings.covariates:
        with faults.gathered():
            raster = rasters.read_raster(log.keep(files.load(path, what="a covariate")), settings.nodata, memory)
            opened.append((raster, _raster_crs(raster, settings)))
    faults.refuse()
    return opened


def _raster_crs(raster: rasters.Raster, settings: GridSettings) -> pyproj.CRS:
    asked = geodesy.asked(settings.crs, "surfaces.covariates_crs")
    if raster.crs is not None:
        return geodesy.flat(raster.crs)
    if asked is None:
        raise AmbiguousInputError(
            what="raster states no CRS", where=raster.file, do="state it in surfaces.covariates_crs"
        )
    return asked
