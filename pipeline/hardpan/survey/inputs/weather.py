"""Daily weather."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.units import MM_PER
from hardpan.records.weather import WEATHER, DailyTable
from hardpan.survey import dates, files, numbers
from hardpan.survey.inputs.tables import fullest_header, open_table
from hardpan.survey.notes import Log, counted, header_again, warned
from hardpan.survey.vocabulary import fold

NAMES: Mapping[str, tuple[str, ...]] = {
    "date": ("date", "day", "datum", "fecha", "yyyy mm dd"),
    "rain_mm": (
        "rain", "rainfall", "rainfall amount", "daily rain", "precipitation", "precip", "prcp", "niederschlag",
        "lluvia",
    ),
    "et0_mm": ("et0", "eto", "etref", "reference evapotranspiration", "et short crop", "fao56", "pet"),
    "pan_mm": ("pan", "pan evaporation", "evaporation", "evap", "evap pan", "class a pan"),
    "low_c": ("tmin", "t min", "min temp", "minimum temperature", "temperature min", "mintemp"),
    "high_c": ("tmax", "t max", "max temp", "maximum temperature", "temperature max", "maxtemp"),
    "humidity_pct": ("rh", "rhmean", "rh mean", "relative humidity", "humidity"),
    "wind_ms": ("wind", "u2", "wind speed"),
    "solar_mj": ("rs", "solar radiation", "radiation", "global radiation"),
}  # fmt: skip
"""Names of columns without their unit, folded, the surest first."""
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "mm": {
        **dict.fromkeys(("mm", "millimetres", "millimeters"), (1.0, 0.0)),
        **dict.fromkeys(("in", "inch", "inches"), (MM_PER["in"], 0.0)),
    },
    "c": {
        **dict.fromkeys(("c", "degc", "degree c", "degrees c", "celsius"), (1.0, 0.0)),
        **dict.fromkeys(("f", "degf", "degree f", "degrees f", "fahrenheit"), (1 / 1.8, -32 / 1.8)),
    },
    "pct": {"pct": (1.0, 0.0)},
    "ms": {"ms": (1.0, 0.0), "m s": (1.0, 0.0), "km h": (1 / 3.6, 0.0), "kmh": (1 / 3.6, 0.0)},
    "mj": {"mj": (1.0, 0.0), "mj m2": (1.0, 0.0), "mj m2 d": (1.0, 0.0), "mj m 2": (1.0, 0.0)},
}
"""Unit of the record to factor and offset of the units a header may state."""
POSSIBLE: Mapping[str, tuple[float, float]] = {
    "rain_mm": (0.0, 2000.0),
    "et0_mm": (-1.0, 25.0),
    "pan_mm": (0.0, 40.0),
    "low_c": (-60.0, 60.0),
    "high_c": (-60.0, 60.0),
    "humidity_pct": (0.0, 100.0),
    "wind_ms": (0.0, 60.0),
    "solar_mj": (0.0, 50.0),
}
"""Least and most a day on earth can have; what lies outside is a mark or another unit."""
LEAST_MEAN_MM = 0.45
"""A mean of evaporation over a hundred days or more below this is of inches: 11 mm a day at most, 0.45 in."""
LEAST_PEAK_MM = 8.0
"""The wettest day of a year or more below this is of inches."""
RISES = 10
"""Rain that rises so often and never falls is a running total: showers end."""
YEAR, SEASON = 365, 100
LONGEST_GAP = 10 * YEAR
"""Days without a row after which a year is mistyped, or two files were joined; a choice."""


def read_weather(path: Path, log: Log) -> DailyTable:
    """Daily weather, one row a day without a day left out, in the units of the record.

    Raises
    ------
    InputError
        A column is missing, days are out of order or doubled, or a value cannot be.
    AmbiguousInputError
        The unit of rain or evaporation is not stated, or does not fit the values.
    """
    bundle = log.keep(files.load(path, what="the weather"))
    table = open_table(bundle, None, lambda grid: len(fullest_header(grid, _roles)[1]), log)
    row, found = fullest_header(table, _roles)
    file = bundle.name
    if missing := [name for name in ("date", "rain_mm") if name not in found]:
        raise InputError(what=f"has no column of {' and of '.join(missing)}", where=file, right="date, rain_mm, et0_mm")
    header = np.logical_and.reduce([column.equals(str(column.cells[row])) for column in table.columns])
    below = np.arange(len(table.lines)) > row
    log.note(header_again(table.lines[header & below].tolist(), "days", file))
    at = np.flatnonzero(~header & below)
    at = at[[bool(cell) for cell in table.columns[found["date"][0]].cells[at]]]
    if not len(at):
        raise InputError(what="has a header but no days", where=file)
    lines = table.lines[at]
    day = _days(table.columns[found["date"][0]].cells[at], lines, file)
    columns = {name: table.columns[column].take(at) for name, (column, _) in found.items() if name != "date"}
    mark = numbers.decimal_mark(list(columns.values()), "auto", where=file)
    out = pd.DataFrame(index=pd.DatetimeIndex(day, name="day"))
    for name, cells in columns.items():
        factor, offset = _factor(name, found[name][1], file)
        read = numbers.convert(cells, mark)
        out[name] = read.value * factor + offset
        header = str(table.columns[found[name][0]].cells[row])
        low, high = POSSIBLE[name]
        _refuse(read.value, ((low - offset) / factor, (high - offset) / factor), header, lines, file)
        if read.unreadable.any():
            log.note((warned("no-number", f"{counted(int(read.unreadable.sum()), 'cell')} of {header} hold no number",
                             "taken as missing", file=file),))  # fmt: skip
    _refuse_crossed(out, lines, file)
    _refuse_inches(out, found, file)
    _refuse_other_kinds(out, file)
    whole = out.reindex(pd.date_range(out.index[0], out.index[-1], name="day")).reindex(columns=list(WEATHER))
    return DailyTable(table=whole, file=file)


def _roles(row: Sequence[str]) -> dict[str, tuple[int, str]]:
    """Role to column and stated unit."""
    found: dict[str, tuple[int, str]] = {}
    for at, cell in enumerate(row):
        words = " ".join(re.sub(r"[^a-z0-9]+", " ", fold(cell).replace("%", " pct ")).split())
        for role, names in NAMES.items():
            for name in names:
                unit = words.removeprefix(name).strip()
                known = UNITS.get(role.rsplit("_", 1)[-1], {})
                if role not in found and words.startswith(name) and (not unit or unit in known):
                    found[role] = at, unit
    return found


def _factor(name: str, unit: str, file: str) -> tuple[float, float]:
    """Factor and offset to the unit of the record.

    Raises
    ------
    AmbiguousInputError
        A depth of water has no unit.
    """
    own = name.rsplit("_", 1)[-1]
    if not unit and own == "mm":
        plain = name.removesuffix("_mm")
        raise AmbiguousInputError(
            what=f"column {plain} states no unit", where=file, do=f"call it {plain}_mm or {plain}_in"
        )
    return UNITS[own][unit or own]


def _days(cells: np.ndarray, lines: np.ndarray, file: str) -> np.ndarray:
    """Days in order, each once.

    Raises
    ------
    InputError
        They are not.
    """
    told, _ = dates.iso(pd.Series(cells), file)
    if (bad := (told == "").to_numpy()).any():
        first = int(bad.argmax())
        raise InputError(
            what=f"{str(cells[first])[:40]!r} is no date, or can be read in two orders",
            where=f"{file}, row {lines[first]}", right="dates such as 2026-07-31",
        )  # fmt: skip
    day = told.to_numpy(dtype="datetime64[D]")
    if len(wrong := np.flatnonzero(np.diff(day) <= np.timedelta64(0, "D"))):
        after = int(wrong[0]) + 1
        what = "comes twice" if day[after] == day[after - 1] else f"comes after {day[after - 1]}"
        raise InputError(
            what=f"{day[after]} {what}", where=f"{file}, row {lines[after]}", right="each day once, in order"
        )
    if len(far := np.flatnonzero(np.diff(day) > np.timedelta64(LONGEST_GAP, "D"))):
        after = int(far[0]) + 1
        raise InputError(
            what=f"{day[after]} comes after {day[after - 1]}, more than {LONGEST_GAP // YEAR} years before",
            where=f"{file}, row {lines[after]}", right="a day soon after the one before",
            do="correct the year, or leave out the days on one side",
        )  # fmt: skip
    return np.asarray(day)


def _refuse(value: Floats, possible: tuple[float, float], header: str, lines: np.ndarray, file: str) -> None:
    """Refuse a value that no day has, in the unit of its column."""
    low, high = possible
    if (wrong := (value < low) | (value > high)).any():
        first = int(wrong.argmax())
        raise InputError(
            what=f"{header} = {value[first]:g}", where=f"{file}, row {lines[first]}", right=f"{low:.4g} to {high:.4g}",
            do="check the unit, and leave the cell blank where it is not known",
        )  # fmt: skip


def _refuse_crossed(table: pd.DataFrame, lines: np.ndarray, file: str) -> None:
    """Refuse a day that was colder at its warmest than at its coldest."""
    low_c, high_c = (
        table.get(name, pd.Series(np.nan, index=table.index)).to_numpy(float) for name in ("low_c", "high_c")
    )
    if (wrong := low_c > high_c).any():
        first = int(wrong.argmax())
        raise InputError(
            what=f"the lowest temperature, {low_c[first]:g}, is above the highest, {high_c[first]:g}",
            where=f"{file}, row {lines[first]}", do="see whether the columns are exchanged",
        )  # fmt: skip


def _refuse_other_kinds(table: pd.DataFrame, file: str) -> None:
    """Ask where values can only be a running total, or a share in place of per cent."""
    rain_mm = table["rain_mm"].dropna().to_numpy()
    steps = np.diff(rain_mm)
    if (steps >= 0).all() and (steps > 0).sum() >= RISES:
        raise AmbiguousInputError(
            what=f"rain_mm never falls from one day to the next, up to {rain_mm[-1]:g}: is it a running total?",
            where=file, right="the rain of each day", do="give what was added each day",
        )  # fmt: skip
    humidity = table.get("humidity_pct", pd.Series(dtype=float))
    if 0 < humidity.max() <= 1:
        raise AmbiguousInputError(
            what=f"humidity_pct is at most {humidity.max():g}: is it a share?", where=file, right="per cent, 0 to 100"
        )


def _refuse_inches(table: pd.DataFrame, found: Mapping[str, tuple[int, str]], file: str) -> None:
    """Ask where depths of water called millimetres can only be inches."""
    means = [name for name in ("et0_mm", "pan_mm") if table.get(name, pd.Series(dtype=float)).count() >= SEASON]
    small = [name for name in means if table[name].mean() < LEAST_MEAN_MM and found[name][1] == "mm"]
    rain = table["rain_mm"]
    if rain.count() >= YEAR and 0 < rain.max() < LEAST_PEAK_MM and found["rain_mm"][1] == "mm":
        small.append("rain_mm")
    for name in small:
        told = f"at most {rain.max():.3g}" if name == "rain_mm" else f"{table[name].mean():.2g} on average"
        plain = name.removesuffix("_mm")
        raise AmbiguousInputError(
            what=f"{name} is {told} a day: are these inches?", where=file, do=f"call the column {plain}_in if so"
        )
