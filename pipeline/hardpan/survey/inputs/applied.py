"""As-applied logs: ISO 11783-10 time logs and point tables, to one table in the working CRS."""

from collections.abc import Mapping
from pathlib import Path, PurePosixPath

import numpy as np
import pandas as pd
import pyproj

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import InputError
from hardpan.records.applied import LOG, AppliedSettings, MachineLog
from hardpan.survey import files, geodesy, vectors
from hardpan.survey.inputs.log_table import burnt_l, read_log_table
from hardpan.survey.notes import Land, Log, counted, warned
from hardpan.survey.time_logs import TimeLog, log_names, read_time_log

_DEPTH, _SETPOINT, _WIDTH, _STATE, _SPEED = 0x34, 0x33, 0x43, 0x8D, 0x18D
"""Entries of the data dictionary: actual and setpoint tillage depth and actual width, mm; work state; speed, mm/s."""
_FUEL, _FUEL_RATE = 0x94, 0x95
"""Fuel burnt, mL, and fuel rate, mm3/s."""
_KMH_PER_MM_S, _L_PER_ML, _L_H_PER_MM3_S = 0.0036, 0.001, 0.0036
_USUAL_INTERVALS = 3.0
"""A pause of so many usual intervals, where longer than the setting's, is a gap."""
_FOLDER = "TASKDATA"
_PARTS = ("TASKDATA.XML", "TSK", "TLG")
FARTHEST_M = 200.0
"""A log without a record so near the paddock is another paddock's."""


def read_applied(settings: AppliedSettings, land: Land) -> MachineLog:
    """What the machine logged, values carried forward, in the working CRS.

    Raises
    ------
    InputError
        Nothing can be read, or nothing lies near the paddock; `AmbiguousInputError` where a unit is not stated.
    """
    path, log, wgs84 = settings.file, Log(), pyproj.CRS(vectors.WGS84)
    members = _task_data(path, log)
    if members is None:
        bundle = log.keep(files.load(path, what="the as-applied log"))
        inside = {PurePosixPath(name).name.upper(): blob for name, blob in bundle.members.items()}
        members = inside if "TASKDATA.XML" in inside else None
    if members is None:
        table, own = read_log_table(bundle, settings, log)
        table = _carried(table, settings.gap_s)
    else:
        table, own = _of_task_data(members, path.name, settings.gap_s, log), wgs84
    source = geodesy.agreed_crs(own, settings.crs, key="applied.crs", file=path.name) or wgs84
    records = _placed(table, source, land, path.name, log)[list(LOG)]
    return MachineLog(
        name=path.name,
        records=records,
        settings=settings,
        digests=log.digest_table,
        issues=tuple(log.issues),
    )


def _task_data(path: Path, log: Log) -> dict[str, bytes] | None:
    """Files of a task data folder by name in upper case; None where the path is another file."""
    folder = path.parent if path.suffix.lower() == ".xml" and path.is_file() else path
    if not folder.is_dir():
        return None
    inner = [one for one in sorted(folder.iterdir()) if one.is_dir() and one.name.upper() == _FOLDER]
    content = sorted((inner[0] if inner else folder).iterdir())
    wanted = [one for one in content if one.is_file() and one.name.upper().startswith(_PARTS)]
    found = {}
    for one in wanted:
        # a log that was begun and never written to is an empty file
        blob = log.keep(files.load(one, what="the task data")).whole if one.stat().st_size else b""
        found[one.name.upper()] = blob
    return found


def _of_task_data(members: Mapping[str, bytes], where: str, gap_s: float, log: Log) -> pd.DataFrame:
    """Records of all time logs that hold a depth, or of all where none does."""
    read, why = [], ""
    names = log_names(members, where)
    for name in names:
        try:
            read.append((name, _whole(members, name, f"{where}: {name}", log)))
        except InputError as err:
            why = why or str(err)
            log.note((warned("time-log", f"{name}: {err.what}", "this log is left out", file=where),))
    read = [(name, one) for name, one in read if len(one.time_ms)]
    if not read:
        raise InputError(
            what="no time log holds a record" if names else "the task data refer to no time log", where=where,
            right="an element TLG, and its header and records beside TASKDATA.XML", do=why and f"first fault: {why}",
        )  # fmt: skip
    deep = [pair for pair in read if any(entry.ddi == _DEPTH for entry in pair[1].entries)]
    if not deep:
        stated = any(entry.ddi == _SETPOINT for _, one in read for entry in one.entries)
        what = "only the depth asked for was logged, not the depth" if stated else "no depth was logged"
        log.note((warned("no-depth-logged", what, "nothing is said of depth", file=where),))
    tables = [_columns(one, gap_s) for _, one in deep or read]
    starts = np.cumsum([0, *(int(table["stretch"].max()) + 1 for table in tables[:-1])])
    tables = [table.assign(stretch=table["stretch"] + start) for table, start in zip(tables, starts, strict=True)]
    sections = max(sum(entry.ddi == _DEPTH for entry in one.entries) for _, one in deep or read)
    if sections > 1:
        log.note(
            (warned("depth-sections", f"depth is logged for {sections} sections", "their mean is taken", file=where),)
        )
    table = pd.concat(tables, ignore_index=True)
    return table.assign(time_s=table["time_s"] - table["time_s"].min())


def _whole(members: Mapping[str, bytes], name: str, where: str, log: Log) -> TimeLog:
    missing = [end for end in (".XML", ".BIN") if f"{name}{end}" not in members]
    if missing:
        raise InputError(what=f"{name}{missing[0]} is missing", where=where)
    one = read_time_log(members[f"{name}.XML"], members[f"{name}.BIN"], where)
    if one.damage is not None:
        what = f"{one.damage.value} after {counted(len(one.time_ms), 'record')}, {one.lost_bytes} bytes before the end"
        log.note((warned("time-log-damaged", what, "what comes before is used", file=where),))
    elif not len(one.time_ms):
        log.note((warned("time-log-empty", "the time log holds no record", "left out", file=where),))
    return one


def _columns(one: TimeLog, gap_s: float) -> pd.DataFrame:
    """A time log with the columns `LOG`; `x_m` and `y_m` are longitude and latitude still."""
    time_s = one.time_ms / 1000.0
    stretch = _stretches(time_s, gap_s)

    def of(ddi: int, *, across: bool = False) -> Floats:
        # written on change only: each device element keeps its last value before elements are brought together
        at = [place for place, entry in enumerate(one.entries) if entry.ddi == ddi]
        values = pd.DataFrame(one.logged[:, at])
        return np.asarray(values.ffill() if across else values.groupby(stretch).ffill(), dtype=float)

    fuel_l = _most(of(_FUEL, across=True)) * _L_PER_ML
    if not np.isfinite(fuel_l).any():
        fuel_l = burnt_l(_most(of(_FUEL_RATE)) * _L_H_PER_MM3_S, time_s)
    return pd.DataFrame(
        {
            "stretch": stretch, "time_s": time_s, "x_m": one.longitude, "y_m": one.latitude, "fix": one.fix,
            "depth_mm": _mean(of(_DEPTH)), "working": np.minimum(_most(of(_STATE)), 1.0),
            "speed_kmh": _most(of(_SPEED)) * _KMH_PER_MM_S, "width_m": _most(of(_WIDTH, across=True)) / 1000.0,
            "fuel_l": fuel_l,
        }
    )  # fmt: skip


def _most(values: Floats) -> Floats:
    """Largest value of each record, NaN where there is none."""
    return (
        np.asarray(pd.DataFrame(values).max(axis=1), dtype=float) if values.shape[1] else np.full(len(values), np.nan)
    )


def _mean(values: Floats) -> Floats:
    return (
        np.asarray(pd.DataFrame(values).mean(axis=1), dtype=float) if values.shape[1] else np.full(len(values), np.nan)
    )


def _placed(table: pd.DataFrame, source: pyproj.CRS, land: Land, where: str, log: Log) -> pd.DataFrame:
    """The table with coordinates of the working CRS."""
    x, y = table["x_m"].to_numpy(float), table["y_m"].to_numpy(float)
    known = np.isfinite(x) & np.isfinite(y)
    geodesy.refuse_no_degrees(x[known], y[known], source, file=where, do="name their CRS in applied.crs")
    moved = np.full((2, len(x)), np.nan)
    if known.any():
        moved[:, known] = geodesy.to_working_crs(source, land, where, log)(x[known], y[known])
    west, south, east, north = land.boundary.buffer(FARTHEST_M).bounds
    near = (moved[0] > west) & (moved[0] < east) & (moved[1] > south) & (moved[1] < north)
    if not near.any():
        raise InputError(
            what="no position of the log lies near the paddock", where=where, right="the log of this paddock",
            do="check the file, and applied.crs",
        )  # fmt: skip
    return table.assign(x_m=moved[0], y_m=moved[1])


def _carried(table: pd.DataFrame, gap_s: float) -> pd.DataFrame:
    """A point table with each value carried forward within its stretch.

    The width may be written once at the start and the counter of fuel runs on: both are carried across gaps.
    """
    out = table.assign(stretch=_stretches(table["time_s"].to_numpy(float), gap_s))
    within = ["depth_mm", "working", "speed_kmh"]
    out[within] = out.groupby("stretch")[within].ffill()
    out[["width_m", "fuel_l"]] = out[["width_m", "fuel_l"]].ffill()
    return out


def _stretches(time_s: Floats, gap_s: float) -> Ints:
    """Number of the stretch of each record: a new one begins after a gap, and where time goes back."""
    step = np.diff(time_s, prepend=time_s[:1])
    usual = float(np.median(step[step > 0])) if (step > 0).any() else 0.0
    return np.cumsum((step > max(gap_s, _USUAL_INTERVALS * usual)) | (step < 0)).astype(np.int64)
