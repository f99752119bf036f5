"""The survey: files in, one checked survey in one projected CRS out."""

import logging
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj

from hardpan.core.errors import Faults, HardpanError
from hardpan.core.memory import UNLIMITED, Memory
from hardpan.records.after import Earlier, Reprobed
from hardpan.records.applied import AppliedSettings, MachineLog
from hardpan.records.probing import Access, AccessSettings
from hardpan.records.soils import SoilType
from hardpan.records.survey import Paddock, Survey
from hardpan.records.trial import TrialInputs, TrialSettings
from hardpan.records.weather import DailyTable
from hardpan.spatial.polygons import hectares
from hardpan.survey import geodesy
from hardpan.survey.cores import no_cores
from hardpan.survey.inputs import covariates, soils
from hardpan.survey.inputs import probes as readings
from hardpan.survey.inputs.access import open_tramlines, read_gate, read_strips, read_tramlines
from hardpan.survey.inputs.applied import read_applied
from hardpan.survey.inputs.harvest import read_harvest
from hardpan.survey.inputs.paddock import open_exclusions, read_boundary, read_exclusions
from hardpan.survey.inputs.places import read_marks
from hardpan.survey.inputs.weather import read_weather
from hardpan.survey.notes import Land, Log
from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings

logger = logging.getLogger(__name__)


def read_survey(
    paddock: PaddockSettings,
    probes: ProbeSettings | None,
    soil: SoilSettings,
    grid: GridSettings,
    soil_types: Mapping[str, SoilType],
    *,
    memory: Memory = UNLIMITED,
) -> Survey:
    """Everything that was read, checked, in the working CRS; no insertions and no cores where `probes` is None.

    Raises
    ------
    InputError
        A file cannot be used as it is; `AmbiguousInputError` where an option decides how to read it.
    SettingsError
        A setting cannot be used, or a raster takes more than `memory`.
    """
    log = Log()
    land = read_boundary(paddock, log)
    exclusions = read_exclusions(paddock, land, log)
    read = None if probes is None else readings.read_profiles(probes, land, log)
    soil_map = soils.read_soils(soil, land, soil_types, log)
    core_table = (
        no_cores(land.crs)
        if probes is None
        else soils.read_cores(soil, probes, soil_map, land, soil_types=soil_types, log=log)
    )
    frame = covariates.working_grid(land, grid, memory)
    rasters = covariates.read_covariates(grid, frame, land, read, log, memory=memory)
    logger.info(
        "%d insertions at %d sites, %d soil polygons, %d cores, %d exclusions, %d covariates; working CRS %s, "
        "%d x %d cells of %g m; %d remarks",
        *((0, 0) if read is None else (read.n_insertions, np.unique(read.readings["site"]).size)),
        len(soil_map), len(core_table), len(exclusions), len(rasters.data_vars), land.crs.to_string(),
        *frame.shape, frame.cell_m, len(log.issues),
    )  # fmt: skip
    return Survey(
        paddock=Paddock(
            name=paddock.name,
            boundary=gpd.GeoSeries([land.boundary], crs=land.crs),
            area_ha=float(hectares(np.array([land.boundary]), land.crs)[0]),
            exclusions=exclusions,
        ),
        probed=read,
        soils=soil_map,
        cores=core_table,
        frame=frame,
        covariates=rasters,
        crs=land.crs,
        datum_moves=tuple(log.moves),
        digests=log.digest_table,
        issues=tuple(log.issues),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FileSettings:
    """The tables of a configuration that name files; None where a table is absent or wrong."""

    paddock: PaddockSettings | None
    probes: ProbeSettings | None
    soil: SoilSettings | None
    grid: GridSettings | None
    access: AccessSettings | None
    memory: Memory


def file_faults(asked: FileSettings, soil_types: Mapping[str, SoilType]) -> list[HardpanError]:
    """Errors of all files, each read as far as it can be without those that are broken."""
    faults, log, land = Faults(), Log(), None
    with faults.gathered():
        land = None if asked.paddock is None else read_boundary(asked.paddock, log)
    for read in _readers(asked, land, soil_types, log):
        with faults.gathered():
            read()
    return faults.errors


def _readers(
    asked: FileSettings, land: Land | None, soil_types: Mapping[str, SoilType], log: Log
) -> Iterator[Callable[[], object]]:
    """A call for each input; where nobody knows the ground, it only looks at what lies in the file."""
    if asked.paddock is not None:
        yield (
            partial(open_exclusions, asked.paddock, log)
            if land is None
            else partial(read_exclusions, asked.paddock, land, log)
        )
    if asked.probes is not None:
        yield (
            partial(readings.check_readings, asked.probes, log)
            if land is None
            else partial(readings.read_profiles, asked.probes, land, log)
        )
    if asked.soil is not None:
        yield (
            partial(soils.check_soils, asked.soil, soil_types, log)
            if land is None
            else partial(soils.read_soils, asked.soil, land, soil_types, log)
        )
        yield partial(soils.check_cores, asked.soil, asked.probes, land, log)
    if asked.grid is not None:
        yield partial(covariates.open_rasters, asked.grid, log, memory=asked.memory)
        if land is not None:
            yield partial(covariates.working_grid, land, asked.grid, asked.memory)
    if asked.access is not None:
        if land is not None:
            yield partial(read_gate, asked.access, land, log)
        yield partial(open_tramlines, asked.access, log)


def read_access(settings: AccessSettings, survey: Survey) -> tuple[Access, Survey]:
    """Gate and wheel tracks, and the survey with what was noted of them.

    Raises
    ------
    InputError
        The gate is not near the paddock, or the tramlines cannot be used.
    """
    boundary = survey.paddock.ground
    bounds = geodesy.degrees_bounds(boundary.bounds, survey.crs, "paddock.boundary")
    land, log = Land(boundary=boundary, crs=survey.crs, bounds=bounds), Log()
    access = Access(gate=read_gate(settings, land, log), tramlines=read_tramlines(settings, land, log))
    return access, _with_notes(survey, log)


def read_daily(path: Path, survey: Survey) -> tuple[DailyTable, Survey]:
    """Daily weather at the paddock, and the survey with what was noted of it.

    Raises
    ------
    InputError
        The file cannot be used as it is; `AmbiguousInputError` where the unit of a column is not known.
    """
    log = Log()
    weather = read_weather(path, log)
    _, south, _, north = geodesy.degrees_bounds(survey.paddock.ground.bounds, survey.crs, "paddock.boundary")
    return replace(weather, latitude_deg=(south + north) / 2.0), _with_notes(survey, log)


def _with_notes(survey: Survey, log: Log) -> Survey:
    """The survey with what was noted of a further input."""
    return replace(
        survey,
        datum_moves=tuple(dict.fromkeys((*survey.datum_moves, *log.moves))),
        digests=pd.Series({**survey.digests, **log.digests}, dtype=object).sort_index(),
        issues=(*survey.issues, *log.issues),
    )


def read_again(probes: ProbeSettings, earlier: Earlier, column: str) -> Reprobed:
    """Insertions after the pass, by the readers of the survey, in the working CRS of the run.

    Parameters
    ----------
    column : str
        Column that says where each stands beside the tines.

    Raises
    ------
    InputError
        The file cannot be used as it is; `AmbiguousInputError` where an option decides how to read it.
    """
    log = Log()
    read = readings.read_profiles(probes, _land_of(earlier), log)
    return Reprobed(
        profiles=read,
        marks=read_marks(probes, read, column),
        digests=log.digest_table,
        issues=tuple(log.issues),
    )


def read_log(settings: AppliedSettings, earlier: Earlier) -> MachineLog:
    """What the machine logged of the pass, in the working CRS of the run.

    Raises
    ------
    InputError
        The log cannot be used as it is; `AmbiguousInputError` where an option decides how to read it.
    """
    machine = read_applied(settings, _land_of(earlier))
    logger.info("%d records of %s", len(machine.records), machine.name)
    return machine


def _land_of(earlier: Earlier) -> Land:
    bounds = geodesy.degrees_bounds(earlier.boundary.bounds, earlier.crs, earlier.name)
    return Land(boundary=earlier.boundary, crs=earlier.crs, bounds=bounds)


def read_trial(
    settings: TrialSettings, strips: Path, *, crs: pyproj.CRS | None = None, bushel_lb: float | None = None
) -> TrialInputs:
    """Strips and harvest of a trial, in one projected CRS or in local metres.

    Parameters
    ----------
    strips : Path
        File of the strips.
    crs : pyproj.CRS or None
        Working CRS of the run that laid them out; None where none did.
    bushel_lb : float or None
        Mass of a bushel of the crop; None: not known.

    Raises
    ------
    InputError
        A file cannot be used as it is; `AmbiguousInputError` where an option decides how to read it.
    """
    log = Log()
    laid = read_strips(settings, strips, crs, log)
    harvest = read_harvest(settings, laid.crs, bushel_lb, log)
    logger.info("%d strips, %d points", len(laid.table), len(harvest.points))
    return TrialInputs(
        strips=laid,
        harvest=harvest,
        digests=log.digest_table,
        issues=tuple(log.issues),
    )
