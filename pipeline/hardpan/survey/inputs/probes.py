"""Probe readings, from files in any dialect to profiles."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from hardpan.records.survey import Profiles
from hardpan.survey import (
    delimited,
    files,
    geodesy,
    headers,
    layouts,
    numbers,
    positions,
    profiles,
    readings,
    sites,
    workbook,
)
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.words import Bundle, Grid, Heading, Land, Log, Readings, Text, TextReadings


def read_profiles(settings: ProbeSettings, land: Land, log: Log) -> Profiles:
    """Give the profiles of all probe files, checked against the boundary."""
    paths = settings.file if isinstance(settings.file, tuple) else (settings.file,)
    merged = _merge([_read_table(path, settings, land, log) for path in paths])
    merged = _select(merged, np.isfinite(merged.insertions["x_m"].to_numpy(dtype=np.float64)))
    keep, outside = positions.drop_outside(merged.insertions, land.boundary, settings.outside_tolerance_m)
    log.note(outside)
    judged = readings.judge(readings.order(_select(merged, keep)), settings)
    read, unusable = profiles.dense(judged, settings)
    log.note((*judged.issues, *unusable))
    return _named(read, settings, log)


def _named(read: profiles.Dense, settings: ProbeSettings, log: Log) -> Profiles:
    depth_mm, kpa = read.grids["depth_mm"], read.grids["cone_index_kpa"]
    read = read.take(sites.ordered(read.insertions, depth_mm, kpa, read.usable))
    again, repeated = sites.repeats(read.insertions, read.grids["depth_mm"], read.grids["cone_index_kpa"])
    read = read.take(~again)
    table, shared = sites.name_sites(read.insertions, settings.site_spread_m)
    found, stopped = profiles.profile(replace(read, insertions=table), settings)
    log.note((*repeated, *shared, *stopped))
    return found


def _read_table(path: Path, settings: ProbeSettings, land: Land, log: Log) -> Readings:
    bundle = log.keep(files.load(path, what="the probe readings"))
    grid = _grid(bundle, settings, log)
    heading = headers.find_heading(grid, settings)
    text = layouts.gather(grid, heading)
    log.note(text.issues)
    mark = numbers.decimal_mark(_numeric_columns(text), settings.decimal, where=bundle.name)
    axes = positions.read_axes(text.insertions, mark, degree_names=headers.names_degrees(heading), file=bundle.name)
    stated = geodesy.asked(settings.crs, "probes.crs")
    source, assumed = positions.choose_crs(axes, stated, land.crs, key="probes.crs", file=bundle.name)
    move = geodesy.come(source, land, bundle.name, log)
    positions.check_whereabouts(
        axes, move, land.boundary, settings.outside_tolerance_m, geographic=source.is_geographic, file=bundle.name
    )
    log.note((*axes.issues, *assumed))
    x_m, y_m = move(axes.x, axes.y)
    insertions = text.insertions.assign(x_m=x_m, y_m=y_m, file=bundle.name)
    return _measure(text, heading, mark, settings, insertions=insertions, log=log)


def _numeric_columns(text: TextReadings) -> list[Text]:
    columns = [Text.of(text.insertions["x"].to_numpy()), Text.of(text.insertions["y"].to_numpy()), text.value]
    return columns if isinstance(text.depth, np.ndarray) else [*columns, text.depth]


def _grid(bundle: Bundle, settings: ProbeSettings, log: Log) -> Grid:
    named: dict[str, Grid] = {}
    for member, blob in bundle.members.items():
        if workbook.is_workbook(blob):
            named |= workbook.sheets(blob, bundle.name)
            continue
        if len(bundle.members) > 1 and not member.lower().endswith((".csv", ".txt", ".tsv", ".dat", ".asc")):
            continue
        text, told = delimited.decode(blob, bundle.name)
        log.note(told)
        named[member] = delimited.split(text, bundle.name, lambda grid: headers.score(grid, settings))
    if len(named) == 1 and settings.sheet is None:
        return next(iter(named.values()))
    fits = {name: headers.score(grid, settings) > 0 for name, grid in named.items()}
    return workbook.choose(named, settings.sheet, fits, bundle.name)


def _measure(
    text: TextReadings, heading: Heading, mark: str, settings: ProbeSettings, *, insertions: pd.DataFrame, log: Log
) -> Readings:
    value = numbers.convert(text.value, mark)
    depth = text.depth if isinstance(text.depth, np.ndarray) else numbers.convert(text.depth, mark)
    unit, depth_unit, told = headers.settle_units(heading, value, depth, text.file)
    log.note(told)
    depth_values = depth if isinstance(depth, np.ndarray) else depth.value
    kpa, marked = readings.drop_sentinels(value.value, insertions, text.code, text.file)
    readings.check_mixed_units(kpa, insertions, text.code, text.file)
    log.note((*marked, *readings.cell_issues(value, text)))
    factor = readings.mm_factor(depth_unit)
    depth_mm, turned = readings.point_down(np.asarray(depth_values, dtype=np.float64) * factor, text.file)
    log.note(turned)
    theta = np.full(len(kpa), np.nan) if text.moisture is None else numbers.convert(text.moisture, mark).value
    placed = np.isfinite(depth_mm)
    return Readings(
        insertions=insertions,
        code=text.code[placed],
        depth_mm=depth_mm[placed],
        thickness_mm=text.thickness[placed] * factor,
        kpa=kpa[placed] * readings.kpa_factor(unit, settings),
        at_least=value.at_least[placed],
        theta=theta[placed],
        row=text.row[placed],
    )


def _merge(parts: list[Readings]) -> Readings:
    starts = np.cumsum([0, *(len(part.insertions) for part in parts[:-1])])

    def joined(name: str) -> Any:  # noqa: ANN401 the type of the field
        return np.concatenate([getattr(part, name) for part in parts])

    return Readings(
        insertions=pd.concat([part.insertions for part in parts], ignore_index=True),
        code=np.concatenate([part.code + start for part, start in zip(parts, starts, strict=True)]),
        depth_mm=joined("depth_mm"),
        thickness_mm=joined("thickness_mm"),
        kpa=joined("kpa"),
        at_least=joined("at_least"),
        theta=joined("theta"),
        row=joined("row"),
    )


def _select(merged: Readings, keep: np.ndarray) -> Readings:
    new = np.cumsum(keep) - 1
    at = np.flatnonzero(keep[merged.code])
    return replace(
        merged,
        insertions=merged.insertions[keep].reset_index(drop=True),
        code=new[merged.code[at]],
        depth_mm=merged.depth_mm[at],
        thickness_mm=merged.thickness_mm[at],
        kpa=merged.kpa[at],
        at_least=merged.at_least[at],
        theta=merged.theta[at],
        row=merged.row[at],
    )
