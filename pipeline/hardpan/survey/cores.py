"""Lab cores: which columns mean what, in the units of the record."""

import re
from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.core.errors import AmbiguousInputError, InputError, clean
from hardpan.core.units import INCH_MM
from hardpan.records.issues import Issue
from hardpan.spatial.polygons import first_holding
from hardpan.survey.columns import Numbers, TextTable
from hardpan.survey.notes import counted, header_again, listed, warned
from hardpan.survey.vocabulary import SHALLOWEST_CLAY_MM

PLAIN = {
    "core": ("core", "core id", "sample", "sample id", "id", "site", "point", "hole", "name"),
    "x": ("x", "longitude", "lon", "long", "lng", "easting", "east"),
    "y": ("y", "latitude", "lat", "northing", "north"),
    "soil_type": ("soil type", "soil", "soiltype", "type", "soil class"),
    "repellence_med": ("repellence med", "repellence", "med", "water repellence", "med mol l", "repellency"),
    "clay_depth_mm": ("clay depth", "depth to clay", "depth of clay"),
    "clay_pct": ("clay pct", "clay", "clay percent", "clay content"),
    "esp_pct": ("esp pct", "esp", "exchangeable sodium percentage", "exch na pct"),
    "esp_depth_mm": ("esp depth", "depth of esp", "sodic depth"),
    "gravel_pct": ("gravel pct", "gravel", "coarse fragments"),
    "carbonate_pct": ("carbonate pct", "carbonate", "caco3", "caco3 pct", "lime content"),
}
PH_LAYERS = {(0, 100): "ph_0_100", (100, 200): "ph_100_200", (200, 300): "ph_200_300"}
MEASURED = ("ph_0_100", "ph_100_200", "ph_200_300", *list(PLAIN)[4:])
"""Numeric columns of `Survey.cores`."""
POSSIBLE = {
    **dict.fromkeys(PH_LAYERS.values(), (2.0, 12.0)),
    "repellence_med": (0.0, 10.0),
    **dict.fromkeys(("clay_depth_mm", "esp_depth_mm"), (0.0, 10_000.0)),
    **dict.fromkeys(("clay_pct", "esp_pct", "gravel_pct", "carbonate_pct"), (0.0, 100.0)),
}
"""Lowest and highest value soil can have, in the unit of the record; what lies outside is a mark or another unit."""
DEGREES = "degrees"
"""Mark on a table whose positions are called latitude and longitude."""
UNSTATED = "unstated"
"""Mark on a table: columns of depth whose name says no unit."""
_LENGTH_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": INCH_MM}
_PH = re.compile(r"\bph\b.*?(\d+)\s*(?:-|–|to|_| )\s*(\d+)\s*(mm|cm)?")


def fold(name: str) -> str:
    """Header case-folded, with brackets, underscores and signs as spaces."""
    return " ".join(re.sub(r"[^a-z0-9\-–.%]+", " ", name.casefold().replace("%", " pct ")).split())


def score(grid: TextTable) -> int:
    """How many columns of the best of the first rows are known, 0 below two."""
    return max((len(_columns(row)) for row in grid.rows(20)), default=0)


def measures(names: Sequence[str]) -> bool:
    """Whether one of the names is that of a property of cores."""
    return not _columns(names).keys().isdisjoint(MEASURED)


def _columns(row: Sequence[str]) -> dict[str, tuple[int, float]]:
    """Name of the record to column and factor."""
    found: dict[str, tuple[int, float]] = {}
    for at, cell in enumerate(row):
        name = fold(cell)
        layer = _PH.search(name.replace("cacl2", ""))
        if layer and "water" not in name and "h2o" not in name:
            top, bottom = int(layer[1]), int(layer[2])
            factor = {"mm": 1, "cm": 10}.get(layer[3] or "", 10 if bottom <= 30 else 1)
            key = PH_LAYERS.get((top * factor, bottom * factor))
            if key and key not in found:
                found[key] = (at, 1.0)
            continue
        words = name.split()
        unit = words[-1] if len(words) > 1 and words[-1] in _LENGTH_MM else ""
        plain = " ".join(words[:-1]) if unit else name
        key = next((key for key, names in PLAIN.items() if plain in names), None)
        if key and key not in found:
            found[key] = (at, _LENGTH_MM.get(unit, 1.0) if key.endswith("_mm") else 1.0)
    return found


def gather(grid: TextTable) -> tuple[pd.DataFrame, dict[str, float], tuple[Issue, ...]]:
    """Core table as text, the factor of each column, and what was left out.

    Raises
    ------
    InputError
        No header with a core's properties is found.
    """
    rows = grid.rows()
    best = max(range(min(20, len(rows))), key=lambda at: len(_columns(rows[at])), default=None)
    found = _columns(rows[best]) if best is not None else {}
    if best is None or not found.keys() & set(MEASURED):
        raise InputError(
            what="no header with properties of cores",
            where=grid.file,
            right=f"columns such as {listed(MEASURED, 12)}",
        )
    body = [(row, line) for row, line in zip(rows, grid.lines.tolist(), strict=True)][best + 1 :]
    again = [line for row, line in body if row == rows[best]]
    body = [(row, line) for row, line in body if any(row) and row != rows[best]]
    if not body:
        raise InputError(what="table has a header but no rows", where=grid.file)
    table = pd.DataFrame(
        {key: [row[at] if at < len(row) else "" for row, _ in body] for key, (at, _) in found.items()}, dtype=object
    ).assign(row=[line for _, line in body])
    if "y" in found and fold(rows[best][found["y"][0]]).startswith("lat"):
        table.attrs[DEGREES] = True
    table.attrs[UNSTATED] = [
        key
        for key, (at, _) in found.items()
        if key.endswith("_mm") and fold(rows[best][at]).split()[-1] not in _LENGTH_MM
    ]
    ignored = [cell for at, cell in enumerate(rows[best]) if cell and at not in {at for at, _ in found.values()}]
    issues: tuple[Issue, ...] = ()
    if ignored:
        issues = (warned("core-columns", f"columns {listed(ignored)} are not known", "not used", file=grid.file),)
    # without name and place two cores may be alike
    known = not {"core", "x"}.isdisjoint(found)
    repeats = table.drop(columns="row").duplicated().to_numpy() & known
    if repeats.any():
        place = f"row {listed(table['row'][repeats].tolist())}"
        what = f"{counted(int(repeats.sum()), 'core')} the same as another in every cell"
        issues += (warned("repeated-rows", what, "dropped once", file=grid.file, place=place),)
        table = table[~repeats].reset_index(drop=True)
    issues += header_again(again, "cores", grid.file)
    return table, {key: factor for key, (_, factor) in found.items()}, issues


def name_cores(table: pd.DataFrame) -> np.ndarray:
    """Names of the cores, numbered where the table has none."""
    if "core" in table:
        return np.asarray([clean(name) for name in table["core"]], dtype=object)
    return np.asarray([f"core {at + 1}" for at in range(len(table))], dtype=object)


def scale(
    measured: Mapping[str, Numbers], factors: Mapping[str, float], table: pd.DataFrame, file: str
) -> tuple[dict[str, Floats], tuple[Issue, ...]]:
    """Values of each property in the unit of the record, and which cells could not be read or cannot be.

    Raises
    ------
    AmbiguousInputError
        Depths to clay that are all small are in no stated unit.
    """
    rows = table["row"].to_numpy()
    values = {name: number.value * factors[name] for name, number in measured.items()}
    beyond = {name: (one < POSSIBLE[name][0]) | (one > POSSIBLE[name][1]) for name, one in values.items()}
    unread = tuple(
        warned(
            "unreadable-cell",
            f"{int(number.unreadable.sum())} cells of {name} are no numbers",
            "taken as missing",
            file=file,
            place=f"row {listed(list(rows[number.unreadable]))}",
        )
        for name, number in measured.items()
        if number.unreadable.any()
    )
    impossible = tuple(
        warned(
            "impossible-core",
            f"{counted(int(hit.sum()), 'value')} of {name} outside {POSSIBLE[name][0]:g} to {POSSIBLE[name][1]:g}, "
            f"such as {values[name][hit][0]:.6g}",
            "taken as missing; check the unit",
            file=file,
            place=f"row {listed(list(rows[hit]))}",
        )
        for name, hit in beyond.items()
        if hit.any()
    )
    found = {name: np.where(beyond[name], np.nan, one) for name, one in values.items()}
    return found, (*unread, *impossible, *_shallow(found, table, file), *_shares(found, file))


def _shares(values: Mapping[str, Floats], file: str) -> tuple[Issue, ...]:
    """Remark on clay that never reaches one per cent, which even sand has."""
    clay_pct = values.get("clay_pct", np.empty(0))
    if not 0 < np.nanmax(clay_pct, initial=0.0) <= 1:
        return ()
    what = f"clay_pct is at most {np.nanmax(clay_pct):g}"
    return (warned("clay-share", what, "used as per cent; give per cent where these are shares", file=file),)


def _shallow(values: Mapping[str, Floats], table: pd.DataFrame, file: str) -> tuple[Issue, ...]:
    """Remark on depths to clay that are all small; refused where nobody says that they are in mm."""
    depth_mm = values.get("clay_depth_mm", np.empty(0))
    shallow = (depth_mm > 0) & (depth_mm < SHALLOWEST_CLAY_MM)
    if not shallow.any() or (depth_mm >= SHALLOWEST_CLAY_MM).any():
        return ()
    what = f"every depth to clay is less than {SHALLOWEST_CLAY_MM:g} mm, such as {depth_mm[shallow][0]:g}"
    if "clay_depth_mm" in table.attrs[UNSTATED]:
        raise AmbiguousInputError(
            what=what, where=file, right="a unit in the column's name", do="call it clay_depth_cm, or clay_depth_mm"
        )
    place = f"row {listed(list(table['row'].to_numpy()[shallow]))}"
    return (warned("clay-depth-shallow", what, "used as it is; check the unit", file=file, place=place),)


def place(
    names: np.ndarray,
    values: Mapping[str, Floats],
    geometry: np.ndarray,
    stated: Sequence[str | None] | None,
    *,
    soil_map: gpd.GeoDataFrame,
    file: str,
) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Cores with their soil type: as stated, else of the polygon they stand in.

    Cores that stand in no polygon and state no type are dropped.
    """
    found: list[str | None] = [None] * len(names) if stated is None else list(stated)
    here = np.flatnonzero([point is not None for point in geometry])
    polygons = first_holding(shapely.get_coordinates(geometry[here]), soil_map.geometry.to_numpy())
    for core, polygon in zip(here, polygons, strict=True):
        if polygon >= 0:
            found[core] = found[core] or str(soil_map["soil_type"].iloc[polygon])
    lost = np.asarray([name is None for name in found])
    table = gpd.GeoDataFrame({"core": names, "soil_type": found, **values}, geometry=list(geometry), crs=soil_map.crs)
    issues: tuple[Issue, ...] = ()
    if lost.any():
        issues = (
            warned(
                "core-outside",
                f"{int(lost.sum())} cores stand outside the soil map and state no known soil type",
                "dropped",
                file=file,
                place=f"core {listed(list(names[lost]))}",
            ),
        )
    return table[~lost].reset_index(drop=True), issues


def no_cores(crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Table of a survey without cores."""
    return gpd.GeoDataFrame(
        {"core": pd.Series(dtype=object), "soil_type": pd.Series(dtype=object)},
        geometry=gpd.GeoSeries([], crs=crs),
        crs=crs,
    )
