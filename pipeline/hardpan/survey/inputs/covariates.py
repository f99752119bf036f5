"""The working grid, and covariate rasters brought to it."""

import numpy as np
import pyproj
import xarray as xr

from hardpan.core.errors import AmbiguousInputError, Faults, InputError, SettingsError
from hardpan.core.memory import Memory
from hardpan.records.frame import Frame
from hardpan.records.survey import Profiles
from hardpan.spatial.cells import centres_inside
from hardpan.spatial.datum import Move, plan_move
from hardpan.survey import files, geodesy, rasters, sites
from hardpan.survey.notes import Land, Log
from hardpan.survey.settings import GridSettings

MOST_CELLS = 4_000_000
"""Cells of the working grid; more would take hours."""
LEAST_CELLS = 4
"""A grid of fewer cells inside the paddock is no map."""
CELL_BYTES, LAYER_BYTES = 60, 200
"""Memory that each cell takes while inputs are read, and more where a raster is brought to the grid."""


def working_grid(land: Land, grid: GridSettings, memory: Memory) -> Frame:
    """Working grid over the paddock.

    Raises
    ------
    SettingsError
        Its cells are too many, or take more than `memory`.
    InputError
        Hardly any of them lies in the paddock.
    """
    west, south, east, north = land.boundary.bounds
    if (east - west) * (north - south) / grid.cell_m**2 > MOST_CELLS:
        raise SettingsError(
            what=f"cells of {grid.cell_m:g} m over {(east - west) / 1000:.1f} x {(north - south) / 1000:.1f} km "
            f"are more than {MOST_CELLS}",
            where="surfaces.cell_m",
            do="choose larger cells",
        )
    frame = Frame.covering((west, south, east, north), cell_m=grid.cell_m, crs=land.crs)
    memory.refuse_beyond(
        frame.n_rows * frame.n_cols * (CELL_BYTES + (LAYER_BYTES if grid.covariates else 0)),
        what=f"reading onto {frame.n_rows} x {frame.n_cols} cells",
        where="surfaces.cell_m",
        do="choose larger cells, check the boundary and its CRS, or raise memory.most_gb",
    )
    n_cells = int(np.count_nonzero(centres_inside(land.boundary, frame)))
    if n_cells < LEAST_CELLS:
        raise InputError(
            what=f"{n_cells or 'no'} cell{'' if n_cells == 1 else 's'} of {frame.cell_m:g} m"
            f" {'has its' if n_cells == 1 else 'have their'} centre in the paddock",
            where="surfaces.cell_m",
            right=f"at least {LEAST_CELLS}",
            do="choose smaller cells, or check the boundary",
        )
    return frame


def read_covariates(
    settings: GridSettings, frame: Frame, land: Land, read: Profiles | None, log: Log, *, memory: Memory
) -> xr.Dataset:
    """Rasters on the working grid, NaN outside their coverage."""
    inside = centres_inside(land.boundary, frame)
    found: dict[str, np.ndarray] = {}
    for raster, source in open_rasters(settings, log, memory=memory):
        back = plan_move(land.crs, source, land.bounds, file=raster.file)
        geodesy.to_working_crs(source, land, raster.file, log)
        values = rasters.to_frame(raster, frame, back.points)
        bare = [] if read is None else _bare_sites(raster, back, read)
        name = raster.name if raster.name not in found else f"{raster.name}_{len(found) + 1}"
        judged, told = rasters.judge(name, values, inside, bare, raster.file)
        log.note((*raster.issues, *told))
        if judged is not None:
            found[name] = judged
    return rasters.stack(found, frame)


def _bare_sites(raster: rasters.Raster, back: Move, read: Profiles) -> list[str]:
    """Sites with an insertion where the raster has no value."""
    table = read.readings
    at_probes = rasters.sample(raster, *back.points(table["x_m"].to_numpy(), table["y_m"].to_numpy()))
    return sorted(set(table["site"].to_numpy()[~np.isfinite(at_probes)]), key=sites.natural)


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
