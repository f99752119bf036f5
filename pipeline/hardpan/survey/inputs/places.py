"""Positions of sites from a second file, where probes stand to the paddock, and what a further column says of them."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.arrays import Bools, Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.said import Said, distance
from hardpan.records.issues import Issue
from hardpan.records.survey import Profiles
from hardpan.spatial.datum import Points
from hardpan.survey import column_names, files, geodesy, headers, numbers, positions, vectors
from hardpan.survey.columns import Text
from hardpan.survey.inputs import point_layers
from hardpan.survey.inputs.tables import TABLES, open_readings, open_table
from hardpan.survey.notes import Axes, Bundle, Land, Log, attribute, counted, listed, warned
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.vocabulary import says_degrees


def read_places(settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    """`site` (text), `x_m`, `y_m` of every place in the file of positions."""
    path = settings.positions
    if path is None:
        raise InputError(what="no file of positions", where="probes.positions")
    bundle = log.keep(files.load(path, what="the positions"))
    if path.suffix.lower() in {*TABLES, ".xlsx", ".xlsm", ".gz", ".zip"} and not point_layers.holds_shapes(bundle):
        return _from_table(bundle, settings, land, log)
    return _from_points(bundle, settings, land, log)


def _from_table(bundle: Bundle, settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    grid = open_table(bundle, None, lambda grid: headers.score_places(grid, settings.columns), log)
    heading = headers.find_places(grid, settings.columns)
    rows = np.arange(heading.row + 1, len(grid.lines))
    table = pd.DataFrame({role: grid.columns[at].take(rows).cells for role, at in heading.roles.items()})
    table = table.assign(row=grid.lines[rows])[table["site"] != ""].reset_index(drop=True)
    mark = numbers.decimal_mark(
        [Text.of(table[axis].to_numpy()) for axis in ("x", "y")], settings.decimal, where=bundle.name
    )
    degrees = says_degrees(heading.names[heading.roles["y"]])
    x_m, y_m = places_of(
        table, mark, geodesy.asked(settings.crs, "probes.crs"), land, degree_names=degrees, key="probes.crs",
        file=bundle.name, log=log, tolerance_m=settings.outside_tolerance_m,
    )  # fmt: skip
    return table[["site"]].assign(x_m=x_m, y_m=y_m)


def places_of(
    table: pd.DataFrame,
    mark: str,
    stated: pyproj.CRS | None,
    land: Land,
    *,
    degree_names: bool,
    key: str,
    file: str,
    log: Log,
    tolerance_m: float | None = None,
    columns: str = "probes.columns",
) -> tuple[Floats, Floats]:
    """Positions in the working CRS of the text columns `x` and `y`, NaN where there is none.

    Parameters
    ----------
    mark : str
        Decimal mark.
    stated : pyproj.CRS or None
        Their CRS; None where nobody states it.
    degree_names : bool
        Their columns are called longitude and latitude.
    key : str
        Setting of their CRS, for messages.
    tolerance_m : float or None
        Refused where none lies so near the paddock; None: they may lie anywhere.
    columns : str
        Table of settings that names the columns, "" where there is none.
    """
    axes = positions.read_axes(table, mark, degree_names=degree_names, file=file)
    source, assumed = positions.choose_crs(axes, stated, land.crs, key=key, file=file, columns=columns)
    move = geodesy.to_working_crs(source, land, file, log)
    if tolerance_m is not None:
        check_whereabouts(axes, move, land.boundary, tolerance_m, geographic=bool(source.is_geographic), file=file)
    log.note((*axes.issues, *assumed))
    return move(axes.x, axes.y)


def _from_points(bundle: Bundle, settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    layer = vectors.read_layer(bundle, settings.positions_layer, key="probes.positions_layer", leave="others")
    source = geodesy.flat(vectors.known_crs(layer, geodesy.asked(settings.crs, "probes.crs"), key="probes.crs"))
    names = _names(layer, settings, bundle.name)
    points = np.asarray([point_layers.single_point(one) for one in layer.table.geometry.to_numpy()], dtype=object)
    known = ~shapely.is_missing(points)
    if not known.any():
        raise InputError(what="holds no points", where=bundle.name, right="a point for each site")
    move = geodesy.to_working_crs(source, land, bundle.name, log)
    x_m, y_m = move(shapely.get_x(points[known]), shapely.get_y(points[known]))
    named = names[known] != ""
    if not named.any():
        raise InputError(what="no point names its site", where=bundle.name, do="give each its site's name")
    log.note((*layer.issues, *_left_out(known, ~named, bundle.name)))
    return pd.DataFrame({"site": names[known][named], "x_m": x_m[named], "y_m": y_m[named]})


def _names(layer: vectors.Layer, settings: ProbeSettings, file: str) -> np.ndarray:
    """Name of the site of each feature, "" where it has none; attributes that no feature fills are passed over."""
    texts = layer.table.drop(columns=layer.table.geometry.name).map(attribute)
    filled = texts.loc[:, (texts != "").any()]
    found = column_names.find_roles([str(name) for name in filled.columns], settings.columns)
    if "site" not in found:
        have = ", ".join(map(str, filled.columns)) or "no attributes"
        raise InputError(
            what=f"no attribute names the site among {have}", where=file, do="name it in probes.columns.site"
        )
    return np.asarray(filled.iloc[:, found["site"]], dtype=object)


def _left_out(known: Bools, nameless: Bools, file: str) -> Iterator[Issue]:
    """Features of the file of positions that place no site."""
    at = np.flatnonzero(known)[nameless] + 1
    if len(at):
        what = f"{counted(len(at), 'feature')} of the positions {'has' if len(at) == 1 else 'have'} no name"
        yield warned("no-name", what, "not used", file=file, place=f"feature {listed(at.tolist(), 20)}")
    at = np.flatnonzero(~known) + 1
    if len(at):
        what = f"{counted(len(at), 'feature')} of the positions {'has' if len(at) == 1 else 'have'} no point"
        yield warned("no-position", what, "not used", file=file, place=f"feature {listed(at.tolist(), 20)}")


def check_whereabouts(
    axes: Axes,
    move: Points,
    boundary: shapely.Geometry,
    tolerance_m: float,
    *,
    geographic: bool,
    file: str,
) -> None:
    """Refuse positions of which none lies at the paddock, and say what would put them there.

    Raises
    ------
    AmbiguousInputError
        Swapping the axes or changing a sign would put them inside.
    InputError
        Nothing would.
    """
    here = np.isfinite(axes.x)
    x, y = axes.x[here], axes.y[here]
    nearest = _distances(move, x, y, boundary).min(initial=np.inf)
    if nearest <= max(tolerance_m, 1000.0) and (_distances(move, x, y, boundary) <= tolerance_m).any():
        return
    tries = {"x and y are swapped": (y, x)}
    if geographic:
        tries |= {"the sign of latitude is lost": (x, -y), "the sign of longitude is lost": (-x, y)}
        tries |= {"both signs are lost": (-x, -y)}
    for guess, (east, north) in tries.items():
        if (_distances(move, east, north, boundary) <= tolerance_m).mean() > 0.5:
            raise AmbiguousInputError(
                what=f"all probes lie {nearest / 1000:.1f} km or more from the boundary; it would fit if {guess}",
                where=file,
                do="swap probes.columns.x and probes.columns.y" if "swapped" in guess else "mend the sign in the file",
            )
    raise InputError(
        what=f"no probe lies within {tolerance_m:g} m of the boundary, the nearest is {nearest / 1000:.2f} km away",
        where=file,
        do="check probes.crs and paddock.boundary",
    )


def _distances(move: Points, x: Floats, y: Floats, boundary: shapely.Geometry) -> Floats:
    with np.errstate(invalid="ignore"):
        east, north = move(x, y)
    good = np.isfinite(east) & np.isfinite(north)
    away = np.full(len(x), np.inf)
    away[good] = _distances_outside(shapely.points(east[good], north[good]), boundary)
    return away


def _distances_outside(points: np.ndarray, boundary: shapely.Geometry) -> Floats:
    """Distance of each point to the ground, 0 on it; shape (n,)."""
    shapely.prepare(boundary)
    away = np.zeros(len(points))
    outside = ~shapely.covers(boundary, points)
    away[outside] = shapely.distance(points[outside], boundary)
    return away


_KEPT, _DROPPED = "kept: within the tolerance of {tolerance}", "dropped: beyond {tolerance}"


def drop_outside(
    insertions: pd.DataFrame, boundary: shapely.Geometry, tolerance_m: float
) -> tuple[Bools, tuple[Issue, ...]]:
    """Which insertions to keep, and the distance of those outside the boundary."""
    points = shapely.points(insertions["x_m"].to_numpy(), insertions["y_m"].to_numpy())
    away = _distances_outside(points, boundary)
    keep = away <= tolerance_m
    edge = (away > 0.05) & keep
    issues = [
        warned(
            "outside-boundary",
            Said("stands {away} outside the boundary", away=distance(away_m, 1)),
            Said(_KEPT if kept else _DROPPED, tolerance=distance(tolerance_m)),
            file=str(file),
            place=f"site {site}",
        )
        for site, file, away_m, kept in sorted(
            {
                (site, file, round(float(one_m), 1), bool(kept))
                for site, file, one_m, kept in zip(
                    insertions["site"][~keep | edge],
                    insertions["file"][~keep | edge],
                    away[~keep | edge],
                    keep[~keep | edge],
                    strict=True,
                )
            }
        )
    ]
    return keep, tuple(issues)


def read_marks(settings: ProbeSettings, profiles: Profiles, column: str) -> tuple[str, ...]:
    """Text of a column at the first reading of each insertion, "" where its file has no such column.

    Raises
    ------
    InputError
        A file has the column twice.
    """
    said = {path.name: _column(path, settings, column) for path in settings.files}
    names, rows = (profiles.readings[name].to_numpy().tolist() for name in ("source_file", "source_row"))
    return tuple(said.get(str(name), {}).get(int(row), "") for name, row in zip(names, rows, strict=True))


def _column(path: Path, settings: ProbeSettings, column: str) -> dict[int, str]:
    """Row of the file to the text of its cell."""
    grid = open_readings(files.load(path, what="the probe readings"), settings, Log())
    heading = headers.find_heading(grid, settings)
    at = [place for place, name in enumerate(heading.names) if name.strip().casefold() == column.strip().casefold()]
    if len(at) > 1:
        raise InputError(what=f"{len(at)} columns are called {column}", where=path.name, do="rename all but one")
    if not at:
        return {}
    return dict(zip(np.asarray(grid.lines).tolist(), map(str, grid.columns[at[0]].cells), strict=True))
