"""Probe readings, from files in any dialect to profiles."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyproj

from hardpan.core.errors import Faults, InputError
from hardpan.records.issues import Issues
from hardpan.records.survey import Profiles
from hardpan.survey import (
    cells,
    dates,
    files,
    geodesy,
    headers,
    layouts,
    measures,
    numbers,
    profiles,
    readings,
    sites,
)
from hardpan.survey.columns import Heading, Numbers, ProbeReadings, Text, TextReadings, TextTable
from hardpan.survey.inputs import places
from hardpan.survey.inputs.places import read_places
from hardpan.survey.inputs.tables import open_readings
from hardpan.survey.notes import Land, Log
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.vocabulary import says_degrees


def read_profiles(settings: ProbeSettings, land: Land, log: Log) -> Profiles:
    """Profiles of all probe files, checked against the boundary."""
    log.note(measures.cone_issues(settings, ", ".join(path.name for path in settings.files)))
    read = _merge(_read_tables(settings, land, log))
    read = _select(read, np.isfinite(read.insertions["x_m"].to_numpy(dtype=np.float64)))
    named, nameless = sites.number_nameless(read.insertions)
    read = replace(read, insertions=named)
    keep, outside = places.drop_outside(read.insertions, land.boundary, settings.outside_tolerance_m)
    read = _select(read, keep)
    keep, seasonal = dates.choose_dates(read.insertions, settings)
    read = _select(read, keep)
    read = replace(read, insertions=dates.site_dates(read.insertions, settings))
    read, joined = readings.join_fixes(read, settings.site_spread_m)
    read, sorted_ = readings.order(read)
    read, judged = readings.judge(read, settings)
    padded, unusable = profiles.dense(read, settings)
    log.note((*nameless, *outside, *seasonal, *joined, *sorted_, *judged, *unusable))
    return _named(padded, settings, log)


def check_readings(settings: ProbeSettings, log: Log) -> None:
    """Refuse probe files that cannot be used wherever the paddock lies."""
    faults = Faults()
    with faults.gathered():
        if settings.positions is not None:
            files.load(settings.positions, what="the positions")
    with faults.gathered():
        _read_tables(settings, None, log)
    faults.refuse()


def _read_tables(settings: ProbeSettings, land: Land | None, log: Log) -> list[ProbeReadings]:
    """Readings of each file, placed where `land` is known."""
    faults, parts, places = Faults(), [], None
    with faults.gathered():
        if land is not None and settings.positions is not None:
            places = read_places(settings, land, log)
    ground = None if faults.errors else land
    for path in settings.files:
        with faults.gathered():
            parts.append(_read_table(path, settings, ground, places, log))
    faults.refuse()
    return parts


def _named(read: profiles.Dense, settings: ProbeSettings, log: Log) -> Profiles:
    depth_mm, kpa = read.grids["depth_mm"], read.grids["cone_index_kpa"]
    read = read.take(sites.ordered(read.insertions, depth_mm, kpa, read.usable))
    again, repeated = sites.repeats(read.insertions, read.grids["depth_mm"], read.grids["cone_index_kpa"])
    read = read.take(~again)
    table, shared = sites.name_sites(read.insertions, settings.site_spread_m)
    found, stopped = profiles.profile(replace(read, insertions=table), settings)
    log.note((*repeated, *shared, *stopped))
    return found


def _read_table(
    path: Path, settings: ProbeSettings, land: Land | None, places: pd.DataFrame | None, log: Log
) -> ProbeReadings:
    grid, heading, text, mark = open_text(path, settings, log)
    days, undated = dates.iso(text.insertions["date"], grid.file)
    log.note((*text.issues, *undated))
    _ask_between_rivals(grid, heading, mark)
    table, faults = text.insertions.assign(file=grid.file, date=days), Faults()
    with faults.gathered():
        if places is not None:
            table, unplaced = sites.join_places(table, places, grid.file)
            log.note(unplaced)
        elif land is not None:
            stated = geodesy.agreed_crs(grid.crs, settings.crs, key="probes.crs", file=grid.file)
            x_m, y_m = _place(heading, table, mark, settings, stated, land=land, log=log)
            table = table.assign(x_m=x_m, y_m=y_m)
    with faults.gathered():
        measured = _measure(text, heading, mark, settings, log)
    faults.refuse()
    return replace(measured, insertions=table)


def open_text(path: Path, settings: ProbeSettings, log: Log) -> tuple[TextTable, Heading, TextReadings, str]:
    """Table of a probe file, its heading, its readings as text, and its decimal mark."""
    bundle = log.keep(files.load(path, what="the probe readings"))
    grid = open_readings(bundle, settings, log)
    heading = headers.find_heading(grid, settings)
    text = layouts.gather(grid, heading)
    return grid, heading, text, numbers.decimal_mark(_numeric_columns(text), settings.decimal, where=bundle.name)


def units_of(heading: Heading, text: TextReadings, mark: str) -> tuple[str, str]:
    """Units of resistance and depth that a probe file states.

    Raises
    ------
    AmbiguousInputError
        It states none.
    InputError
        It states several.
    """
    return measures.settle_units(heading, numbers.convert(text.value, mark), _depths(text, mark)[0], text.file)


def _ask_between_rivals(grid: TextTable, heading: Heading, mark: str) -> None:
    """Refuse a table in which two columns of different values can stand for the same thing."""
    rows = np.arange(heading.row + 1, len(grid.lines))
    for role, others in heading.rivals.items():
        columns: dict[str, np.ndarray] = {}
        for at in (heading.roles[role], *others):
            value = numbers.convert(grid.columns[at].take(rows), mark).value
            columns[heading.names[at]] = value * measures.factor_in(heading.names[at], role)
        cells.ask_between(role, columns, grid.file)


def _numeric_columns(text: TextReadings) -> list[Text]:
    columns = [Text.of(text.insertions["x"].to_numpy()), Text.of(text.insertions["y"].to_numpy()), text.value]
    return columns if isinstance(text.depth, np.ndarray) else [*columns, text.depth]


def _place(
    heading: Heading,
    table: pd.DataFrame,
    mark: str,
    settings: ProbeSettings,
    stated: pyproj.CRS | None,
    *,
    land: Land,
    log: Log,
) -> tuple[np.ndarray, np.ndarray]:
    file = str(table["file"].iloc[0])
    if not {"x", "y"} <= heading.roles.keys():
        raise InputError(
            what=f"no columns of position among {', '.join(name for name in heading.names[:8] if name)} ...",
            where=file,
            do="name them in [probes.columns], or give a second file in probes.positions",
        )
    return places.places_of(
        table, mark, stated, land, degree_names=says_degrees(heading.names[heading.roles["y"]]), key="probes.crs",
        file=file, log=log, tolerance_m=settings.outside_tolerance_m,
    )  # fmt: skip


def _measure(text: TextReadings, heading: Heading, mark: str, settings: ProbeSettings, log: Log) -> ProbeReadings:
    value = numbers.convert(text.value, mark)
    cells.check_readable(value, text)
    depth, thickness = _depths(text, mark)
    unit, depth_unit = measures.settle_units(heading, value, depth, text.file)
    numbers_kpa, marked = measures.drop_sentinels(value.value, text)
    factor = measures.mm_factor(depth_unit)
    depth_mm, turned = measures.point_down(
        (depth if isinstance(depth, np.ndarray) else depth.value) * factor, text.file
    )
    depth_mm = depth_mm + settings.depth_offset_mm
    measures.check_mixed(numbers_kpa, depth_mm, text)
    log.note(measures.suspect_psi(numbers_kpa, text))
    kpa = numbers_kpa * measures.kpa_factor(unit, settings)
    placed = np.isfinite(depth_mm) & ((depth_mm >= 0) | (settings.depth_offset_mm >= 0))
    if not placed.any():
        raise InputError(what="no depth can be read", where=text.file, do="name the column in probes.columns.depth")
    se_kpa, told = _errors(text, heading, mark, kpa, factor=lambda own: measures.kpa_factor(own or unit, settings))
    log.note(told)
    theta = np.full(len(kpa), np.nan)
    if text.moisture is not None:
        name = heading.names[heading.roles["moisture"]]
        theta, told = cells.fraction(numbers.convert(text.moisture, mark), name, settings, text.file)
        log.note(told)
    measures.check_sizes(kpa, depth_mm, text.code, text.file)
    log.note((*marked, *cells.missing_issue(value, depth_mm, text), *cells.cell_issues(value, text), *turned))
    log.note(cells.depth_issues(placed, text, thickness * factor))
    return ProbeReadings(
        insertions=text.insertions,
        code=text.code,
        depth_mm=depth_mm,
        thickness_mm=thickness * factor,
        kpa=kpa,
        at_least=value.at_least,
        theta=theta,
        row=text.row,
        held=np.zeros(len(kpa), dtype=bool),
        se_kpa=se_kpa,
    ).take(placed)


def _errors(
    text: TextReadings, heading: Heading, mark: str, kpa: np.ndarray, *, factor: Callable[[str | None], float]
) -> tuple[np.ndarray, Issues]:
    """Standard errors of the readings, kPa, NaN where they are no means; `factor` is kPa in one of a stated unit."""
    if text.spread is None or heading.spread is None:
        return np.full(len(kpa), np.nan), ()
    count = None if text.count is None else numbers.convert(text.count, mark).value
    spread = numbers.convert(text.spread, mark).value * factor(heading.spread.unit)
    return readings.standard_errors(spread, count, kpa, heading.spread, text.file)


def _depths(text: TextReadings, mark: str) -> tuple[Numbers | np.ndarray, np.ndarray]:
    """Depth and thickness of each reading in the unit of the file, from the headers or from cells."""
    if isinstance(text.depth, np.ndarray):
        return text.depth, text.thickness
    return cells.read_layers(numbers.convert(text.depth, mark), text.depth, text.file)


def _merge(parts: list[ProbeReadings]) -> ProbeReadings:
    starts = np.cumsum([0, *(len(part.insertions) for part in parts[:-1])])

    def joined(name: str) -> Any:  # noqa: ANN401 the type of the field
        return np.concatenate([getattr(part, name) for part in parts])

    return ProbeReadings(
        insertions=pd.concat([part.insertions for part in parts], ignore_index=True),
        code=np.concatenate([part.code + start for part, start in zip(parts, starts, strict=True)]),
        depth_mm=joined("depth_mm"),
        thickness_mm=joined("thickness_mm"),
        kpa=joined("kpa"),
        at_least=joined("at_least"),
        theta=joined("theta"),
        row=joined("row"),
        held=joined("held"),
        se_kpa=joined("se_kpa"),
    )


def _select(merged: ProbeReadings, keep: np.ndarray) -> ProbeReadings:
    new = np.cumsum(keep) - 1
    at = np.flatnonzero(keep[merged.code])
    kept = merged.take(at)
    return replace(kept, insertions=merged.insertions[keep].reset_index(drop=True), code=new[kept.code])
