"""As-applied logs as point tables: columns by name, units by what stands beside the name."""

import re
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import pyproj

from hardpan.core.arrays import Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.units import MM_PER, convert
from hardpan.records.applied import AppliedSettings
from hardpan.survey import dates, numbers
from hardpan.survey.columns import Numbers, Text, TextTable
from hardpan.survey.inputs.tables import fullest_header, open_table
from hardpan.survey.notes import Bundle, Log, counted, listed, warned
from hardpan.survey.vocabulary import SYNONYMS, fold, length_unit

_NAMES: Mapping[str, tuple[str, ...]] = {
    "x": SYNONYMS["x"],
    "y": SYNONYMS["y"],
    "depth": ("depth", "applied depth", "actual depth", "tillage depth", "actual tillage depth", "working depth",
              "ripping depth", "tine depth", "rip depth", "tiefe", "arbeitstiefe", "profundidad", "profondeur"),
    "time": ("time", "timestamp", "date time", "datetime", "gps time", "elapsed time", "utc time", "zeit", "hora"),
    "date": ("date", "gps date", "datum", "fecha"),
    "working": ("working", "work state", "actual work state", "state", "in work", "engaged", "implement down"),
    "speed": ("speed", "ground speed", "actual speed", "velocity", "geschwindigkeit", "velocidad"),
    "width": ("width", "working width", "actual working width", "swath", "arbeitsbreite"),
    "fuel": ("fuel", "total fuel", "fuel used", "fuel consumption", "total fuel consumption", "diesel"),
    "fuel_rate": ("fuel rate", "fuel flow", "fuel", "fuel consumption", "instantaneous fuel consumption"),
    "fix": ("fix", "gps fix", "fix quality", "gps quality", "gnss status", "position status", "gps status"),
}  # fmt: skip
"""Names of columns, folded, without their units, the surest first."""
_UNITS: Mapping[str, str] = {"speed": "km/h", "width": "m", "fuel": "L", "fuel_rate": "L/h", "time": "s"}
"""Unit each is brought to; one that is not stated is taken for none but the time, in seconds."""
_SPELT = {
    "kmh": "km/h",
    "kph": "km/h",
    "km h": "km/h",
    "ms": "m/s",
    "m s": "m/s",
    "lph": "L/h",
    "l h": "L/h",
    "sec": "s",
    "gal": "gallon",
    "gph": "gallon/h",
    "gal/h": "gallon/h",
}
"""Units as headers write them, folded, that the library of units spells otherwise."""
_ON, _OFF = (
    frozenset({"1", "on", "yes", "true", "working", "work", "down", "engaged"}),
    frozenset({"0", "off", "no", "false", "lifted", "up", "idle", "disengaged"}),
)
_NO_FIX = frozenset({"0", "none", "no fix", "nofix", "invalid", "no"})
SHALLOWEST_MM, DEEPEST_MM = 80.0, 1500.0
"""A ripper works between; depths outside are likely to be in another unit."""
MOST_BACK = 0.1
"""Share of rows that are earlier than the one before, beyond which a log is not in the order of time: clocks without a
date go back once a day."""
_CLOCK = re.compile(r"(?:(\S+?)[T ])?(\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)(?:Z|[+-]\d{2}:?\d{2})?")


def read_log_table(bundle: Bundle, settings: AppliedSettings, log: Log) -> tuple[pd.DataFrame, pyproj.CRS | None]:
    """Rows of a point table with columns `LOG` but `stretch`, and the CRS that a layer of points states.

    `x_m` and `y_m` are in the CRS of the file.

    Raises
    ------
    InputError
        No header has a place and a depth.
    AmbiguousInputError
        The unit of depth is stated nowhere.
    """
    table = open_table(bundle, None, lambda grid: len(_heading(grid, settings)[1]), log)
    row, roles = _heading(table, settings)
    missing = sorted({"x", "y", "depth"} - roles.keys())
    if missing:
        raise InputError(
            what=f"no column of {' and '.join(missing)}", where=bundle.name, right="columns of x, y and depth",
            do="name them in applied.depth_column and [applied.columns]",
        )  # fmt: skip
    rows = np.arange(row + 1, len(table.lines))
    if not len(rows):
        raise InputError(what="table has a header but no rows", where=bundle.name, do="export it again")
    names = {role: str(table.columns[at].cells[row]) for role, at in roles.items()}
    cells = {role: table.columns[at].take(rows) for role, at in roles.items()}
    values = _values(cells, names, settings, bundle.name, log)
    if (np.diff(values["time_s"]) < 0).sum() > MOST_BACK * len(values):
        told = warned("log-order", "rows are not in the order of time", "sorted by time", file=bundle.name)
        log.note((told,))
        values = values.sort_values("time_s", kind="stable", ignore_index=True)
    return values, table.crs


def _values(
    cells: Mapping[str, Text], names: Mapping[str, str], settings: AppliedSettings, file: str, log: Log
) -> pd.DataFrame:
    """Columns of text as numbers in the units inside."""
    plain = {role: cells[role] for role in ("x", "y", "depth", *_UNITS) if role in cells and role != "time"}
    mark = numbers.decimal_mark(list(plain.values()), settings.decimal, where=file)
    read = {role: numbers.convert(column, mark) for role, column in plain.items()}
    spoilt = int(sum(read[role].unreadable.sum() for role in ("x", "y", "depth")))
    if spoilt:
        what = f"{counted(spoilt, 'cell')} of place and depth hold no number"
        log.note((warned("no-number", what, "taken as missing", file=file),))
    nowhere = np.full(len(cells["x"].codes), np.nan)
    value = {role: _in_unit(read[role], role, names[role], file, log) for role in read if role in _UNITS}
    time_s = _times(cells, names.get("time", ""), mark, settings, file=file, log=log)
    x, y = (np.where(read["x"].value + read["y"].value == 0, np.nan, read[axis].value) for axis in ("x", "y"))
    no_fix = _among(cells["fix"], _NO_FIX) if "fix" in cells else np.zeros(len(x), dtype=bool)
    return pd.DataFrame(
        {
            "time_s": time_s, "x_m": x, "y_m": y, "fix": np.isfinite(x) & np.isfinite(y) & ~no_fix,
            "depth_mm": _depths(read["depth"], names["depth"], settings, file, log),
            "working": _states(cells["working"]) if "working" in cells else nowhere,
            "speed_kmh": value.get("speed", nowhere), "width_m": value.get("width", nowhere),
            "fuel_l": value.get("fuel", burnt_l(value.get("fuel_rate", nowhere), time_s)),
        }
    )  # fmt: skip


def _heading(table: TextTable, settings: AppliedSettings) -> tuple[int, dict[str, int]]:
    """Row of the header, and role to column."""
    return fullest_header(table, lambda row: _roles(row, settings))


def _roles(names: Sequence[str], settings: AppliedSettings) -> dict[str, int]:
    """Role to column: named by the user first, then by its surest name."""
    asked = {**dict(settings.columns), "depth": settings.depth_column}
    found = {
        role: at for role, wanted in asked.items() if wanted for at, name in enumerate(names)
        if name == wanted or fold(name) == fold(wanted)
    }  # fmt: skip
    for role, known in _NAMES.items():
        if role in found or asked.get(role):
            continue
        rank = [(known.index(head), at) for at, name in enumerate(names) for head, unit in [_split(name, known)]
                if head and at not in found.values() and _fits(role, unit)]  # fmt: skip
        if rank:
            found[role] = min(rank)[1]
    return found


def _split(name: str, known: Sequence[str]) -> tuple[str, str]:
    """The longest known name that a column's name begins with, and the unit after it; both "" where there is none."""
    folded = fold(name)
    for head in sorted(known, key=len, reverse=True):
        tail = folded.removeprefix(head)
        if tail != folded and (not tail or tail[0] in " ([,"):
            return head, tail.strip(" ()[],.")
    return "", ""


def _fits(role: str, unit: str) -> bool:
    """Whether a unit is one of the role; a place, a state and a fix have none."""
    if role in {"x", "y", "working", "fix", "date"}:
        return role in {"x", "y"} or not unit
    if role == "depth":
        return not unit or length_unit(unit) is not None
    if not unit:
        return role != "fuel_rate"
    return role == "time" or _factor(unit, _UNITS[role]) is not None


def _factor(unit: str, wanted: str) -> float | None:
    """Size of a unit as a header writes it in the wanted one; None where it is none."""
    try:
        return convert(1.0, _SPELT.get(unit, unit), wanted)[0]
    except ValueError:
        return None


def _in_unit(read: Numbers, role: str, name: str, file: str, log: Log) -> Floats:
    """Values of a column in the unit of its role; none where it states no unit."""
    unit = _split(name, _NAMES[role])[1] or next((str(one) for one in pd.unique(read.units) if one), "")
    factor = _factor(unit, _UNITS[role]) if unit else None
    if factor is None:
        log.note((warned("no-unit", f"column {name!r} names no unit", "not used", file=file),))
        return np.full(len(read.value), np.nan)
    return read.value * factor


def _depths(read: Numbers, name: str, settings: AppliedSettings, file: str, log: Log) -> Floats:
    """Depths in mm, positive downward."""
    cells = next((unit for one in pd.unique(read.units) if one and (unit := length_unit(fold(str(one))))), None)
    stated = length_unit(_split(name, _NAMES["depth"])[1] or fold(name)) or cells
    if stated and settings.depth_unit and stated != settings.depth_unit:
        raise AmbiguousInputError(
            what=f"the header says {stated} but applied.depth_unit says {settings.depth_unit}", where=file,
            do="take out or mend applied.depth_unit",
        )  # fmt: skip
    unit = stated or settings.depth_unit
    if unit is None:
        raise AmbiguousInputError(
            what="the unit of depth is stated nowhere", where=file, do="set applied.depth_unit to mm, cm, m or in"
        )
    depth_mm = read.value * MM_PER[unit]
    known = depth_mm[np.isfinite(depth_mm)]
    if known.size and known.max() <= 0 and known.min() < 0:
        log.note((warned("depth-sign", "depths are negative downward", "sign turned", file=file),))
        depth_mm, known = -depth_mm, -known
    worked = known[known > 0]
    if (worked > DEEPEST_MM).sum() > 0.5 * len(worked):
        raise InputError(
            what=f"half of the depths are more than {DEEPEST_MM:g} mm, such as {np.median(worked):g}", where=file,
            do="check the unit of the column and applied.depth_unit",
        )  # fmt: skip
    if len(worked) and worked.max() < SHALLOWEST_MM:
        what = f"no depth is more than {SHALLOWEST_MM:g} mm, the deepest {worked.max():g}"
        log.note((warned("depth-shallow", what, "used as it is; check the unit of the column", file=file),))
    return depth_mm


def _times(
    cells: Mapping[str, Text], name: str, mark: str, settings: AppliedSettings, *, file: str, log: Log
) -> Floats:
    """Seconds since the first row; NaN where there is no time."""
    if "time" not in cells:
        count, step_s = len(cells["x"].codes), settings.interval_s
        return np.asarray(np.arange(count) * (np.nan if step_s is None else step_s), dtype=float)
    plain = numbers.convert(cells["time"], mark).value
    if np.isfinite(plain).mean() > 0.5:
        unit = _split(name, _NAMES["time"])[1]
        return np.asarray((plain - np.nanmin(plain)) * (_factor(unit, "s") or 1.0 if unit else 1.0))
    texts = pd.Series(cells["time"].cells, dtype=str)
    parts = texts.str.extract(_CLOCK)
    clock = parts[1].where(parts[1].str.count(":") == 2, parts[1] + ":00")
    seconds = pd.to_timedelta(clock, errors="coerce").dt.total_seconds().to_numpy(float)
    days, issues = dates.iso(
        pd.Series(cells["date"].cells, dtype=str) if "date" in cells else parts[0].fillna(""), file
    )
    log.note(issues)
    day = pd.to_datetime(days.replace("", None), errors="coerce")
    if day.notna().any():
        seconds = seconds + (day - day.min()).dt.total_seconds().to_numpy(float)
    if not np.isfinite(seconds).any():
        what = f"times such as {listed(sorted(set(texts))[:2])} cannot be read"
        log.note((warned("no-time", what, "nothing is said of speed, hours and lag", file=file),))
        return np.asarray(seconds)
    return np.asarray(seconds - np.nanmin(seconds))


def burnt_l(rate_l_per_h: Floats, time_s: Floats) -> Floats:
    """Counter of fuel from its rate, L; NaN where no rate is known."""
    if not np.isfinite(rate_l_per_h).any():
        return rate_l_per_h
    steps = np.clip(np.diff(time_s, prepend=time_s[:1]), 0.0, None)
    return np.asarray(np.cumsum(np.nan_to_num(rate_l_per_h * steps / 3600.0)))


def _states(column: Text) -> Floats:
    """1 in work, 0 lifted, NaN where a cell says neither."""
    return np.where(_among(column, _ON), 1.0, np.where(_among(column, _OFF), 0.0, np.nan))


def _among(column: Text, words: frozenset[str]) -> np.ndarray:
    hit = np.array([fold(str(cell)) in words for cell in column.unique], dtype=bool)
    return np.asarray(hit[column.codes])
