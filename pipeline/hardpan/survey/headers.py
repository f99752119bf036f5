"""The header of a probe table: where it is, what each column stands for, in which unit."""

import difflib
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise

import numpy as np
import pandas as pd

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.issues import Issue
from hardpan.survey.settings import ColumnSettings, ProbeSettings
from hardpan.survey.words import DepthColumn, Grid, Heading, Numbers, listed, warned

HEADER_ROWS = 60
"""A header further down is not looked for."""
LEAST_DEPTHS = 3
"""Fewer depth columns are no profile."""

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "x": (
        "x",
        "longitude",
        "lon",
        "long",
        "lng",
        "easting",
        "eastings",
        "east",
        "coord x",
        "xcoord",
        "x coord",
        "x m",
        "rechtswert",
        "ostwert",
        "este",
        "longitud",
        "laenge",
        "gps lon",
        "utm e",
        "utm x",
        "e",
    ),
    "y": (
        "y",
        "latitude",
        "lat",
        "northing",
        "northings",
        "north",
        "coord y",
        "ycoord",
        "y coord",
        "y m",
        "hochwert",
        "nordwert",
        "norte",
        "latitud",
        "breite",
        "gps lat",
        "utm n",
        "utm y",
    ),
    "depth": ("depth", "tiefe", "profundidad", "profondeur", "diepte", "dybde", "prof", "z", "depth below surface"),
    "resistance": (
        "cone index",
        "ci",
        "penetration resistance",
        "resistance",
        "cone resistance",
        "soil resistance",
        "penetrometer resistance",
        "soil strength",
        "strength",
        "pr",
        "rp",
        "widerstand",
        "eindringwiderstand",
        "resistencia",
        "resistencia a la penetracion",
        "resistance a la penetration",
        "weerstand",
        "reading",
        "value",
        "pressure",
        "force",
        "penetration force",
    ),
    "site": (
        "site",
        "site id",
        "probe site",
        "probe",
        "probe id",
        "point",
        "point id",
        "sample site",
        "location",
        "hole",
        "station",
        "punkt",
        "messpunkt",
        "standort",
        "punto",
        "sitio",
        "id",
        "number",
        "no",
        "nr",
        "num",
        "name",
        "sample",
        "sample id",
        "plot",
        "probe no",
        "point no",
        "punto id",
    ),
    "insertion": (
        "insertion",
        "insertion id",
        "replicate",
        "rep",
        "repetition",
        "wiederholung",
        "repeticion",
        "drop",
        "push",
        "stab",
        "stich",
        "replication",
        "insertion no",
        "rep no",
    ),
    "moisture": (
        "theta",
        "vwc",
        "volumetric water content",
        "soil moisture",
        "moisture",
        "swc",
        "water content",
        "theta m3 m3",
        "bodenfeuchte",
        "humedad",
    ),
    "date": ("date", "datum", "fecha", "probing date", "date time", "datetime", "timestamp", "time"),
}
"""Names of columns met in the wild, folded, the surest first."""
DYNAMIC = re.compile(r"\b(dcp|dynamic|hammer|blows?|blow count|pandas? number|penetration index)\b")
"""Names of another variable: blows, not resistance."""

LENGTH = {
    "mm": r"mm|millimet(?:er|re)s?|milimetros?",
    "cm": r"cm|cms|centimet(?:er|re)s?|centimetros?",
    "in": r"in|inch|inches|zoll|pulgadas?|\"|″",
    "m": r"m|met(?:er|re)s?|metros?",
}
PRESSURE = {
    "kPa": r"kpa|kn/m2",
    "MPa": r"mpa|n/mm2",
    "psi": r"psi|lbf?/in2|lb/sq ?in",
    "kgf/cm2": r"kgf?\s?[/_. ]?\s?cm\s?-?[2²]",
    "bar": r"bars?",
    "N": r"n|newtons?",
}
_UNLETTERED = r"(?<![a-z]){}(?![a-z])"
_LENGTH = {unit: re.compile(rf"(?<![a-z])(?:{names})(?![a-z])") for unit, names in LENGTH.items()}
_PRESSURE = {unit: re.compile(rf"(?<![a-z/])(?:{names})(?![a-z])") for unit, names in PRESSURE.items()}
_DEPTH_NAME = re.compile(
    r"(?P<lead>[a-z _./()\-\[\]]*?)(?P<top>-?\d+(?:[.,]\d+)?)(?:\s*(?:-|–|to|_)\s*(?P<bottom>\d+(?:[.,]\d+)?))?"
    r"(?P<tail>[a-z2²/_ .()\[\]\"″]*)"
)


def fold(name: str) -> str:
    """Give a name without case, accents, underscores and doubled spaces."""
    plain = unicodedata.normalize("NFKD", name.casefold()).replace("ß", "ss")
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    return " ".join(plain.replace("_", " ").split())


def length_unit(name: str) -> str | None:
    """Give the unit of length that a folded name states, or None."""
    return next((unit for unit, pattern in _LENGTH.items() if pattern.search(name)), None)


def pressure_unit(name: str) -> str | None:
    """Give the unit of cone index or force that a folded name states, or None."""
    return next((unit for unit, pattern in _PRESSURE.items() if pattern.search(name)), None)


def bare(name: str) -> str:
    """Give a folded name without brackets and units, for looking up."""
    text = re.sub(r"\(.*?\)|\[.*?\]", " ", name)
    for pattern in (*_PRESSURE.values(), *(_LENGTH[unit] for unit in ("mm", "cm", "in"))):
        text = pattern.sub(" ", text) if len(text.split()) > 1 else text
    return " ".join(re.sub(r"[^a-z0-9]+", " ", text).split())


def score(grid: Grid, settings: ProbeSettings) -> int:
    """Give how much of a header the first rows hold, 0 for none."""
    at = _header_row(grid, settings)
    if at is None:
        return 0
    row = grid.rows(HEADER_ROWS)[at]
    return len(_roles(row, settings.columns)) + len(_depths(row, settings))


def find_heading(grid: Grid, settings: ProbeSettings) -> Heading:
    """Give the heading of a probe table.

    Raises
    ------
    InputError
        No header is found, a named column is absent, or names are doubled.
    AmbiguousInputError
        The header and the settings name different units.
    """
    at = _header_row(grid, settings)
    if at is None:
        raise _no_header(grid, settings)
    head = grid.rows(HEADER_ROWS + 1)
    names = head[at]
    roles = _roles(names, settings.columns)
    depths = _depths(names, settings)
    _check_doubled(names, [*roles.values(), *(column.index for column in depths)], grid, at)
    units = _unit_row(head, at)
    title = " ".join(fold(cell) for row in head[:at] for cell in row)
    if DYNAMIC.search(" ".join(fold(name) for name in names)):
        raise _other_variable(grid.file, "the header names a dynamic (hammer) device")
    depth_text = [fold(names[roles["depth"]])] if "depth" in roles and not depths else []
    value_text = [fold(names[roles["resistance"]])] if "resistance" in roles and not depths else []
    if depths:
        value_text = [fold(names[column.index]) for column in depths]
    depth_unit = _one_unit(
        {column.unit for column in depths if column.unit} | {length_unit(text) for text in depth_text} - {None},
        grid.file,
    ) or _row_unit(units, roles.get("depth"), length_unit)
    value_unit = _one_unit({pressure_unit(text) for text in value_text} - {None}, grid.file)
    first = depths[0].index if depths else roles.get("resistance")
    value_unit = value_unit or _row_unit(units, first, pressure_unit) or (pressure_unit(title) if title else None)
    issues = () if at == 0 else (_title_rows(grid, at),)
    return Heading(
        row=at,
        names=names,
        roles=roles,
        depths=depths,
        depth_unit=_agreed(depth_unit, settings.depth_unit, "probes.depth_unit", grid.file),
        resistance_unit=_agreed(value_unit, settings.resistance_unit, "probes.resistance_unit", grid.file),
        skip=frozenset(units),
        issues=issues,
    )


def _header_row(grid: Grid, settings: ProbeSettings) -> int | None:
    for at, row in enumerate(grid.rows(HEADER_ROWS)):
        roles = _roles(row, settings.columns)
        if settings.layout != "wide" and {"depth", "resistance"} <= set(roles):
            return at
        if settings.layout != "long" and len(_depths(row, settings)) >= LEAST_DEPTHS and roles.keys() - {"depth"}:
            return at
    return None


def _roles(row: Sequence[str], columns: ColumnSettings) -> dict[str, int]:
    """Give role to column: named by the user first, then by the best-ranked synonym."""
    found: dict[str, int] = {}
    folded = [fold(cell) for cell in row[:2000]]
    for role in SYNONYMS:
        wanted = getattr(columns, role)
        if wanted is not None:
            match = [at for at, cell in enumerate(row) if cell.strip() == wanted] or [
                at for at, cell in enumerate(folded) if cell == fold(wanted)
            ]
            if match:
                found[role] = match[0]
    taken = set(found.values())
    cells = {at: bare(cell) for at, cell in enumerate(folded) if cell and at not in taken}
    for role, names in SYNONYMS.items():
        if role in found:
            continue
        ranked = [(names.index(cell), at) for at, cell in cells.items() if cell in names and at not in taken]
        if role == "resistance" and not ranked:
            ranked = [(0, at) for at, cell in enumerate(folded) if at not in taken and _is_pressure(cell)]
        if ranked:
            found[role] = min(ranked)[1]
            taken.add(found[role])
    return found


def _is_pressure(cell: str) -> bool:
    """Tell whether a name without a number states a unit of pressure, and so stands for resistance."""
    return pressure_unit(cell) not in {None, "N"} and not re.search(r"\d", re.sub(r"[mi][mn]?[2²]", "", cell))


def _depths(row: Sequence[str], settings: ProbeSettings) -> tuple[DepthColumn, ...]:
    if settings.layers:
        return _layers(row, settings)
    columns = []
    for at, cell in enumerate(row):
        match = _DEPTH_NAME.fullmatch(fold(cell)) if cell and len(cell) <= 40 else None
        if match is None or not _is_depth_lead(match["lead"]):
            continue
        top = float(match["top"].replace(",", "."))
        bottom = float(match["bottom"].replace(",", ".")) if match["bottom"] else top
        if bottom < top:
            continue
        unit = length_unit(re.sub(r"\bcm\s?-?2|cm²|in2", " ", match["tail"] + " " + match["lead"]))
        columns.append(DepthColumn(index=at, depth=(top + bottom) / 2, thickness=bottom - top, unit=unit))
    steps = [after.depth - before.depth for before, after in pairwise(columns)]
    steady = all(step > 0 for step in steps) or all(step < 0 for step in steps)
    return tuple(columns) if steady else ()


def _is_depth_lead(lead: str) -> bool:
    words = set(re.findall(r"[a-z]+", lead))
    return words <= {
        "d",
        "depth",
        "ci",
        "pr",
        "rp",
        "tiefe",
        "prof",
        "profundidad",
        "kpa",
        "mpa",
        "psi",
        "cm",
        "mm",
        "at",
        "cone",
        "index",
    }


def _layers(row: Sequence[str], settings: ProbeSettings) -> tuple[DepthColumn, ...]:
    names = [cell.strip() for cell in row]
    wanted = [layer.column for layer in settings.layers]
    if not set(wanted) <= set(names):
        return ()
    return tuple(
        DepthColumn(
            index=names.index(layer.column),
            depth=(layer.top + layer.bottom) / 2,
            thickness=layer.bottom - layer.top,
        )
        for layer in sorted(settings.layers, key=lambda layer: layer.top)
    )


def _check_doubled(names: Sequence[str], used: Sequence[int], grid: Grid, at: int) -> None:
    folded = [fold(name) for name in names]
    doubled = sorted({names[index] for index in used if folded.count(folded[index]) > 1})
    if doubled:
        raise InputError(
            what=f"column names are doubled: {listed(doubled)}",
            where=f"{grid.file} row {grid.lines[at]}",
            do="give every column its own name",
        )


def _unit_row(head: Sequence[Sequence[str]], at: int) -> dict[int, Sequence[str]]:
    found: dict[int, Sequence[str]] = {}
    for row in (at - 1, at + 1):
        if not 0 <= row < len(head):
            continue
        cells = [fold(cell).strip("()[] ") for cell in head[row] if cell]
        known = [cell for cell in cells if _is_unit(cell)]
        if len(known) >= 2 and len(known) * 2 >= len(cells):
            found[row] = [cell.strip("()[] ") for cell in map(fold, head[row])]
    return found


def _is_unit(cell: str) -> bool:
    if cell in {"deg", "degree", "degrees", "°"}:
        return True
    return any(pattern.fullmatch(cell) for pattern in (*_LENGTH.values(), *_PRESSURE.values()))


def _row_unit(units: Mapping[int, Sequence[str]], column: int | None, read: object) -> str | None:
    if column is None or not callable(read):
        return None
    return next((read(row[column]) for row in units.values() if column < len(row) and row[column]), None)


def _one_unit(units: set[str] | set[str | None], file: str) -> str | None:
    if len(units) > 1:
        raise InputError(what=f"headers mix units: {listed(sorted(map(str, units)))}", where=file, do="use one unit")
    return next(iter(units), None)


def _agreed(header: str | None, setting: str | None, key: str, file: str) -> str | None:
    if header and setting and header != setting:
        raise AmbiguousInputError(
            what=f"the header says {header} but {key} says {setting}", where=file, do=f"take out or mend {key}"
        )
    return header or setting


def _title_rows(grid: Grid, at: int) -> Issue:
    return warned(
        "title-rows",
        f"{at} rows stand before the header",
        "they were skipped",
        file=grid.file,
        place=f"row {grid.lines[at]}",
    )


def _other_variable(file: str, why: str) -> InputError:
    return InputError(
        what=f"{why}: that is another variable than the cone index of a 30 degree cone pushed steadily",
        where=file,
        do="convert it yourself and state what was done",
    )


def _no_header(grid: Grid, settings: ProbeSettings) -> InputError:
    head = grid.rows(HEADER_ROWS)
    have = [cell for cell in max(head, key=len, default=[]) if cell][:12]
    if not any(map(any, head)):
        return InputError(what="table is empty", where=grid.file)
    for role, wanted in settings.columns.model_dump().items():
        if wanted and not any(fold(cell) == fold(wanted) for row in head for cell in row):
            near = difflib.get_close_matches(wanted, have, n=1, cutoff=0.4)
            return InputError(
                what=f"no column {wanted!r} (probes.columns.{role}); the table has {listed(have)}",
                where=grid.file,
                do=f"did you mean {near[0]!r}?" if near else "",
            )
    return InputError(
        what=f"no header with a depth and a resistance column, nor with {LEAST_DEPTHS} or more depth columns; "
        f"the widest of the first rows has {listed(have)}",
        where=grid.file,
        do="name the columns in [probes.columns]",
    )


def names_degrees(heading: Heading) -> bool:
    """Tell whether the columns of position are called latitude and longitude."""
    return "y" in heading.roles and bool(
        re.search(r"\b(lat|latitude|latitud|breite)\b", fold(heading.names[heading.roles["y"]]))
    )


def settle_units(
    heading: Heading, value: Numbers, depth: Numbers | np.ndarray, file: str
) -> tuple[str, str, tuple[Issue, ...]]:
    """Give the units of resistance and depth: of the header or the settings, else of the cells; never a guess.

    Raises
    ------
    AmbiguousInputError
        Nobody states a unit; the message suggests one by size.
    InputError
        The cells name several units, or another than the header.
    """
    cells = _cell_unit(value.units, pressure_unit, heading.resistance_unit, file)
    unit = heading.resistance_unit or cells
    if unit is None:
        raise AmbiguousInputError(
            what="the unit of resistance is stated nowhere",
            where=file,
            do=f"set probes.resistance_unit (by size {_likely(value)})",
        )
    depth_cells = (
        None if isinstance(depth, np.ndarray) else _cell_unit(depth.units, length_unit, heading.depth_unit, file)
    )
    depth_unit = heading.depth_unit or depth_cells
    if depth_unit is None:
        raise AmbiguousInputError(
            what="the unit of depth is stated nowhere", where=file, do="set probes.depth_unit to mm, cm, m or in"
        )
    return unit, depth_unit, ()


def _cell_unit(units: np.ndarray, read: Callable[[str], str | None], stated: str | None, file: str) -> str | None:
    named = sorted({str(unit) for unit in pd.unique(units)} - {""})
    found = {read(fold(unit)) for unit in named}
    if None in found or len(found) > 1 or (stated and found - {stated}):
        raise InputError(
            what=f"cells carry units {listed(named)}" + (f" but the header says {stated}" if stated else ""),
            where=file,
            right="one unit throughout",
        )
    return next(iter(found), None)


def _likely(value: Numbers) -> str:
    middle = float(np.nanmedian(np.where(value.value > 0, value.value, np.nan)))
    if middle < 15:
        return f"the median {middle:.3g} suggests MPa"
    return f"the median {middle:.3g} may be kPa or psi"
