"""Yield-monitor points and plot tables: what their columns are called, and in which units."""

import re
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import pyproj

from hardpan.core.arrays import Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.units import KMH_PER_MS, M2_PER_ACRE, M2_PER_HA, MM_PER, POUND_KG
from hardpan.records.trial import LOCAL_METRES, POINT, Harvest, HarvestColumns, TrialSettings
from hardpan.spatial.datum import plan_move
from hardpan.survey import files, geodesy, numbers, vectors
from hardpan.survey.columns import TextTable
from hardpan.survey.inputs.tables import fullest_header, open_table
from hardpan.survey.notes import Log, listed, warned
from hardpan.survey.vocabulary import SYNONYMS, bare, fold

_LEAST_T_PER_HA = 0.02
"""Half of the points that yield below it: less than the seed, so that the unit is another one."""
_MOST_T_PER_HA = 300.0
"""Half of the points above it: more than any crop yields, so that the unit is another one."""

_FLOW = ("flow", "seconds", "distance")
"""Columns that make a yield where there is none."""

NAMES: Mapping[str, tuple[str, ...]] = {
    "x": SYNONYMS["x"],
    "y": SYNONYMS["y"],
    "value": (
        "yield", "dry yield", "yield dry", "grain yield", "yield mass dry", "yld mass dry", "yld vol dry", "yld",
        "yield mass", "dry matter yield", "ertrag", "rendimiento", "rendement", "produtividade", "value",
    ),
    "flow": ("mass flow", "flow", "mass", "grain flow", "mass flow rate", "massenstrom"),
    "time": ("time", "time s", "gps time", "elapsed time", "timestamp s"),
    "seconds": ("seconds", "duration", "cycles", "interval", "log interval", "duration s"),
    "distance": ("distance", "dist", "distance m", "travel distance"),
    "speed": ("speed", "velocity", "ground speed", "geschwindigkeit", "velocidad"),
    "swath": ("swath", "swath width", "swth wdth", "width", "cut width", "header width"),
    "moisture": ("moisture", "grain moisture", "moist", "feuchte", "humedad", "moisture pct"),
}  # fmt: skip
"""Names of columns, folded and bare, the surest first."""

_UNITS: Mapping[str, str] = {
    "t/ha": r"t\s?/?\s?ha|tonnes? per hectare|mg\s?/\s?ha|t ha-1|t ha",
    "kg/ha": r"kg\s?/?\s?ha|kg ha-1",
    "bu/ac": r"bu\s?/?\s?ac(?:re)?s?|bushels? per acre",
    "lb/ac": r"lbs?\s?/?\s?ac(?:re)?s?|pounds? per acre",
    "q/ha": r"q\s?/?\s?ha|dt\s?/\s?ha|quintals? per hectare",
}
_STATED = {unit: re.compile(rf"(?<![a-z])(?:{names})(?![a-z])") for unit, names in _UNITS.items()}

_RATES = re.compile(r"(?<![a-z])(?:kg ?/ ?s|lbs? ?/ ?s|t ?/ ?h|km ?/ ?h|kmh|m ?/ ?s|mph)(?![a-z])")
"""Units of flow and speed in the name of a column."""

T_PER_HA: Mapping[str, float] = {
    "t/ha": 1.0, "kg/ha": 0.001, "lb/ac": POUND_KG / 1000.0 * M2_PER_HA / M2_PER_ACRE, "q/ha": 0.1,
}  # fmt: skip
"""Tonnes per hectare in one of each unit of yield but the bushel, whose mass hangs on the grain."""

KG_PER_S: Mapping[str, float] = {"kg/s": 1.0, "lb/s": POUND_KG, "t/h": 1000.0 / 3600.0}
"""kg/s in one of each unit of mass flow."""


def read_harvest(settings: TrialSettings, crs: pyproj.CRS | None, bushel_lb: float | None, log: Log) -> Harvest:
    """Points of the harvest, in `crs` (None: local metres) and t/ha, or as given.

    Parameters
    ----------
    bushel_lb : float or None
        Mass of a bushel of the crop; None: not known.

    Raises
    ------
    InputError
        The file has no table with places and a yield.
    AmbiguousInputError
        The unit of yield is not stated.
    """
    bundle = log.keep(files.load(settings.points, what="the harvest"))
    table = open_table(bundle, None, lambda grid: len(_heading(grid, settings)[1]), log)
    row, roles = _heading(table, settings)
    if not {"x", "y"} <= roles.keys() or ("value" not in roles and not set(_FLOW) <= roles.keys()):
        raise InputError(
            what="no header with a place and a yield", where=bundle.name,
            right="columns of x, y and yield, or of flow, seconds and distance",
            do="name them in [trial.columns]",
        )  # fmt: skip
    names = [str(column.cells[row]) for column in table.columns]
    rows = _used_rows(table, row, names, settings)
    cells = {role: table.columns[at].take(rows) for role, at in roles.items()}
    mark = numbers.decimal_mark(list(cells.values()), settings.decimal, where=bundle.name)
    read = {role: numbers.convert(column, mark) for role, column in cells.items()}
    value = {role: number.value for role, number in read.items()}
    x_m, y_m = _places(value["x"], value["y"], settings, crs, table)
    grain, unit = _yields(value, names[roles["value"]] if "value" in roles else "", settings, bushel_lb, bundle.name)
    if unit == "t/ha":
        _refuse_other_unit(grain, bundle.name)
    spoilt = int(sum(read[role].unreadable.sum() for role in ("x", "y", "value") if role in read))
    if spoilt:
        log.note((warned("no-number", f"{spoilt} cells hold no number", "taken as missing", file=bundle.name),))
    points = pd.DataFrame({"x_m": x_m, "y_m": y_m, "value": grain, **_monitor(value, settings)})[list(POINT)]
    if not (np.isfinite(points["x_m"]) & np.isfinite(points["value"])).any():
        raise InputError(what="no row has both a place and a yield", where=bundle.name, do="check the columns")
    return Harvest(points=points, unit=unit)


def _refuse_other_unit(t_per_ha: Floats, file: str) -> None:
    """Refuse yields of which half are more than a crop gives, or less than was sown."""
    grown = t_per_ha[t_per_ha > 0]
    above, below = ((hit.sum() > 0.5 * len(grown)) for hit in (grown > _MOST_T_PER_HA, grown < _LEAST_T_PER_HA))
    if above or below:
        told = f"above {_MOST_T_PER_HA:g}" if above else f"below {_LEAST_T_PER_HA:g}"
        raise InputError(
            what=f"half of the yields are {told} t/ha",
            where=file,
            do="check the unit of the column and trial.yield_unit",
        )


def _heading(table: TextTable, settings: TrialSettings) -> tuple[int, dict[str, int]]:
    """Row of the header, and role to column; the row that names most."""
    return fullest_header(table, lambda row: find_columns(row, settings.columns))


def _used_rows(table: TextTable, header: int, names: list[str], settings: TrialSettings) -> np.ndarray:
    """Rows after the header for which `only` holds."""
    used = np.arange(len(table.lines)) > header
    for name, wanted in settings.only.items():
        at = next((at for at, cell in enumerate(names) if cell == name or fold(cell) == fold(name)), None)
        if at is None:
            raise InputError(what=f"no column {name!r}", where=f"{table.file}: trial.only", right=listed(names, 12))
        hit = table.columns[at].equals(str(wanted))
        if not (hit & used).any():
            told = listed(sorted(set(table.columns[at].cells[used])), 8)
            raise InputError(what=f"no row has {name} = {wanted}", where=table.file, right=f"one of {told}")
        used &= hit
    return np.flatnonzero(used)


def _places(
    x: Floats, y: Floats, settings: TrialSettings, crs: pyproj.CRS | None, table: TextTable
) -> tuple[Floats, Floats]:
    """Coordinates in the working CRS."""
    if crs is None:
        return x, y
    file, key = table.file, "trial.crs"
    stated = geodesy.agreed_crs(table.crs, settings.crs, key=key, file=file)
    source = stated or pyproj.CRS(vectors.WGS84)
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        raise InputError(what="no row has a place", where=file, do="check the columns, and export it again")
    do = f'name their CRS in trial.crs, or "{LOCAL_METRES}"'
    geodesy.refuse_no_degrees(x[known], y[known], source, file=file, do=do)
    bounds = geodesy.degrees_bounds(
        (float(x[known].min()), float(y[known].min()), float(x[known].max()), float(y[known].max())), source, file
    )
    east, north = plan_move(source, crs, bounds, file=file).points(x[known], y[known])
    moved = np.full((2, len(x)), np.nan)
    moved[:, known] = east, north
    return moved[0], moved[1]


def _yields(
    value: dict[str, Floats], name: str, settings: TrialSettings, bushel_lb: float | None, file: str
) -> tuple[Floats, str]:
    """Yield in t/ha, or as given, and which of the two it is."""
    if "value" not in value:
        return _from_flow(value, settings, file), "t/ha"
    stated, asked = yield_unit(name), settings.yield_unit
    if stated and asked and stated != asked:
        raise AmbiguousInputError(
            what=f"the header says {stated}, trial.yield_unit {asked}", where=file, do="mend one of them"
        )
    unit = asked or stated
    if unit is None:
        raise AmbiguousInputError(
            what=f"column {name!r} names no unit", where=file, do='set trial.yield_unit, e.g. "t/ha", or "as given"'
        )
    if unit == "as given":
        return value["value"], unit
    if unit != "bu/ac":
        return value["value"] * T_PER_HA[unit], "t/ha"
    if bushel_lb is None:
        raise InputError(what="what a bushel weighs hangs on the grain", where=file, do="name it in trial.crop")
    return value["value"] * bushels_to_t_per_ha(bushel_lb), "t/ha"


def _from_flow(value: dict[str, Floats], settings: TrialSettings, file: str) -> Floats:
    """Yield in t/ha from mass flow, the seconds and the distance a point stands for, and the width cut."""
    flow = settings.flow
    swath_m = value.get("swath", np.full(len(value["flow"]), np.nan if flow.swath_m is None else flow.swath_m))
    if not np.isfinite(swath_m).any():
        raise InputError(what="mass flow without the width cut", where=file, do="give trial.flow.swath_m")
    kg = value["flow"] * KG_PER_S[flow.flow_unit] * value["seconds"]
    distance_m = value["distance"] * MM_PER[flow.distance_unit] / 1000.0
    moisture = value.get("moisture", np.full(len(kg), np.nan))
    with np.errstate(divide="ignore", invalid="ignore"):
        found = flow_to_t_per_ha(kg, distance_m * swath_m, moisture, flow.market_moisture_pct)
    return np.where(np.isfinite(found), found, np.nan)


def _monitor(value: dict[str, Floats], settings: TrialSettings) -> dict[str, Floats]:
    """What the monitor says beside the yield: seconds, speed, width and moisture; NaN where it does not."""
    missing = np.full(len(value["x"]), np.nan)
    speed_ms = value["speed"] / KMH_PER_MS if "speed" in value else missing
    if "speed" not in value and {"distance", "seconds"} <= value.keys():
        with np.errstate(divide="ignore", invalid="ignore"):
            speed_ms = value["distance"] * MM_PER[settings.flow.distance_unit] / 1000.0 / value["seconds"]
    return {
        "time_s": value.get("time", missing),
        "speed_ms": np.where(np.isfinite(speed_ms), speed_ms, np.nan),
        "swath_m": value.get("swath", missing),
        "moisture_pct": value.get("moisture", missing),
    }


def find_columns(names: Sequence[str], asked: HarvestColumns) -> dict[str, int]:
    """Role to column: named by the user first, then by its surest name."""
    cells = [_without_unit(name) for name in names]
    found = {
        role: at for role, wanted in asked if wanted for at, name in enumerate(names)
        if name == wanted or fold(name) == fold(wanted)
    }  # fmt: skip
    for role, known in NAMES.items():
        rank = [(known.index(cell), at) for at, cell in enumerate(cells) if cell in known and at not in found.values()]
        if role not in found and rank:
            found[role] = min(rank)[1]
    return found


def _without_unit(name: str) -> str:
    """Folded name of a column without brackets and units, for looking up."""
    text = fold(name)
    for pattern in (*_STATED.values(), _RATES):
        text = pattern.sub(" ", text)
    return bare(text)


def yield_unit(name: str) -> str | None:
    """Unit of yield that the name of a column states, None where it states none."""
    return next((unit for unit, pattern in _STATED.items() if pattern.search(fold(name))), None)


def bushels_to_t_per_ha(bushel_lb: float) -> float:
    """Tonnes per hectare in a bushel per acre of grain whose bushel weighs so many pounds.

    >>> round(bushels_to_t_per_ha(60.0), 5)  # wheat
    0.06725
    """
    return bushel_lb * T_PER_HA["lb/ac"]


def flow_to_t_per_ha(kg: Floats, area_m2: Floats, moisture_pct: Floats, market_pct: float | None) -> Floats:
    """Tonnes per hectare of `kg` of grain cut from an area, brought to the market's moisture where one is given."""
    dry = 1.0 if market_pct is None else (100.0 - moisture_pct) / (100.0 - market_pct)
    return np.asarray(kg * dry / 1000.0 / area_m2 * M2_PER_HA)
